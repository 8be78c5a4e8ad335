"""The test sheet: the checks of a kind of device, each with its result before and after the repair.

A function test only: it is not an electrical safety test and says nothing of electrical safety.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from decimal import Decimal
from enum import StrEnum

from portal.rules.limits import parse_value
from portal.rules.policy_bench import Check
from portal.rules.refusals import Refused, Unfit, needs
from portal.rules.sentences import say
from portal.rules.text import line, passage

FUNCTION_TEST_ONLY = say("This is a function test only, not an electrical safety test.")
LOCKED = say("not tried: locked")


class Result(StrEnum):
    """What a check showed."""

    PASS = "pass"  # noqa: S105 (a result, not a password)
    FAIL = "fail"
    NOT_APPLICABLE = "not applicable"
    NOT_TRIED = "not tried"


class When(StrEnum):
    """Before the repair, or after it."""

    BEFORE = "before"
    AFTER = "after"


RESULT_WORDS = {
    Result.PASS: say("works"),
    Result.FAIL: say("does not work"),
    Result.NOT_APPLICABLE: say("does not apply"),
    Result.NOT_TRIED: say("not tried"),
}


@dataclass(frozen=True)
class Tried:
    """One check tried once; the newest counts. `let_through` is the reason why it need not pass."""

    check: str
    when: When
    result: Result
    note: str = ""
    value: Decimal | None = None
    let_through: str = ""
    soak_until: datetime | None = None


def fill_in(check: Check, when: str, result: str, *, note: str = "", value: str = "") -> Tried:
    """Fill in one line. A measured value within its limits is a pass and outside of them a fail, when `result` is "".

    Raises Unfit for a time at which the check is not tried, an unknown result, a value that does not fit, a pass that
    the value belies, or a needed check that does not apply without saying why.
    """
    time = _when(check, when)
    words = line("note", say("The note"), note, limit=400)
    band, measured = check.band(), None
    if value.strip():
        if band is None:
            raise Unfit("value", say("Nothing is measured in this check. Put the figure into the note."))
        measured = parse_value(value, band.unit)
    if not result and band and measured is not None:
        return Tried(check.key, time, Result.PASS if band.hold(measured) else Result.FAIL, words, measured)
    shown = _result(result)
    if shown is Result.PASS and band and measured is not None and not band.hold(measured):
        raise Unfit(
            "result",
            say(
                "{value} {unit} is outside {limits}: this is no pass. Measure again, or record the fail.",
                value=measured,
                unit=band.unit,
                limits=str(band),
            ),
        )
    if shown is Result.NOT_APPLICABLE and check.needed and not words:
        raise needs("note", say("Why this check does not apply"))
    return Tried(check.key, time, shown, words, measured)


def start_soak(check: Check, now: datetime) -> Tried:
    """Start a soak test: not tried until it ends. Raises Refused for a check that is none."""
    if not check.soak_minutes:
        raise Refused(say("“{check}” is no soak test.", check=check.bench))
    return Tried(check.key, When.AFTER, Result.NOT_TRIED, soak_until=now + timedelta(minutes=check.soak_minutes))


def replaces(old: Tried | None, new: Tried, now: datetime) -> Tried:
    """The line after a new result. Raises Refused for a pass while its soak test still runs."""
    if old and old.soak_until and now < old.soak_until and new.result is Result.PASS and not new.soak_until:
        raise Refused(say("This soak test is still running. Wait for its end, or record what stopped it."))
    return new


def locked(checks: Iterable[Check]) -> list[Tried]:
    """The lines of a device that is tested without being unlocked, after the repair."""
    return [
        Tried(check.key, When.AFTER, Result.NOT_TRIED, note="locked")
        for check in checks
        if check.behind_lock and check.when != "before"
    ]


def unsettled(checks: Sequence[Check], sheet: Iterable[Tried], *, without_unlocking: bool = False) -> list[Check]:
    """The needed checks that stand in the way after the repair: failed or not tried, and not let through.

    Where the owner chose to have it tested without unlocking, checks behind the lock that were not tried do not count.
    """
    after = {tried.check: tried for tried in sheet if tried.when is When.AFTER}
    return [
        check
        for check in checks
        if check.needed and check.when != "before" and not _settled(check, after.get(check.key), without_unlocking)
    ]


def failed(checks: Sequence[Check], sheet: Iterable[Tried]) -> list[Check]:
    """The needed checks that failed after the repair and are not let through."""
    bad = {
        tried.check
        for tried in sheet
        if tried.when is When.AFTER and tried.result is Result.FAIL and not tried.let_through
    }
    return [check for check in checks if check.needed and check.key in bad]


def made_before(checks: Sequence[Check], sheet: Iterable[Tried]) -> bool:
    """Whether every needed check that can be tried before the repair has been looked at."""
    seen = {tried.check for tried in sheet if tried.when is When.BEFORE}
    return all(check.key in seen for check in checks if check.needed and check.when != "after")


def let_through(
    checks: Sequence[Check], sheet: Sequence[Tried], why: str, *, by_keeper: bool, bench_may: bool
) -> list[Tried]:
    """Let what stands in the way through, with a reason that the customer reads.

    A new result of such a check asks anew. Raises Refused for the bench where the policy keeps it to the keeper, or
    when nothing stands in the way; Unfit without a reason.
    """
    if not (by_keeper or bench_may):
        raise Refused(say("Only the keeper lets a test sheet through. Ask the keeper, or mend and test again."))
    reason = passage("why", say("The reason"), why, limit=400, required=True)
    after = {tried.check: tried for tried in sheet if tried.when is When.AFTER}
    passing = []
    for check in unsettled(checks, sheet):
        known = after.get(check.key, Tried(check.key, When.AFTER, Result.NOT_TRIED))
        passing.append(Tried(check.key, When.AFTER, known.result, known.note, known.value, let_through=reason))
    if not passing:
        raise Refused(say("Every needed check has passed: there is nothing to let through."))
    return passing


def _settled(check: Check, tried: Tried | None, without_unlocking: bool) -> bool:
    if tried is None:
        return without_unlocking and check.behind_lock
    if tried.let_through or tried.result in (Result.PASS, Result.NOT_APPLICABLE):
        return True
    return without_unlocking and check.behind_lock and tried.result is Result.NOT_TRIED


def _when(check: Check, typed: str) -> When:
    if typed not in list(When) or check.when not in ("both", typed):
        raise Unfit("when", say("“{check}” is not tried then.", check=check.bench))
    return When(typed)


def _result(typed: str) -> Result:
    try:
        return Result(typed)
    except ValueError:
        raise Unfit(
            "result", say("“{result}” is no result. Allowed: {allowed}.", result=typed, allowed=", ".join(Result))
        ) from None
