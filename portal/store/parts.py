"""Parts, work given free, and donor devices."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime

from sqlalchemy import Connection, bindparam, delete, insert, select, update

from portal.rules.parts import Origin, PartLine, State
from portal.store.bench_tables import courtesies, donors
from portal.store.bench_tables import parts as table
from portal.store.tables import tickets

_COLUMNS = (
    table.c.part,
    table.c.what,
    table.c.state,
    table.c.origin,
    table.c.supplier,
    table.c.reference,
    table.c.expected_on,
    table.c.warranty_months,
    table.c.donor_id,
)
_OF_TICKET = select(*_COLUMNS).where(table.c.ticket_id == bindparam("ticket_id")).order_by(table.c.part)
_ONE = update(table).where(table.c.ticket_id == bindparam("of_ticket"), table.c.part == bindparam("of_part"))
_DUE = (
    select(tickets.c.number, tickets.c.device, *_COLUMNS)
    .join(table, table.c.ticket_id == tickets.c.id)
    .where(table.c.state == "ordered", tickets.c.ending.is_(None))
    .order_by(table.c.expected_on, table.c.supplier, table.c.id)
)
_GIVEN = select(courtesies.c.what).where(courtesies.c.ticket_id == bindparam("ticket_id")).order_by(courtesies.c.id)
_DONORS = select(donors.c.id, donors.c.device, donors.c.whose, donors.c.consent, donors.c.made_at).order_by(
    donors.c.id.desc()
)
_TAKEN = (
    select(tickets.c.number, table.c.what)
    .join(table, table.c.ticket_id == tickets.c.id)
    .where(table.c.donor_id == bindparam("donor_id"))
    .order_by(table.c.id)
)
_FORGET_DONOR = delete(donors).where(donors.c.id == bindparam("donor_id"))


@dataclass(frozen=True)
class Due:
    """A part that is awaited for a ticket."""

    number: str
    device: str
    part: PartLine

    def late(self, today: date) -> bool:
        """Whether the day on which it was expected has passed."""
        return self.part.expected_on is not None and self.part.expected_on < today


@dataclass(frozen=True)
class Donor:
    """A device that parts are taken from, whose it was, and where the owner's written consent lies."""

    id: int
    device: str
    whose: str
    consent: str
    made_at: datetime


def of_ticket(connection: Connection, ticket_id: int) -> list[PartLine]:
    """A ticket's parts in the order in which they were named."""
    return [_part(tuple(row)) for row in connection.execute(_OF_TICKET, {"ticket_id": ticket_id})]


def due(connection: Connection) -> list[Due]:
    """All parts that are awaited, the first expected first."""
    return [Due(row[0], row[1], _part(tuple(row)[2:])) for row in connection.execute(_DUE)]


def add(connection: Connection, ticket_id: int, part: PartLine) -> None:
    """Write a new part."""
    connection.execute(insert(table), _values(part) | {"ticket_id": ticket_id, "part": part.part})


def change(connection: Connection, ticket_id: int, part: PartLine) -> None:
    """Write a changed part over what it was."""
    connection.execute(_ONE.values(**_values(part)), {"of_ticket": ticket_id, "of_part": part.part})


def give(connection: Connection, ticket_id: int, what: str, now: datetime) -> None:
    """Write work that was given free."""
    connection.execute(insert(courtesies), {"ticket_id": ticket_id, "what": what, "given_at": now})


def given(connection: Connection, ticket_id: int) -> list[str]:
    """The work that was given free, in order."""
    return list(connection.execute(_GIVEN, {"ticket_id": ticket_id}).scalars())


def add_donor(connection: Connection, device: str, whose: str, consent: str, now: datetime) -> int:
    """Write a donor device and tell its number."""
    values = {"device": device, "whose": whose, "consent": consent, "made_at": now}
    key = connection.execute(insert(donors), values).inserted_primary_key
    return int(key[0]) if key else 0


def all_donors(connection: Connection) -> list[Donor]:
    """The donor devices, the newest first."""
    return [Donor(*tuple(row)) for row in connection.execute(_DONORS)]


def taken_from(connection: Connection, donor_id: int) -> list[tuple[str, str]]:
    """What was taken from a donor: the ticket's number and the part, in order."""
    return [(row[0], row[1]) for row in connection.execute(_TAKEN, {"donor_id": donor_id})]


def forget_donor(connection: Connection, donor_id: int) -> None:
    """Erase a donor device with its owner; the parts stay used ones."""
    connection.execute(_FORGET_DONOR, {"donor_id": donor_id})


def _values(part: PartLine) -> dict[str, object]:
    return {
        "what": part.what,
        "state": part.state.value,
        "origin": part.origin.value,
        "supplier": part.supplier,
        "reference": part.reference,
        "expected_on": part.expected_on,
        "warranty_months": part.warranty_months,
        "donor_id": part.donor,
    }


def _part(row: tuple[object, ...]) -> PartLine:
    part, what, state, origin, *rest = row
    return PartLine(part, what, State(state), Origin(origin), *rest)  # type: ignore[arg-type]
