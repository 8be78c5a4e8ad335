"""Devices that came back within their warranty: the earlier repair, and what was decided after looking."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime

from sqlalchemy import Connection, bindparam, insert, select, update

from portal.rules.warranty import Verdict, Way
from portal.store.ending_tables import warranty_returns as table
from portal.store.tables import tickets

_OF_TICKET = (
    select(
        table.c.earlier_id,
        tickets.c.number,
        table.c.until,
        table.c.verdict,
        table.c.way,
        table.c.decided_at,
        table.c.objected_at,
    )
    .select_from(table.outerjoin(tickets, table.c.earlier_id == tickets.c.id))
    .where(table.c.ticket_id == bindparam("ticket_id"))
)
_LATER = (
    select(tickets.c.number)
    .join(table, table.c.ticket_id == tickets.c.id)
    .where(table.c.earlier_id == bindparam("ticket_id"))
    .order_by(tickets.c.id)
)
_OF_NEW = table.c.ticket_id == bindparam("wanted")
_DECIDE = (
    update(table)
    .where(_OF_NEW)
    .values(verdict=bindparam("found"), way=bindparam("paid_by"), decided_at=bindparam("now"), objected_at=None)
)
_OBJECT = update(table).where(_OF_NEW).values(objected_at=bindparam("now"))
_OBJECTED = (
    select(tickets.c.number, tickets.c.device, table.c.objected_at)
    .join(tickets, table.c.ticket_id == tickets.c.id)
    .where(table.c.objected_at.is_not(None), tickets.c.ending.is_(None))
    .order_by(table.c.objected_at)
)


@dataclass(frozen=True)
class Return:
    """A device that is here again. `earlier` is the earlier repair's number, None once that is forgotten."""

    earlier_id: int | None
    earlier: str | None
    until: date
    verdict: Verdict | None
    way: Way | None
    decided_at: datetime | None
    objected_at: datetime | None


@dataclass(frozen=True)
class Objected:
    """A decision that the customer does not agree with."""

    number: str
    device: str
    at: datetime


def of_ticket(connection: Connection, ticket_id: int) -> Return | None:
    """What a ticket came back from, or None for one that did not."""
    row = connection.execute(_OF_TICKET, {"ticket_id": ticket_id}).first()
    if row is None:
        return None
    earlier_id, earlier, until, verdict, way, *moments = row
    return Return(
        earlier_id, earlier, until, Verdict(verdict) if verdict else None, Way(way) if way else None, *moments
    )


def later(connection: Connection, ticket_id: int) -> Sequence[str]:
    """The numbers under which a ticket's device came back, the first first."""
    return connection.execute(_LATER, {"ticket_id": ticket_id}).scalars().all()


def objected(connection: Connection) -> Sequence[Objected]:
    """The decisions about devices that are here, with which their owners do not agree, the oldest first."""
    return [Objected(*tuple(row)) for row in connection.execute(_OBJECTED)]


def add(connection: Connection, ticket_id: int, earlier_id: int, until: date) -> None:
    """The device of an earlier ticket is here again, within a warranty that ran until a day."""
    connection.execute(insert(table), {"ticket_id": ticket_id, "earlier_id": earlier_id, "until": until})


def decide(connection: Connection, ticket_id: int, verdict: Verdict, way: Way, now: datetime) -> None:
    """Write down what was found; an objection to what was found before is answered by it."""
    values = {"wanted": ticket_id, "found": verdict.value, "paid_by": way.value, "now": now}
    connection.execute(_DECIDE, values)


def objects(connection: Connection, ticket_id: int, now: datetime) -> None:
    """The customer does not agree."""
    connection.execute(_OBJECT, {"wanted": ticket_id, "now": now})
