"""What the customer gets: what we found, what we did, what we tested."""

from __future__ import annotations

from decimal import Decimal

from portal.rules.intake_record import CUSTOMER_SAFETY, Mark, Record
from portal.rules.parts import Origin, PartLine, State
from portal.rules.policy import Check
from portal.rules.summary import SafetyTest, summary
from portal.rules.test_sheet import FUNCTION_TEST_ONLY, Result, Tried, When

RAIL = Check(key="rail", bench="12 V rail", customer={"en": "Power holds"}, limits="12.0 V ± 5 %")
TOUCH = Check(key="touch", bench="Touch", customer={"en": "Touch answers"}, behind_lock=True)


def test_it_is_told_from_the_record_in_three_lists() -> None:
    told = summary(
        Record(shop_sees="Port bent.", marks=[Mark("scratch", "top", "left")], seal="broken", liquid="signs seen"),
        ["The port is new."],
        [PartLine(1, "port", State.FITTED), PartLine(2, "fan", State.ORDERED)],
        ["cleaning inside"],
        [RAIL],
        [
            Tried("rail", When.BEFORE, Result.FAIL, value=Decimal("10.9")),
            Tried("rail", When.AFTER, Result.PASS, value=Decimal("12.0")),
        ],
    )

    assert [str(each) for each in told.found] == [
        "Port bent.",
        "scratch, top, left",
        "The seal was broken.",
        "There were signs of liquid inside.",
    ]
    assert [str(each) for each in told.did] == ["The port is new.", "Fitted: port (new)", "Given free: cleaning inside"]
    assert (str(told.tested[0].before), str(told.tested[0].after)) == ("does not work, 10.9 V", "works, 12.0 V")
    assert told.closing == [FUNCTION_TEST_ONLY]


def test_what_was_let_through_says_why_and_what_was_locked_says_so() -> None:
    sheet = [
        Tried("rail", When.AFTER, Result.FAIL, note="ripples", let_through="Agreed by phone."),
        Tried("touch", When.AFTER, Result.NOT_TRIED, note="locked"),
    ]

    rail, touch = summary(None, [], [], [], [RAIL, TOUCH], sheet).tested

    assert (str(rail.after), rail.let_through) == ("does not work (ripples)", "Agreed by phone.")
    assert (touch.before, str(touch.after)) == (None, "not tried: locked")


def test_a_damaged_battery_is_told_until_it_is_dealt_with() -> None:
    record = Record(battery=["swollen"])

    assert CUSTOMER_SAFETY in summary(record, [], [], [], [], []).found
    assert CUSTOMER_SAFETY not in summary(record, [], [], [], [], [], made_safe=True).found


def test_a_used_part_is_never_told_as_new() -> None:
    told = summary(None, [], [PartLine(1, "drive", State.FITTED, Origin.DONOR)], [], [], [])

    assert [str(each) for each in told.did] == ["Fitted: drive (used, taken from another device)"]


def test_an_electrical_safety_test_is_told_as_it_was_recorded_and_not_judged() -> None:
    done = SafetyTest(True, "A. Qualified", "tester 7", "2026-03-02", "no fault found")

    assert [str(each) for each in summary(None, [], [], [], [], [], done).closing] == [
        "Electrical safety test on 2026-03-02 by A. Qualified, with tester 7. Recorded result: no fault found"
    ]
    assert [str(each) for each in summary(None, [], [], [], [], [], SafetyTest(False)).closing] == [
        "No electrical safety test was made."
    ]


def test_a_summary_of_nothing_is_empty() -> None:
    told = summary(None, [], [], [], [], [])

    assert (list(told.found), list(told.did), list(told.tested), list(told.closing)) == ([], [], [], [])
