"""Tickets: one row a device, its present standing beside the journal that rebuilds it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime
from random import Random
from typing import Any

from sqlalchemy import Connection, bindparam, func, insert, select, update
from sqlalchemy.exc import IntegrityError

from portal.rules.numbers import with_check
from portal.rules.stages import Ending, Hold, Standing
from portal.store.tables import contacts, numbers, tickets, visits


@dataclass(frozen=True)
class Ticket:
    """A ticket as it stands; instants are UTC."""

    id: int
    ref: str
    number: str
    visit_id: int
    kind: str
    device: str
    fault: str
    stage: str | None
    stage_since: datetime
    hold: Hold | None
    hold_since: datetime | None
    ending: Ending | None
    ended_at: datetime | None
    revision: int
    made_at: datetime
    place: str
    needed_by: date | None
    express: bool
    collect_on: date | None
    delivered_on: date | None  # by post, where that is known
    claimed_at: datetime | None  # since when somebody else says that it is theirs
    unread_since: datetime | None  # since when words of its customer wait to be read
    notice_at: datetime | None  # since when a formal notice about it is posted and stands
    promised_on: date | None  # by when somebody said by hand that it will be ready

    @property
    def standing(self) -> Standing:
        """What the rules need to know of it."""
        return Standing(self.stage, self.hold, self.ending)


_COLUMNS = (
    tickets.c.id,
    tickets.c.ref,
    tickets.c.number,
    tickets.c.visit_id,
    tickets.c.kind,
    tickets.c.device,
    tickets.c.fault,
    tickets.c.stage,
    tickets.c.stage_since,
    tickets.c.hold,
    tickets.c.hold_since,
    tickets.c.ending,
    tickets.c.ended_at,
    tickets.c.revision,
    tickets.c.made_at,
    tickets.c.place,
    tickets.c.needed_by,
    tickets.c.express,
    tickets.c.collect_on,
    tickets.c.delivered_on,
    tickets.c.claimed_at,
    tickets.c.unread_since,
    tickets.c.notice_at,
    tickets.c.promised_on,
)
_BY_NUMBER = select(*_COLUMNS).where(tickets.c.number == bindparam("number"))
_BY_ID = select(*_COLUMNS).where(tickets.c.id == bindparam("ticket_id"))
_BY_REF = select(*_COLUMNS).where(tickets.c.ref == bindparam("ref"))
_OF_VISIT = select(*_COLUMNS).where(tickets.c.visit_id == bindparam("visit_id")).order_by(tickets.c.id)
_LINES = (
    select(*_COLUMNS, visits.c.ref, visits.c.docket_version, contacts.c.name)
    .join(visits, tickets.c.visit_id == visits.c.id)
    .outerjoin(contacts, (contacts.c.visit_id == visits.c.id) & (contacts.c.role == "owner"))
    .order_by(tickets.c.stage_since, tickets.c.id)
)
_OPEN = _LINES.where(tickets.c.ending.is_(None))
_THESE = _LINES.where(tickets.c.id.in_(bindparam("ids", expanding=True)))
# A visit's reference leads to each of its tickets, a ticket's own to itself.
_NAMED = select(visits.c.ref, tickets.c.ref, tickets.c.number).join(visits, tickets.c.visit_id == visits.c.id)
_REFS: Any = bindparam("refs", expanding=True)
_OF_REFS = _NAMED.where(tickets.c.ref.in_(_REFS)).union(_NAMED.where(visits.c.ref.in_(_REFS)))
_STANDINGS = select(tickets.c.number, tickets.c.stage, tickets.c.hold, tickets.c.ending).where(
    tickets.c.ending.is_(None)
)
# The guard on `revision` decides a race: of two deeds on one state, only one changes a row.
_CHANGE = (
    update(tickets)
    .where(tickets.c.id == bindparam("ticket_id"), tickets.c.revision == bindparam("seen"))
    .values(revision=bindparam("next_revision"))
)
_MARK_UNREAD = (
    update(tickets)
    .where(tickets.c.id == bindparam("ticket_id"), tickets.c.unread_since.is_(None))
    .values(unread_since=bindparam("now"))
)


@dataclass(frozen=True)
class OpenTicket:
    """A line of the bench list: the ticket, its visit's link parts, and how to address its owner."""

    ticket: Ticket
    visit_ref: str
    docket_version: int
    owner: str


