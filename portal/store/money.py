"""Payments, adjustments and statements as rows. Only ever added to; what is wrong is reversed by a row of its own."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from typing import Any

from sqlalchemy import Connection, bindparam, delete, insert, select, update
from sqlalchemy.exc import IntegrityError

from portal.rules.account import LetOff, Storage
from portal.rules.payments import How, Kind, Moved
from portal.rules.questions import State
from portal.rules.statements import Document, from_data, to_data
from portal.store.balance_tables import balances
from portal.store.money_tables import LET_OFF, STORAGE, adjustments, payments, series, statements
from portal.store.question_tables import questions
from portal.store.refund_tables import refunds_due
from portal.store.tables import staff, tickets

_MOVED = (
    select(
        payments.c.ticket_id,
        payments.c.id,
        payments.c.ref,
        payments.c.kind,
        payments.c.amount_minor,
        payments.c.currency,
        payments.c.how,
        payments.c.reference,
        payments.c.moved_on,
        staff.c.name,
        payments.c.reverses,
        payments.c.why,
    )
    .select_from(payments.outerjoin(staff, payments.c.by_staff == staff.c.id))
    .where(payments.c.ticket_id.in_(bindparam("wanted", expanding=True)))
    .order_by(payments.c.id)
)
_ADJUSTED = (
    select(
        adjustments.c.ticket_id,
        adjustments.c.id,
        adjustments.c.ref,
        adjustments.c.kind,
        adjustments.c.amount_minor,
        adjustments.c.currency,
        adjustments.c.tax_percent,
        adjustments.c.why,
        adjustments.c.reverses,
    )
    .where(adjustments.c.ticket_id.in_(bindparam("wanted", expanding=True)))
    .order_by(adjustments.c.id)
)
_PAYMENT_ID = select(payments.c.id).where(payments.c.ref == bindparam("wanted"))
_ADJUSTMENT_ID = select(adjustments.c.id).where(adjustments.c.ref == bindparam("wanted"))
_STATEMENTS = (
    select(statements.c.id, statements.c.number, statements.c.document, statements.c.at, statements.c.reverses)
    .where(statements.c.ticket_id == bindparam("ticket_id"))
    .order_by(statements.c.number)
)
_REVERSALS = statements.alias("reversals")
_LEFT_UNPAID = (
    select(tickets.c.number, tickets.c.device, statements.c.at, statements.c.open_minor)
    .join(tickets, statements.c.ticket_id == tickets.c.id)
    .where(
        tickets.c.ending.is_not(None),
        statements.c.open_minor > 0,
        statements.c.reverses.is_(None),
        ~select(_REVERSALS.c.id).where(_REVERSALS.c.reverses == statements.c.id).exists(),
    )
    .order_by(statements.c.at)
)
_CHARGED = (
    select(tickets.c.id)
    .where(tickets.c.ending.is_(None), tickets.c.stage == bindparam("last"))
    .where(
        select(questions.c.id)
        .where(questions.c.ticket_id == tickets.c.id, questions.c.state == State.AGREED.value)
        .exists()
        | select(adjustments.c.id).where(adjustments.c.ticket_id == tickets.c.id).exists()
    )
    .order_by(tickets.c.stage_since)
)
_NEXT = update(series).where(series.c.name == bindparam("wanted")).values(last=series.c.last + 1)
_LAST = select(series.c.last).where(series.c.name == bindparam("wanted"))
_OF_VISIT = select(tickets.c.id).where(tickets.c.visit_id == bindparam("wanted"))
_FORGET = [
    delete(table).where(table.c.ticket_id.in_(_OF_VISIT))
    for table in (payments, adjustments, statements, refunds_due, balances)
]


@dataclass(frozen=True)
class LeftUnpaid:
    """A device that left while money was open, in minor units; `at` is the day of its statement."""

    number: str
    device: str
    at: datetime
    open_minor: int


@dataclass(frozen=True)
class Statement:
    """A statement as it was made; `reverses` and `reversed_by` are the numbers of others, or None."""

    id: int
    number: int
    document: Document
    at: datetime
    reverses: int | None
    reversed_by: int | None

    @property
    def stands(self) -> bool:
        """Whether it says what is true now: it reverses nothing and was not reversed."""
        return self.reverses is None and self.reversed_by is None


def moved(connection: Connection, ticket_id: int) -> list[Moved]:
    """What came in and went back for a ticket, in the order it was written down; reversals are not told twice."""
    return moved_of(connection, [ticket_id])[ticket_id]


def moved_of(connection: Connection, ticket_ids: Sequence[int]) -> dict[int, list[Moved]]:
    """The same for each of several tickets."""
    rows = connection.execute(_MOVED, {"wanted": ticket_ids}).all()
    undone = {row.reverses: row.why for row in rows if row.reverses is not None}
    found: dict[int, list[Moved]] = {each: [] for each in ticket_ids}
    for row in rows:
        if row.reverses is None:
            found[row.ticket_id].append(_moved(row, undone.get(row.id)))
    return found


def adjusted(connection: Connection, ticket_id: int) -> tuple[Storage | None, list[LetOff]]:
    """The charge for storage that stands, and what was let off; reversed ones are not among them."""
    return adjusted_of(connection, [ticket_id])[ticket_id]


def adjusted_of(connection: Connection, ticket_ids: Sequence[int]) -> dict[int, tuple[Storage | None, list[LetOff]]]:
    """The same for each of several tickets."""
    rows = connection.execute(_ADJUSTED, {"wanted": ticket_ids}).all()
    undone = {row.reverses for row in rows}
    storage: dict[int, Storage] = {}
    off: dict[int, list[LetOff]] = {each: [] for each in ticket_ids}
    for row in rows:
        if row.reverses is not None or row.id in undone:
            continue
        if row.kind == STORAGE:
            rate = None if row.tax_percent is None else Decimal(row.tax_percent)
            storage[row.ticket_id] = Storage(row.ref, row.amount_minor, row.currency, rate)
        else:
            off[row.ticket_id].append(LetOff(row.ref, row.amount_minor, row.currency, row.why))
    return {each: (storage.get(each), off[each]) for each in ticket_ids}


def keep_moved(connection: Connection, ticket_id: int, new: Moved, at: datetime, staff_id: int | None) -> None:
    """Write down that money moved."""
    connection.execute(insert(payments), _payment(ticket_id, new, at, staff_id))


def reverse_moved(
    connection: Connection, ticket_id: int, of: Moved, ref: str, why: str, at: datetime, staff_id: int | None
) -> None:
    """Write down that an entry was a mistake. The unique `reverses` makes two at once impossible."""
    reverses = connection.execute(_PAYMENT_ID, {"wanted": of.ref}).scalar_one()
    values = _payment(ticket_id, of, at, staff_id) | {"ref": ref, "reverses": reverses, "why": why}
    connection.execute(insert(payments), values)


def keep_adjusted(
    connection: Connection, ticket_id: int, new: Storage | LetOff, at: datetime, staff_id: int | None
) -> None:
    """Write down a charge for storage, or what is let off."""
    connection.execute(insert(adjustments), _adjustment(ticket_id, new, at, staff_id))


def reverse_adjusted(
    connection: Connection, ticket_id: int, of: Storage | LetOff, ref: str, at: datetime, staff_id: int | None
) -> None:
    """Write down that it no longer holds."""
    reverses = connection.execute(_ADJUSTMENT_ID, {"wanted": of.ref}).scalar_one()
    values = _adjustment(ticket_id, of, at, staff_id) | {"ref": ref, "reverses": reverses}
    connection.execute(insert(adjustments), values)


def statements_of(connection: Connection, ticket_id: int) -> list[Statement]:
    """A ticket's statements by number, the reversed and the reversing ones too."""
    rows = connection.execute(_STATEMENTS, {"ticket_id": ticket_id}).all()
    numbers = {row.id: row.number for row in rows}
    reversed_by = {row.reverses: row.number for row in rows if row.reverses is not None}
    return [
        Statement(
            row.id,
            row.number,
            from_data(row.document),
            row.at,
            numbers.get(row.reverses),
            reversed_by.get(row.id),
        )
        for row in rows
    ]


