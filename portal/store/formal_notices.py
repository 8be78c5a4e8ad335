"""Formal notices as they were written and posted; what they say of the shop is found by the policy's revision."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from sqlalchemy import Connection, bindparam, insert, select, update

from portal.rules.formal_notices import Kind, Notice
from portal.rules.stages import BY_LAW
from portal.store.ending_tables import formal_notices as table
from portal.store.tables import tickets, visits

_OF_TICKET = (
    select(
        table.c.id,
        table.c.kind,
        table.c.entry,
        table.c.policy_revision,
        table.c.made_on,
        table.c.recipient,
        table.c.address,
        table.c.goods,
        table.c.held_at,
        table.c.ready_on,
        table.c.owed_minor,
        table.c.owed_for,
        table.c.sell_from,
        table.c.satisfied,
        table.c.was_due,
        table.c.posted_on,
        table.c.reference,
        table.c.proof,
        table.c.taken_back,
    )
    .where(table.c.ticket_id == bindparam("ticket_id"))
    .order_by(table.c.id.desc())
)
_POSTED = (
    update(table)
    .where(table.c.id == bindparam("wanted"))
    .values(posted_on=bindparam("on"), reference=bindparam("sent_as"), proof=bindparam("photo"))
)
_COME = (
    select(tickets.c.number, tickets.c.device, table.c.sell_from)
    .join(tickets, table.c.ticket_id == tickets.c.id)
    .where(
        tickets.c.ending.is_(None),
        table.c.kind == bindparam("kind"),
        table.c.posted_on.is_not(None),
        table.c.taken_back.is_(False),
        table.c.sell_from <= bindparam("today"),
    )
    .order_by(table.c.sell_from)
)
_RUNNING = (
    select(tickets.c.ref, visits.c.ref)
    .join(table, table.c.ticket_id == tickets.c.id)
    .join(visits, tickets.c.visit_id == visits.c.id)
    .where(
        table.c.posted_on.is_not(None),
        table.c.taken_back.is_(False),
        tickets.c.ending.is_(None) | (tickets.c.ending == BY_LAW.value),
    )
)
_TAKE_BACK = update(table).where(table.c.id == bindparam("wanted")).values(taken_back=True)


@dataclass(frozen=True)
class Kept:
    """A letter. `entry` is the journal's; `owed_minor` is in minor units; `satisfied` and `was_due` the keeper said.

    `proof` is what the journal calls the photo of the proof of posting; `photos.called` finds it.
    """

    id: int
    kind: Kind
    entry: int
    policy_revision: int
    made_on: date
    recipient: str
    address: str
    goods: str
    held_at: str
    ready_on: date
    owed_minor: int
    owed_for: str
    sell_from: date | None
    satisfied: bool
    was_due: bool
    posted_on: date | None
    reference: str
    proof: str | None
    taken_back: bool

    @property
    def notice(self) -> Notice:
        """What the rules need to know of it."""
        return Notice(self.kind, self.made_on, self.owed_minor, self.sell_from, self.posted_on)


def of_ticket(connection: Connection, ticket_id: int) -> Sequence[Kept]:
    """A ticket's letters, the newest first, with those that were taken back."""
    return [_kept(tuple(row)) for row in connection.execute(_OF_TICKET, {"ticket_id": ticket_id})]


def day_has_come(connection: Connection, today: date) -> Sequence[tuple[str, str, date]]:
    """Number, device and day of notices of the intention to sell that stand, and whose day is here."""
    rows = connection.execute(_COME, {"kind": Kind.SELL.value, "today": today})
    return [(number, device, day) for number, device, day in rows]


def references(connection: Connection) -> Sequence[str]:
    """What messages call the devices, and their visits, whose owner was written to formally, and had nothing back yet.

    A device that was sold by law is one of them for as long as its letters are kept.
    """
    return [ref for row in connection.execute(_RUNNING) for ref in row]


def add(connection: Connection, values: dict[str, object]) -> None:
    """Write a letter; `values` are the columns by name."""
    connection.execute(insert(table), values)


def posted(connection: Connection, notice_id: int, on: date, reference: str, proof: str | None) -> None:
    """It went by recorded post on a day, under a reference; `proof` is what the journal calls its photo."""
    connection.execute(_POSTED, {"wanted": notice_id, "on": on, "sent_as": reference, "photo": proof})


def take_back(connection: Connection, notice_id: int) -> None:
    """It counts no more."""
    connection.execute(_TAKE_BACK, {"wanted": notice_id})


def _kept(row: tuple[object, ...]) -> Kept:
    number, kind, *rest = row
    return Kept(number, Kind(kind), *rest)  # type: ignore[arg-type]
