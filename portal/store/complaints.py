"""Complaints: until when an answer is due, whether it was given, and whether it is closed. Words are the journal's."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime

from sqlalchemy import Connection, bindparam, insert, select, update

from portal.store.ending_tables import complaints as table
from portal.store.tables import journal, tickets

_COLUMNS = (
    table.c.id,
    table.c.entry,
    table.c.opened_at,
    table.c.answer_by,
    table.c.answered_at,
    table.c.closed_at,
    table.c.paused,
)
_OF_TICKET = select(*_COLUMNS).where(table.c.ticket_id == bindparam("ticket_id")).order_by(table.c.id.desc())
_OPEN_OF_VISIT = (
    select(*_COLUMNS)
    .join(tickets, table.c.ticket_id == tickets.c.id)
    .where(tickets.c.visit_id == bindparam("visit_id"), table.c.closed_at.is_(None))
)
_OPEN = (
    select(tickets.c.number, tickets.c.device, journal.c.text, *_COLUMNS)
    .join(tickets, table.c.ticket_id == tickets.c.id)
    .join(journal, (journal.c.ticket_id == tickets.c.id) & (journal.c.entry == table.c.entry))
    .where(table.c.closed_at.is_(None))
    .order_by(table.c.answer_by)
)
_ANSWERED = (
    update(table)
    .where(table.c.id == bindparam("wanted"), table.c.answered_at.is_(None))
    .values(answered_at=bindparam("now"))
)
_CLOSE = update(table).where(table.c.id == bindparam("wanted")).values(closed_at=bindparam("now"))


@dataclass(frozen=True)
class Complaint:
    """One complaint; `entry` is the journal's, `paused` are the kinds of data that it keeps."""

    id: int
    entry: int
    opened_at: datetime
    answer_by: date
    answered_at: datetime | None
    closed_at: datetime | None
    paused: Sequence[str]


@dataclass(frozen=True)
class Waiting:
    """An open complaint with its device, in the customer's words."""

    number: str
    device: str
    words: str
    complaint: Complaint


def of_ticket(connection: Connection, ticket_id: int) -> Sequence[Complaint]:
    """A ticket's complaints, the newest first."""
    return [Complaint(*tuple(row)) for row in connection.execute(_OF_TICKET, {"ticket_id": ticket_id})]


def open_of(connection: Connection, ticket_id: int) -> Complaint | None:
    """The complaint of a ticket that is open, or None."""
    return next((each for each in of_ticket(connection, ticket_id) if each.closed_at is None), None)


def open_of_visit(connection: Connection, visit_id: int) -> Sequence[Complaint]:
    """The complaints that are open about any device of a visit."""
    return [Complaint(*tuple(row)) for row in connection.execute(_OPEN_OF_VISIT, {"visit_id": visit_id})]


def waiting(connection: Connection) -> Sequence[Waiting]:
    """Every open complaint, the one whose answer is due first at the head."""
    return [
        Waiting(number, device, words, Complaint(*rest)) for number, device, words, *rest in connection.execute(_OPEN)
    ]


def add(connection: Connection, values: dict[str, object]) -> None:
    """Write a complaint; `values` are the columns by name."""
    connection.execute(insert(table), values)


def answered(connection: Connection, complaint_id: int, now: datetime) -> None:
    """It has an answer; the first counts."""
    connection.execute(_ANSWERED, {"wanted": complaint_id, "now": now})


def close(connection: Connection, complaint_id: int, now: datetime) -> None:
    """It is closed."""
    connection.execute(_CLOSE, {"wanted": complaint_id, "now": now})
