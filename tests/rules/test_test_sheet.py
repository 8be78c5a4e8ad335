"""The test sheet: results before and after, measured values judged by their limits, and what lets a sheet pass."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from decimal import Decimal

import pytest

from portal.rules import test_sheet as rules
from portal.rules.policy import Check
from portal.rules.refusals import Refused, Unfit
from portal.rules.test_sheet import Result, Tried, When

NOW = datetime(2026, 3, 2, 9, 0, tzinfo=UTC)


def check(key: str, **more: object) -> Check:
    return Check.model_validate({"key": key, "bench": f"{key}?", "customer": {"en": key}} | more)


STARTS = check("starts")
RAIL = check("rail", limits="12.0 V ± 5 %")
DRIVE = check("drive", needed=False)
TOUCH = check("touch", behind_lock=True)
WARM = check("warm", when="after", soak_minutes=60)
SMELL = check("smell", when="before")
CHECKS = [STARTS, RAIL, DRIVE, TOUCH, WARM, SMELL]


def after(key: str, result: Result, **more: object) -> Tried:
    return Tried(key, When.AFTER, result, **more)  # type: ignore[arg-type]


ALL_PASS = [after(each.key, Result.PASS) for each in CHECKS if each.when != "before"]


@pytest.mark.parametrize(
    ("value", "result"), [("11.4", "pass"), ("12,6 V", "pass"), ("11.39", "fail"), ("12601 mV", "fail"), ("0", "fail")]
)
def test_a_measured_value_says_in_or_out_by_itself(value: str, result: str) -> None:
    assert rules.fill_in(RAIL, "after", "", value=value).result == result


def test_a_pass_with_a_value_outside_its_limits_is_refused() -> None:
    with pytest.raises(Unfit, match=r"12\.8 V is outside 11\.4–12\.6 V") as refused:
        rules.fill_in(RAIL, "after", "pass", value="12.8")

    assert refused.value.field == "result"


def test_a_check_may_fail_though_its_value_is_within() -> None:
    tried = rules.fill_in(RAIL, "after", "fail", value="12.0", note="Ripples under load.")

    assert (tried.result, tried.value, tried.note) == (Result.FAIL, Decimal("12.0"), "Ripples under load.")


def test_a_value_where_nothing_is_measured_is_refused() -> None:
    with pytest.raises(Unfit, match="Nothing is measured"):
        rules.fill_in(STARTS, "after", "pass", value="12")


@pytest.mark.parametrize(("each", "when"), [(WARM, "before"), (SMELL, "after"), (STARTS, "during"), (STARTS, "")])
def test_a_check_is_tried_only_at_its_time(each: Check, when: str) -> None:
    with pytest.raises(Unfit, match="is not tried then"):
        rules.fill_in(each, when, "pass")


@pytest.mark.parametrize("result", ["", "ok", "PASS", "passed"])
def test_an_unknown_result_is_refused_with_those_there_are(result: str) -> None:
    with pytest.raises(Unfit, match="Allowed: pass, fail, not applicable, not tried"):
        rules.fill_in(STARTS, "after", result)


def test_a_needed_check_that_does_not_apply_says_why() -> None:
    with pytest.raises(Unfit, match="Why this check does not apply is missing"):
        rules.fill_in(STARTS, "after", "not applicable")

    assert rules.fill_in(DRIVE, "after", "not applicable").result is Result.NOT_APPLICABLE


def test_a_sheet_passes_when_every_needed_check_passes_after_the_repair() -> None:
    assert rules.unsettled(CHECKS, ALL_PASS) == []
    assert rules.unsettled(CHECKS, [tried for tried in ALL_PASS if tried.check != "drive"]) == []
    assert rules.unsettled(CHECKS, ALL_PASS[1:]) == [STARTS]


def test_a_pass_before_the_repair_does_not_count_after_it() -> None:
    before = [Tried(each.key, When.BEFORE, Result.PASS) for each in CHECKS]

    assert rules.unsettled([STARTS], before) == [STARTS]


@pytest.mark.parametrize("result", [Result.FAIL, Result.NOT_TRIED])
def test_a_needed_check_that_failed_or_was_not_tried_stands_in_the_way(result: Result) -> None:
    sheet = [after("starts", result), *ALL_PASS[1:]]

    assert rules.unsettled(CHECKS, sheet) == [STARTS]
    assert rules.failed(CHECKS, sheet) == ([STARTS] if result is Result.FAIL else [])


def test_checks_behind_the_lock_do_not_count_where_the_owner_had_it_tested_without() -> None:
    sheet = [tried for tried in ALL_PASS if tried.check != "touch"] + rules.locked(CHECKS)

    assert rules.unsettled(CHECKS, sheet) == [TOUCH]
    assert rules.unsettled(CHECKS, sheet, without_unlocking=True) == []
    assert rules.unsettled([TOUCH], [after("touch", Result.FAIL)], without_unlocking=True) == [TOUCH]


def test_the_sheet_before_is_made_when_every_needed_check_was_looked_at() -> None:
    before = [Tried(key, When.BEFORE, Result.NOT_TRIED) for key in ("starts", "rail", "touch", "smell")]

    assert rules.made_before(CHECKS, before)
    assert not rules.made_before(CHECKS, before[1:])


def test_the_keeper_lets_through_only_what_stands_in_the_way() -> None:
    sheet = [after("starts", Result.FAIL, note="Starts on the second try."), *ALL_PASS[2:]]

    passing = rules.let_through(CHECKS, sheet, "As agreed by phone.", by_keeper=True, bench_may=False)

    assert [(tried.check, tried.result, tried.let_through) for tried in passing] == [
        ("starts", Result.FAIL, "As agreed by phone."),
        ("rail", Result.NOT_TRIED, "As agreed by phone."),
    ]
    assert rules.unsettled(CHECKS, [*ALL_PASS[2:], *passing]) == []
    assert rules.failed(CHECKS, passing) == []


def test_the_bench_lets_through_only_where_the_policy_says_so() -> None:
    with pytest.raises(Refused, match="Only the keeper"):
        rules.let_through(CHECKS, [], "Why not.", by_keeper=False, bench_may=False)

    assert rules.let_through(CHECKS, [], "Why not.", by_keeper=False, bench_may=True)


def test_letting_through_needs_a_reason_and_something_to_let_through() -> None:
    with pytest.raises(Unfit, match="The reason is missing"):
        rules.let_through(CHECKS, [], " ", by_keeper=True, bench_may=False)
    with pytest.raises(Refused, match="nothing to let through"):
        rules.let_through(CHECKS, ALL_PASS, "All is well.", by_keeper=True, bench_may=False)


def test_a_soak_test_has_an_end_and_does_not_pass_before_it() -> None:
    soaking = rules.start_soak(WARM, NOW)
    passed = rules.fill_in(WARM, "after", "pass")
    stopped = rules.fill_in(WARM, "after", "fail", note="Switched itself off.")

    assert soaking.soak_until == NOW + timedelta(hours=1)
    with pytest.raises(Refused, match="still running"):
        rules.replaces(soaking, passed, NOW + timedelta(minutes=59))
    assert rules.replaces(soaking, stopped, NOW + timedelta(minutes=5)) == stopped
    assert rules.replaces(soaking, passed, NOW + timedelta(minutes=60)) == passed


def test_what_is_no_soak_test_is_not_started_as_one() -> None:
    with pytest.raises(Refused, match="is no soak test"):
        rules.start_soak(STARTS, NOW)
