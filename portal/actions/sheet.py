"""The test sheet: results before and after, soak tests, letting through, and what is recorded of a safety test."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime

from sqlalchemy import Connection

from portal.actions import tell
from portal.actions.desk import By, Change, Desk, Outcome, change_ticket
from portal.actions.people import is_keeper
from portal.rules import test_sheet
from portal.rules.days import local_day
from portal.rules.policy import Check, Policy
from portal.rules.refusals import Refused, Unfit, needs
from portal.rules.secrets import ask_about_secrets
from portal.rules.sentences import say
from portal.rules.stages import Event, must_be_here
from portal.rules.summary import SafetyTest
from portal.rules.test_sheet import Tried
from portal.rules.text import line
from portal.store import sheets
from portal.store.tickets import Ticket


@dataclass(frozen=True)
class Typed:
    """One check as typed. `result` may be "" where a measured value decides."""

    check: str
    when: str
    result: str = ""
    note: str = ""
    value: str = ""


def fill_in(
    desk: Desk,
    by: By,
    number: str,
    typed: Sequence[Typed],
    *,
    confirmed: bool = False,
    seen: int | None = None,
    deed_key: str | None = None,
) -> Outcome:
    """Write results of checks, all or none.

    Raises what `rules.test_sheet.fill_in` raises, Refused for a check that the sheet has not.
    """
    if not typed:
        raise needs("result", say("The result"))
    ask_about_secrets(*(each.note for each in typed), confirmed=confirmed)
    now = desk.clock.now()

    def decide(connection: Connection, ticket: Ticket, policy: Policy) -> Change:
        must_be_here(ticket.standing)
        known = {(tried.check, tried.when): tried for tried in sheets.sheet(connection, ticket.id)}
        tried = []
        for each in typed:
            check = _check(policy, ticket, each.check)
            new = test_sheet.fill_in(check, each.when, each.result, note=each.note, value=each.value)
            tried.append(test_sheet.replaces(known.get((new.check, new.when)), new, now))
        return _written("tested", tried)

    return change_ticket(desk, by, number, decide, seen=seen, deed_key=deed_key)


def try_the_rest_locked(
    desk: Desk, by: By, number: str, *, seen: int | None = None, deed_key: str | None = None
) -> Outcome:
    """Mark the checks behind the lock as not tried, where nothing stands yet. Raises Refused when there are none."""

    def decide(connection: Connection, ticket: Ticket, policy: Policy) -> Change:
        must_be_here(ticket.standing)
        known = {(tried.check, tried.when) for tried in sheets.sheet(connection, ticket.id)}
        tried = [each for each in test_sheet.locked(_checks(policy, ticket)) if (each.check, each.when) not in known]
        if not tried:
            raise Refused(say("No check is left that needs the device unlocked."))
        return _written("tested", tried)

    return change_ticket(desk, by, number, decide, seen=seen, deed_key=deed_key)


def start_soak(
    desk: Desk, by: By, number: str, check: str, *, seen: int | None = None, deed_key: str | None = None
) -> Outcome:
    """Start a soak test; the bench is told when it is over. Raises Refused for a check that is none."""
    now = desk.clock.now()

    def decide(_connection: Connection, ticket: Ticket, policy: Policy) -> Change:
        must_be_here(ticket.standing)
        return _written("soak_started", [test_sheet.start_soak(_check(policy, ticket, check), now)])

    return change_ticket(desk, by, number, decide, seen=seen, deed_key=deed_key)


def let_through(
    desk: Desk, by: By, number: str, why: str, *, seen: int | None = None, deed_key: str | None = None
) -> Outcome:
    """Let a sheet through with a reason that the customer reads. Raises what `rules.test_sheet.let_through` raises."""

    def decide(connection: Connection, ticket: Ticket, policy: Policy) -> Change:
        must_be_here(ticket.standing)
        sheet = sheets.sheet(connection, ticket.id)
        tried = test_sheet.let_through(
            _checks(policy, ticket),
            sheet,
            why,
            by_keeper=is_keeper(connection, by),
            bench_may=policy.bench.may_let_through,
        )
        change = _written("let_through", tried)
        return replace(change, text=tried[0].let_through, audience="customer")

    def then(connection: Connection, ticket: Ticket, now: datetime) -> None:
        if not is_keeper(connection, by):
            tell.let_through(connection, ticket, now)

    return change_ticket(desk, by, number, decide, seen=seen, deed_key=deed_key, then=then)


def record_safety_test(
    desk: Desk,
    by: By,
    number: str,
    test: SafetyTest,
    *,
    seen: int | None = None,
    deed_key: str | None = None,
) -> Outcome:
    """Record an electrical safety test as whoever made it told it, or that none was made. Nothing here judges it.

    Raises Unfit for a test without by whom, day or result, or a day to come.
    """

    def decide(_connection: Connection, ticket: Ticket, policy: Policy) -> Change:
        fitted = _safety(test, local_day(desk.clock.now(), policy))
        must_be_here(ticket.standing)

        def write(connection: Connection, ticket: Ticket, _now: datetime) -> None:
            sheets.put_safety_test(connection, ticket.id, fitted)

        return Change([Event("safety_test_recorded", {"done": str(fitted.done).lower()})], write=write)

    return change_ticket(desk, by, number, decide, seen=seen, deed_key=deed_key)


def _written(name: str, tried: Sequence[Tried]) -> Change:
    events = [Event(name, {"check": t.check, "when": t.when.value, "result": t.result.value}) for t in tried]

    def write(connection: Connection, ticket: Ticket, now: datetime) -> None:
        sheets.put(connection, ticket.id, list(tried), now)

    return Change(events, audience="bench", write=write)


def _checks(policy: Policy, ticket: Ticket) -> Sequence[Check]:
    kind = policy.kind(ticket.kind)
    return kind.checks if kind else ()


def _check(policy: Policy, ticket: Ticket, key: str) -> Check:
    for check in _checks(policy, ticket):
        if check.key == key:
            return check
    raise Refused(say("The test sheet has no check “{check}”.", check=key[:40]))


def _safety(test: SafetyTest, today: date) -> SafetyTest:
    if not test.done:
        return SafetyTest(False)
    try:
        day = date.fromisoformat(test.tested_on.strip())
    except ValueError:
        raise Unfit("tested_on", say("The day of the test is missing. Write it like 2026-12-24.")) from None
    if day > today:
        raise Unfit("tested_on", say("The day of the test is still to come."))
    return SafetyTest(
        True,
        line("by_whom", say("By whom"), test.by_whom, required=True),
        line("instrument", say("The instrument"), test.instrument, required=True),
        day.isoformat(),
        line("result", say("The result"), test.result, limit=400, required=True),
    )
