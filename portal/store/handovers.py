"""How devices go back: what their owners chose, what was looked at when they went, and what parcels carried them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime

from sqlalchemy import Connection, bindparam, func, insert, select, update

from portal.rules.handing_over import Proof
from portal.rules.return_ways import Way
from portal.store.handover_tables import handovers, parcels, return_choices
from portal.store.tables import tickets

_CHOICE = (
    return_choices.c.way,
    return_choices.c.day,
    return_choices.c.person,
    return_choices.c.address,
    return_choices.c.sequence,
    return_choices.c.chosen_at,
)
_CHOSEN = select(*_CHOICE).where(return_choices.c.ticket_id == bindparam("ticket_id"))
_OF_VISIT = (
    select(tickets.c.id, *_CHOICE)
    .join(tickets, return_choices.c.ticket_id == tickets.c.id)
    .where(tickets.c.visit_id == bindparam("visit_id"))
)
_CHANGE_CHOICE = update(return_choices).where(return_choices.c.ticket_id == bindparam("of_ticket"))
_LEAVING = (
    select(tickets.c.number, tickets.c.device, return_choices.c.way, return_choices.c.person)
    .join(tickets, return_choices.c.ticket_id == tickets.c.id)
    .where(
        tickets.c.ending.is_(None),
        (return_choices.c.way == Way.POST.value)
        | (return_choices.c.way.is_not(None) & (tickets.c.collect_on == bindparam("day"))),
    )
    .order_by(return_choices.c.chosen_at)
)
_HANDOVER = (
    select(
        handovers.c.entry,
        handovers.c.proof,
        handovers.c.checked,
        handovers.c.left_out,
        handovers.c.missing,
        handovers.c.unsettled,
        handovers.c.tested,
    )
    .where(handovers.c.ticket_id == bindparam("ticket_id"))
    .order_by(handovers.c.entry.desc())
    .limit(1)
)
_USED = select(func.count()).where(
    handovers.c.ticket_id == bindparam("ticket_id"), handovers.c.proof != Proof.WITHOUT.value
)
_PARCEL = (
    select(
        parcels.c.entry,
        parcels.c.carrier,
        parcels.c.reference,
        parcels.c.posted_on,
        parcels.c.delivered_on,
        parcels.c.came_back_on,
    )
    .where(parcels.c.ticket_id == bindparam("ticket_id"))
    .order_by(parcels.c.entry.desc())
    .limit(1)
)
_END_PARCEL = (
    update(parcels)
    .where(parcels.c.ticket_id == bindparam("of_ticket"), parcels.c.entry == bindparam("at_entry"))
    .values(delivered_on=bindparam("delivered"), came_back_on=bindparam("came_back"))
)


@dataclass(frozen=True)
class Choice:
    """How an owner wants a device back. `way` is None once the choice is gone; `day` is the last one chosen."""

    way: Way | None
    day: date | None
    person: str
    address: str
    sequence: int  # of the calendar file
    chosen_at: datetime


@dataclass(frozen=True)
class Leaving:
    """A device that somebody comes for on a day, or that is to be posted. `person` is whom its owner sends."""

    number: str
    device: str
    way: Way
    person: str


@dataclass(frozen=True)
class HandedOver:
    """What was looked at when a device went over the counter; `entry` is the journal's."""

    entry: int
    proof: Proof
    checked: Sequence[str]
    left_out: Sequence[str]
    missing: str
    unsettled: str
    tested: bool


@dataclass(frozen=True)
class Parcel:
    """A parcel to the owner; `entry` is the journal's."""

    entry: int
    carrier: str
    reference: str
    posted_on: date
    delivered_on: date | None
    came_back_on: date | None


def choice(connection: Connection, ticket_id: int) -> Choice | None:
    """What was chosen for a ticket, or None where nothing ever was."""
    row = connection.execute(_CHOSEN, {"ticket_id": ticket_id}).first()
    return _choice(*row) if row else None


def choices(connection: Connection, visit_id: int) -> dict[int, Choice]:
    """What was chosen for the tickets of a visit, by their ids."""
    return {ticket_id: _choice(*row) for ticket_id, *row in connection.execute(_OF_VISIT, {"visit_id": visit_id})}


def leaving(connection: Connection, day: date) -> list[Leaving]:
    """What is to be posted, and what somebody comes for on a day; what was chosen first comes first."""
    return [
        Leaving(number, device, Way(way), person)
        for number, device, way, person in connection.execute(_LEAVING, {"day": day})
    ]


def choose(connection: Connection, ticket_id: int, before: Choice | None, values: dict[str, object]) -> None:
    """Write a choice in place of the one before; `values` are the columns by name."""
    if before is None:
        connection.execute(insert(return_choices), values | {"ticket_id": ticket_id})
    else:
        connection.execute(_CHANGE_CHOICE.values(**values), {"of_ticket": ticket_id})


def unchoose(connection: Connection, ticket_id: int, before: Choice) -> None:
    """What was chosen is no longer so; its address and name are not kept, its day is seen as called off."""
    gone = {"way": None, "person": "", "address": "", "sequence": before.sequence + 1}
    connection.execute(_CHANGE_CHOICE.values(**gone), {"of_ticket": ticket_id})


def add(connection: Connection, ticket_id: int, handed: HandedOver) -> None:
    """Write down what was looked at."""
    values = vars(handed) | {"proof": handed.proof.value, "checked": list(handed.checked)}
    connection.execute(insert(handovers), values | {"ticket_id": ticket_id, "left_out": list(handed.left_out)})


def newest(connection: Connection, ticket_id: int) -> HandedOver | None:
    """What was looked at at the last handover of a ticket over the counter, or None."""
    row = connection.execute(_HANDOVER, {"ticket_id": ticket_id}).first()
    if row is None:
        return None
    entry, proof, *rest = row
    return HandedOver(entry, Proof(proof), *rest)


def codes_used(connection: Connection, ticket_id: int) -> int:
    """How many handovers of a ticket a code has opened: one is used up by each."""
    return connection.execute(_USED, {"ticket_id": ticket_id}).scalar_one()


def post(connection: Connection, ticket_id: int, parcel: Parcel) -> None:
    """Write that a parcel went off."""
    connection.execute(insert(parcels), vars(parcel) | {"ticket_id": ticket_id})


def parcel(connection: Connection, ticket_id: int) -> Parcel | None:
    """The last parcel of a ticket to its owner, or None."""
    row = connection.execute(_PARCEL, {"ticket_id": ticket_id}).first()
    return Parcel(*tuple(row)) if row else None


def end_parcel(
    connection: Connection,
    ticket_id: int,
    entry: int,
    *,
    delivered_on: date | None = None,
    came_back_on: date | None = None,
) -> None:
    """Write what became of a parcel."""
    values = {"delivered": delivered_on, "came_back": came_back_on}
    connection.execute(_END_PARCEL, values | {"of_ticket": ticket_id, "at_entry": entry})


def _choice(way: str | None, day: date | None, person: str, address: str, sequence: int, chosen_at: datetime) -> Choice:
    return Choice(Way(way) if way else None, day, person, address, sequence, chosen_at)
