"""Which devices are ready and wait, and when their owners are next reminded."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, datetime

from sqlalchemy import Connection, bindparam, select, update

from portal.rules.collection import Waiting
from portal.store.tables import tickets
from portal.store.tickets import Ticket, by_id

NEVER = datetime(9999, 1, 1, tzinfo=UTC)  # the series is over

_READY = (tickets.c.ending.is_(None), tickets.c.stage == bindparam("last"))
_FRESH = select(tickets.c.id).where(*_READY, tickets.c.remind_at.is_(None)).limit(bindparam("most"))
_DUE = (
    select(tickets.c.id)
    .where(tickets.c.ending.is_(None), tickets.c.remind_at <= bindparam("now"))
    .order_by(tickets.c.remind_at)
    .limit(bindparam("most"))
)
_SILENT = (
    select(tickets.c.number, tickets.c.device)
    .where(*_READY, tickets.c.reminded >= bindparam("reminders"), tickets.c.notice_at.is_(None))
    .order_by(tickets.c.stage_since)
)
_WAITING = select(tickets.c.stage_since, tickets.c.collect_on, tickets.c.reminded).where(
    tickets.c.id == bindparam("wanted")
)
_REMIND = (
    update(tickets)
    .where(tickets.c.id == bindparam("wanted"), tickets.c.stage_since == bindparam("ready_at"))
    .values(remind_at=bindparam("at"), reminded=bindparam("count"))
)


def fresh(connection: Connection, last_stage: str, most: int) -> Sequence[int]:
    """Tickets that are ready and have no day for their next reminder yet."""
    return connection.execute(_FRESH, {"last": last_stage, "most": most}).scalars().all()


def due(connection: Connection, now: datetime, most: int) -> Sequence[int]:
    """Tickets whose next reminder is due, the longest due first."""
    return connection.execute(_DUE, {"now": now, "most": most}).scalars().all()


def silent(connection: Connection, last_stage: str, reminders: int) -> Sequence[tuple[str, str]]:
    """Number and device of what is ready though its owner was reminded to the end, and no formal notice is posted."""
    rows = connection.execute(_SILENT, {"last": last_stage, "reminders": reminders})
    return [(number, device) for number, device in rows]


def waiting(connection: Connection, ticket_id: int) -> tuple[Ticket, Waiting] | None:
    """The ticket as it waits, or None where it is gone."""
    ticket = by_id(connection, ticket_id)
    row = connection.execute(_WAITING, {"wanted": ticket_id}).first()
    return (ticket, Waiting(*tuple(row))) if ticket and row else None


def remind(connection: Connection, ticket_id: int, waiting: Waiting, at: datetime, reminded: int) -> bool:
    """Set when the next reminder is due. False where the device has moved meanwhile: nothing changed."""
    values = {"wanted": ticket_id, "ready_at": waiting.ready_at, "at": at, "count": reminded}
    return connection.execute(_REMIND, values).rowcount == 1
