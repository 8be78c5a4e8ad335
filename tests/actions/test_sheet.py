"""The test sheet in the store: results, limits, soak tests, letting through, and the door to ready."""

from __future__ import annotations

from datetime import timedelta
from decimal import Decimal

import pytest

from notifications.instants import FixedClock
from portal.actions.desk import By, Desk
from portal.actions.handover import hand_over
from portal.actions.intake import NewDevice, NewVisit, take_in
from portal.actions.moves import move
from portal.actions.record import record
from portal.actions.sheet import Typed, fill_in, let_through, record_safety_test, start_soak, try_the_rest_locked
from portal.rules.gates import Facts
from portal.rules.intake_record import Record
from portal.rules.refusals import AskFirst, Refused, Unfit
from portal.rules.summary import SafetyTest
from portal.rules.test_sheet import Result, Tried, When
from portal.store import policies, sheets
from portal.store.facts import facts
from tests.actions.aftermath import assert_the_journal_rebuilds_the_row, everything, journal_of, ticket_of
from tests.actions.bench import WITHOUT_CODE, bring_to, sheet_of
from tests.conftest import BENCH


def facts_of(desk: Desk, number: str) -> Facts:
    with desk.reading() as connection:
        return facts(connection, ticket_of(desk, number), desk.policy(connection))


def pass_all(desk: Desk, number: str, *but: str) -> None:
    with desk.reading() as connection:
        kind = desk.policy(connection).kind(ticket_of(desk, number).kind)
    assert kind is not None
    checks = [check for check in kind.checks if check.when != "before" and check.key not in but]
    fill_in(desk, BENCH, number, [Typed(check.key, "after", "pass") for check in checks])


def test_results_are_read_back_as_they_were_written(desk: Desk, number: str) -> None:
    fill_in(
        desk,
        BENCH,
        number,
        [
            Typed("starts", "before", "fail", "dead"),
            Typed("usb", "before", value="4,9 V"),
            Typed("usb", "after", value="5100 mV"),
        ],
    )

    assert sheet_of(desk, number) == [
        Tried("starts", When.BEFORE, Result.FAIL, "dead"),
        Tried("usb", When.BEFORE, Result.PASS, value=Decimal("4.9")),
        Tried("usb", When.AFTER, Result.PASS, value=Decimal("5.1")),
    ]
    assert [entry.data["result"] for entry in journal_of(desk, number)[-3:]] == ["fail", "pass", "pass"]
    assert_the_journal_rebuilds_the_row(desk, number)


def test_the_newest_result_counts_and_the_journal_keeps_the_older(desk: Desk, number: str) -> None:
    fill_in(desk, BENCH, number, [Typed("starts", "after", "fail")])
    fill_in(desk, BENCH, number, [Typed("starts", "after", "pass")])

    assert [tried.result for tried in sheet_of(desk, number)] == [Result.PASS]
    assert [entry.data["result"] for entry in journal_of(desk, number)[-2:]] == ["fail", "pass"]


def test_one_bad_line_keeps_the_whole_sheet_out(desk: Desk, number: str) -> None:
    before = everything(desk)

    for bad in (Typed("usb", "after", value="lots"), Typed("usb", "after", "pass", value="5.3")):
        with pytest.raises(Unfit):
            fill_in(desk, BENCH, number, [Typed("starts", "after", "pass"), bad])
    with pytest.raises(Refused, match="no check “wheels”"):
        fill_in(desk, BENCH, number, [Typed("wheels", "after", "pass")])
    with pytest.raises(AskFirst):
        fill_in(desk, BENCH, number, [Typed("starts", "after", "pass", "PIN 1234")])
    assert everything(desk) == before


def test_a_sheet_passes_when_all_that_is_needed_passed(desk: Desk, number: str) -> None:
    pass_all(desk, number, "starts", "drive")
    assert not facts_of(desk, number).sheet_passed

    fill_in(desk, BENCH, number, [Typed("starts", "after", "pass")])
    assert facts_of(desk, number).sheet_passed


def test_a_failed_check_shuts_the_door_to_ready_until_it_is_let_through(desk: Desk, number: str, keeper: By) -> None:
    fill_in(desk, BENCH, number, [Typed("starts", "after", "fail")])
    bring_to(desk, number, "testing")

    with pytest.raises(Refused, match="A needed check failed"):
        move(desk, BENCH, number, "ready", confirmed=True)
    let_through(desk, keeper, number, "Agreed by phone: given back so.")
    move(desk, BENCH, number, "ready", confirmed=True)

    let = [entry for entry in journal_of(desk, number) if entry.event == "let_through"]
    assert {(each.audience, each.by) for each in let} == {("customer", "Kim")}
    assert let[0].text == "Agreed by phone: given back so."


def test_a_check_that_fails_when_ready_shuts_the_door_at_the_counter(desk: Desk, number: str) -> None:
    bring_to(desk, number, "ready")
    fill_in(desk, BENCH, number, [Typed("starts", "after", "fail")])

    with pytest.raises(Refused, match="A needed check failed"):
        hand_over(desk, BENCH, number, WITHOUT_CODE)


