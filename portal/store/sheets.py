"""Test results, soak tests, and records of electrical safety tests."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from datetime import date, datetime
from decimal import Decimal
from typing import Any

from sqlalchemy import Connection, bindparam, delete, insert, select

from portal.rules.summary import SafetyTest
from portal.rules.test_sheet import Result, Tried, When
from portal.store.bench_tables import safety_tests
from portal.store.bench_tables import test_results as table
from portal.store.tables import journal, staff, tickets

_COLUMNS = (
    table.c.check_key,
    table.c.occasion,
    table.c.result,
    table.c.note,
    table.c.value,
    table.c.let_through,
    table.c.soak_until,
)
_OF_TICKET = select(*_COLUMNS).where(table.c.ticket_id == bindparam("ticket_id")).order_by(table.c.id)
_OLD = delete(table).where(
    table.c.ticket_id == bindparam("of_ticket"),
    table.c.check_key == bindparam("key"),
    table.c.occasion == bindparam("at"),
)
_SOAKED = (
    select(tickets.c.number, tickets.c.device, tickets.c.kind, table.c.check_key, table.c.soak_until)
    .join(table, table.c.ticket_id == tickets.c.id)
    .where(tickets.c.ending.is_(None), table.c.soak_until <= bindparam("now"))
    .order_by(table.c.soak_until)
)
_LET_THROUGH = (
    select(tickets.c.number, staff.c.name, journal.c.at, journal.c.text)
    .select_from(
        journal.join(tickets, journal.c.ticket_id == tickets.c.id).join(staff, journal.c.by_staff == staff.c.id)
    )
    .where(journal.c.event == "let_through", staff.c.role == "bench", journal.c.at >= bindparam("since"))
    .order_by(journal.c.at.desc())
)
_SAFETY_COLUMNS = (
    safety_tests.c.done,
    safety_tests.c.by_whom,
    safety_tests.c.instrument,
    safety_tests.c.tested_on,
    safety_tests.c.result,
)
_SAFETY = select(*_SAFETY_COLUMNS).where(safety_tests.c.ticket_id == bindparam("ticket_id"))
_OLD_SAFETY = delete(safety_tests).where(safety_tests.c.ticket_id == bindparam("ticket_id"))


@dataclass(frozen=True)
class Soaked:
    """A soak test that is over and whose result is awaited."""

    number: str
    device: str
    kind: str
    check: str
    over_since: datetime


@dataclass(frozen=True)
class LetThrough:
    """A sheet that the bench let through itself: for the keeper to see."""

    number: str
    by: str
    at: datetime
    why: str


def sheet(connection: Connection, ticket_id: int) -> list[Tried]:
    """A ticket's results: one for each check and occasion."""
    return [_tried(tuple(row)) for row in connection.execute(_OF_TICKET, {"ticket_id": ticket_id})]


def put(connection: Connection, ticket_id: int, results: list[Tried], now: datetime) -> None:
    """Write results in place of what stood there before; the journal keeps that they were others."""
    last = {(tried.check, tried.when): tried for tried in results}  # of two for one line the later counts
    if not last:
        return
    connection.execute(_OLD, [{"of_ticket": ticket_id, "key": key, "at": when.value} for key, when in last])
    connection.execute(
        insert(table),
        [
            {
                "ticket_id": ticket_id,
                "check_key": tried.check,
                "occasion": tried.when.value,
                "result": tried.result.value,
                "note": tried.note,
                "value": None if tried.value is None else str(tried.value),
                "let_through": tried.let_through,
                "soak_until": tried.soak_until,
                "tried_at": now,
            }
            for tried in last.values()
        ],
    )


def soaked(connection: Connection, now: datetime) -> list[Soaked]:
    """The soak tests that are over, the longest waiting first."""
    return [Soaked(*tuple(row)) for row in connection.execute(_SOAKED, {"now": now})]


def let_through_by_bench(connection: Connection, since: datetime) -> list[LetThrough]:
    """What the bench let through since a moment, the newest first."""
    return [LetThrough(*tuple(row)) for row in connection.execute(_LET_THROUGH, {"since": since})]


def safety_test(connection: Connection, ticket_id: int) -> SafetyTest | None:
    """What is recorded of an electrical safety test, or None."""
    row = connection.execute(_SAFETY, {"ticket_id": ticket_id}).first()
    if row is None:
        return None
    done, by_whom, instrument, tested_on, result = row
    return SafetyTest(done, by_whom, instrument, tested_on.isoformat() if tested_on else "", result)


def put_safety_test(connection: Connection, ticket_id: int, test: SafetyTest) -> None:
    """Write what is recorded of an electrical safety test, in place of an earlier record."""
    connection.execute(_OLD_SAFETY, {"ticket_id": ticket_id})
    tested_on = date.fromisoformat(test.tested_on) if test.tested_on else None
    connection.execute(insert(safety_tests), asdict(test) | {"ticket_id": ticket_id, "tested_on": tested_on})


def _tried(row: tuple[Any, ...]) -> Tried:
    check, occasion, result, note, value, let_through, soak_until = row
    measured = None if value is None else Decimal(value)
    return Tried(check, When(occasion), Result(result), note, measured, let_through, soak_until)