def by_number(connection: Connection, number: str) -> Ticket | None:
    """The ticket with this stored number (check digit included), or None."""
    row = connection.execute(_BY_NUMBER, {"number": number}).first()
    return _ticket(row) if row else None


def by_ref(connection: Connection, ref: str) -> Ticket | None:
    """The ticket with this random id, or None."""
    row = connection.execute(_BY_REF, {"ref": ref}).first()
    return _ticket(row) if row else None


def by_id(connection: Connection, ticket_id: int) -> Ticket | None:
    """The ticket with this id, or None."""
    row = connection.execute(_BY_ID, {"ticket_id": ticket_id}).first()
    return _ticket(row) if row else None


def of_visit(connection: Connection, visit_id: int) -> list[Ticket]:
    """A visit's tickets in the order they were taken in."""
    return [_ticket(row) for row in connection.execute(_OF_VISIT, {"visit_id": visit_id})]


def open_tickets(connection: Connection) -> list[OpenTicket]:
    """All tickets the shop still has (or expects), longest in their stage first."""
    return [_line(row) for row in connection.execute(_OPEN)]


def lines(connection: Connection, ids: Sequence[int]) -> list[OpenTicket]:
    """The tickets with these ids as the bench list shows them, ended ones too."""
    return [_line(row) for row in connection.execute(_THESE, {"ids": ids})] if ids else []


def numbers_of(connection: Connection, refs: list[str]) -> dict[str, list[str]]:
    """The numbers of the tickets that public ids of tickets or visits stand for, by id; ids unknown are left out."""
    found: dict[str, list[str]] = {}
    for visit_ref, ticket_ref, number in connection.execute(_OF_REFS, {"refs": refs}) if refs else ():
        for ref in {visit_ref, ticket_ref} & set(refs):
            found.setdefault(ref, []).append(number)
    return {ref: sorted(numbers) for ref, numbers in found.items()}


def open_standings(connection: Connection) -> dict[str, Standing]:
    """The standing of every open ticket, by number."""
    return {
        number: Standing(stage, Hold(hold) if hold else None)
        for number, stage, hold, _ending in connection.execute(_STANDINGS)
    }


def new_number(connection: Connection, chooser: Random) -> str:
    """A number never given before: four digits and the check digit, longer once those get scarce."""
    for digits in range(4, 13):
        for _try in range(3):
            number = with_check(str(chooser.randrange(10 ** (digits - 1), 10**digits)))
            try:
                with connection.begin_nested():
                    connection.execute(insert(numbers), {"number": number})
            except IntegrityError:
                continue
            return number
    raise RuntimeError("No free ticket number was found; this cannot happen in a shop of any size.")


def add(connection: Connection, values: dict[str, object]) -> int:
    """Insert a ticket and tell its id. `values` are the columns by name."""
    key = connection.execute(insert(tickets), values).inserted_primary_key
    return int(key[0]) if key else 0


def change(connection: Connection, ticket: Ticket, revision: int, values: dict[str, object]) -> bool:
    """Bring the row to `revision` with `values`, unless somebody was faster (then False, nothing changed)."""
    statement = _CHANGE.values(**values) if values else _CHANGE
    result = connection.execute(statement, {"ticket_id": ticket.id, "seen": ticket.revision, "next_revision": revision})
    return result.rowcount == 1


def mark_unread(connection: Connection, ticket_id: int, now: datetime) -> None:
    """Say that words of the customer wait to be read, unless others have been waiting already."""
    connection.execute(_MARK_UNREAD, {"ticket_id": ticket_id, "now": now})


def count_open(connection: Connection) -> int:
    """How many tickets are open."""
    return connection.execute(select(func.count()).where(tickets.c.ending.is_(None))).scalar_one()


def _line(row: Any) -> OpenTicket:
    return OpenTicket(_ticket(row[:-3]), visit_ref=row[-3], docket_version=row[-2], owner=row[-1] or "")


def _ticket(row: object) -> Ticket:
    values = list(row)  # type: ignore[call-overload]
    values[9] = Hold(values[9]) if values[9] else None
    values[11] = Ending(values[11]) if values[11] else None
    return Ticket(*values)