def test_a_new_failure_is_not_covered_by_an_old_reason(desk: Desk, number: str, keeper: By) -> None:
    fill_in(desk, BENCH, number, [Typed("starts", "after", "fail")])
    let_through(desk, keeper, number, "Agreed.")
    fill_in(desk, BENCH, number, [Typed("starts", "after", "fail")])

    assert not facts_of(desk, number).no_failed_check


def test_the_bench_lets_through_only_where_the_policy_says_so_and_the_keeper_sees_it(
    desk: Desk, number: str, technician: By, clock: FixedClock
) -> None:
    with pytest.raises(Refused, match="Only the keeper"):
        let_through(desk, technician, number, "It is late.")

    with desk.writing() as connection:
        document = policies.document(connection, 1)
        assert document is not None
        allowing = document.replace("may_let_through = false", "may_let_through = true")
        policies.add(connection, allowing, clock.now(), None)
    let_through(desk, technician, number, "Agreed with the owner.")

    with desk.reading() as connection:
        seen = sheets.let_through_by_bench(connection, clock.now() - timedelta(days=1))
    assert {(each.number, each.by, each.why) for each in seen if each.why} == {
        (number, "Robin", "Agreed with the owner.")
    }


def test_a_phone_tested_without_unlocking_passes_without_what_is_behind_the_lock(desk: Desk) -> None:
    (number,) = take_in(desk, BENCH, NewVisit([NewDevice("Phone, black", "Does not charge.", "phone")])).numbers
    record(desk, BENCH, number, Record(unlocking="tested without"))
    in_the_open = [
        Typed(key, "after", "" if key == "charges" else "pass", value="5.0" if key == "charges" else "")
        for key in ("starts", "charges", "screen", "keys")
    ]
    fill_in(desk, BENCH, number, in_the_open)
    try_the_rest_locked(desk, BENCH, number)

    assert facts_of(desk, number).sheet_passed
    locked = [tried for tried in sheet_of(desk, number) if tried.note == "locked"]
    assert {tried.result for tried in locked} == {Result.NOT_TRIED}
    assert "touch" in {tried.check for tried in locked}
    with pytest.raises(Refused, match="No check is left"):
        try_the_rest_locked(desk, BENCH, number)


def test_a_soak_test_tells_when_it_is_over(desk: Desk, number: str, clock: FixedClock) -> None:
    def over() -> list[tuple[str, str]]:
        with desk.reading() as connection:
            return [(each.number, each.check) for each in sheets.soaked(connection, clock.now())]

    start_soak(desk, BENCH, number, "warm")
    with pytest.raises(Refused, match="still running"):
        fill_in(desk, BENCH, number, [Typed("warm", "after", "pass")])
    assert over() == []

    clock.at += timedelta(minutes=60)
    assert over() == [(number, "warm")]
    fill_in(desk, BENCH, number, [Typed("warm", "after", "pass")])
    assert over() == []


def test_an_electrical_safety_test_is_recorded_and_not_judged(desk: Desk, number: str) -> None:
    assert not facts_of(desk, number).safety_test_recorded
    record_safety_test(desk, BENCH, number, SafetyTest(False))
    assert not facts_of(desk, number).safety_test_recorded

    record_safety_test(
        desk, BENCH, number, SafetyTest(True, "A. Qualified", "tester 7", "2026-03-02", "no fault found")
    )
    assert facts_of(desk, number).safety_test_recorded


@pytest.mark.parametrize(
    ("test", "field"),
    [
        (SafetyTest(True, "", "tester", "2026-03-02", "fine"), "by_whom"),
        (SafetyTest(True, "A", "", "2026-03-02", "fine"), "instrument"),
        (SafetyTest(True, "A", "tester", "yesterday", "fine"), "tested_on"),
        (SafetyTest(True, "A", "tester", "2026-03-03", "fine"), "tested_on"),
        (SafetyTest(True, "A", "tester", "2026-03-02", ""), "result"),
    ],
)
def test_a_safety_test_names_who_what_and_when(desk: Desk, number: str, test: SafetyTest, field: str) -> None:
    with pytest.raises(Unfit) as refused:
        record_safety_test(desk, BENCH, number, test)

    assert refused.value.field == field


def test_a_safety_test_is_of_today_by_the_shops_clock(desk: Desk, clock: FixedClock, number: str) -> None:
    clock.at = clock.at.replace(month=7, day=1, hour=23, minute=30)  # half past midnight in London

    with pytest.raises(Unfit, match="still to come"):
        record_safety_test(desk, BENCH, number, SafetyTest(True, "A", "tester", "2026-07-03", "fine"))
    record_safety_test(desk, BENCH, number, SafetyTest(True, "A", "tester", "2026-07-02", "fine"))

    assert facts_of(desk, number).safety_test_recorded


def test_the_sheet_before_the_repair_is_made_when_it_was_looked_at(desk: Desk, number: str) -> None:
    assert not facts_of(desk, number).sheet_before_made
    with desk.reading() as connection:
        kind = desk.policy(connection).kind("console")
    assert kind is not None
    typed = [Typed(check.key, "before", "not tried") for check in kind.checks if check.needed and check.when != "after"]
    fill_in(desk, BENCH, number, typed)

    assert facts_of(desk, number).sheet_before_made


def test_the_record_opens_its_gate(desk: Desk, number: str) -> None:
    assert not facts_of(desk, number).intake_recorded
    record(desk, BENCH, number, Record())
    assert facts_of(desk, number).intake_recorded
