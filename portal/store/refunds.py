"""What is owed back and by when, as rows: written anew whenever money moves, gone once it was given back."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime

from sqlalchemy import Connection, bindparam, delete, insert, select, update

from portal.store.refund_tables import refunds_due
from portal.store.tables import tickets

_OF_TICKET = select(refunds_due.c.amount_minor, refunds_due.c.due_on).where(
    refunds_due.c.ticket_id == bindparam("wanted")
)
_ALL = (
    select(tickets.c.number, tickets.c.device, refunds_due.c.amount_minor, refunds_due.c.due_on)
    .join(tickets, refunds_due.c.ticket_id == tickets.c.id)
    .order_by(refunds_due.c.due_on, tickets.c.id)
)
_OVERDUE = (
    select(refunds_due.c.ticket_id)
    .where(refunds_due.c.due_on < bindparam("today"), refunds_due.c.told_at.is_(None))
    .order_by(refunds_due.c.due_on)
    .limit(bindparam("most"))
)
_CHANGE = (
    update(refunds_due)
    .where(refunds_due.c.ticket_id == bindparam("wanted"))
    .values(amount_minor=bindparam("minor"), due_on=bindparam("due"))
)
_TOLD = update(refunds_due).where(refunds_due.c.ticket_id == bindparam("wanted")).values(told_at=bindparam("at"))
_GONE = delete(refunds_due).where(refunds_due.c.ticket_id == bindparam("wanted"))


@dataclass(frozen=True)
class RefundDue:
    """What is owed back, in minor units of the shop's currency, and the last day on which it is given back."""

    amount_minor: int
    due_on: date


def of_ticket(connection: Connection, ticket_id: int) -> RefundDue | None:
    """What is owed back for a ticket, or None."""
    row = connection.execute(_OF_TICKET, {"wanted": ticket_id}).first()
    return RefundDue(*row) if row else None


def everywhere(connection: Connection) -> list[tuple[str, str, RefundDue]]:
    """(number, device, what is owed back) of every ticket where anything is, the soonest due first."""
    return [(number, device, RefundDue(*rest)) for number, device, *rest in connection.execute(_ALL)]


def overdue(connection: Connection, today: date, most: int) -> Sequence[int]:
    """The tickets whose day has passed, and nobody was told of it yet."""
    return connection.execute(_OVERDUE, {"today": today, "most": most}).scalars().all()


def keep(connection: Connection, ticket_id: int, owed: RefundDue) -> None:
    """Write down what is owed back for a ticket, in place of what was before."""
    values = {"wanted": ticket_id, "minor": owed.amount_minor, "due": owed.due_on}
    if not connection.execute(_CHANGE, values).rowcount:
        new = {"ticket_id": ticket_id, "amount_minor": owed.amount_minor, "due_on": owed.due_on}
        connection.execute(insert(refunds_due), new)


def note_told(connection: Connection, ticket_id: int, at: datetime) -> None:
    """The keepers were told that the day has passed."""
    connection.execute(_TOLD, {"wanted": ticket_id, "at": at})


def settle(connection: Connection, ticket_id: int) -> None:
    """Nothing is owed back any more."""
    connection.execute(_GONE, {"wanted": ticket_id})