def standing_statement(connection: Connection, ticket_id: int) -> Statement | None:
    """The one that stands, or None."""
    return next((each for each in statements_of(connection, ticket_id) if each.stands), None)


def keep_statement(
    connection: Connection, ticket_id: int, made: Document, at: datetime, *, reverses: int | None = None
) -> int:
    """Keep a statement under the next number, and tell it. `reverses` is the id of the one it takes back."""
    number = next_number(connection, "statement")
    connection.execute(
        insert(statements),
        {
            "number": number,
            "ticket_id": ticket_id,
            "document": to_data(made),
            "open_minor": made.open_minor,
            "at": at,
            "reverses": reverses,
        },
    )
    return number


def left_unpaid(connection: Connection) -> list[LeftUnpaid]:
    """The devices that left with money open, the longest first."""
    return [LeftUnpaid(*row) for row in connection.execute(_LEFT_UNPAID)]


def ready_and_charged(connection: Connection, last_stage: str) -> Sequence[int]:
    """The tickets in the shop's last stage for which anything may be charged, the longest ready first."""
    return connection.execute(_CHARGED, {"last": last_stage}).scalars().all()


def next_number(connection: Connection, name: str) -> int:
    """The next number of a series, from 1. Whoever else wants one waits until this transaction ends."""
    if not connection.execute(_NEXT, {"wanted": name}).rowcount:
        try:
            with connection.begin_nested():
                connection.execute(insert(series), {"name": name, "last": 1})
        except IntegrityError:  # PostgreSQL: another's first was faster, so this is the second
            return next_number(connection, name)
    return int(connection.execute(_LAST, {"wanted": name}).scalar_one())


def forget(connection: Connection, visit_id: int) -> int:
    """Erase what was charged and paid for a visit, and tell how many rows those were."""
    return sum(connection.execute(statement, {"wanted": visit_id}).rowcount for statement in _FORGET)


def _moved(row: Any, undone: str | None) -> Moved:
    return Moved(
        row.ref,
        Kind(row.kind),
        row.amount_minor,
        row.currency,
        How(row.how),
        row.reference,
        row.moved_on,
        row.name or "",
        undone,
    )


def _payment(ticket_id: int, new: Moved, at: datetime, staff_id: int | None) -> dict[str, object]:
    return {
        "ref": new.ref,
        "ticket_id": ticket_id,
        "kind": new.kind.value,
        "amount_minor": new.amount_minor,
        "currency": new.currency,
        "how": new.how.value,
        "reference": new.reference,
        "moved_on": new.on,
        "at": at,
        "by_staff": staff_id,
    }


def _adjustment(ticket_id: int, new: Storage | LetOff, at: datetime, staff_id: int | None) -> dict[str, object]:
    values: dict[str, object] = {
        "ref": new.ref,
        "ticket_id": ticket_id,
        "amount_minor": new.amount_minor,
        "currency": new.currency,
        "at": at,
        "by_staff": staff_id,
    }
    if isinstance(new, Storage):
        rate = None if new.tax_percent is None else str(new.tax_percent)
        return values | {"kind": STORAGE, "tax_percent": rate}
    return values | {"kind": LET_OFF, "why": new.why}
