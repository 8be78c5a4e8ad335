"""“I am not satisfied”: a day for the answer, the keeper told, the data kept, and nobody reminded meanwhile."""

from __future__ import annotations

from datetime import date, timedelta

import pytest

from notifications.instants import FixedClock
from portal.actions import charges, pauses
from portal.actions import complaints as deeds
from portal.actions.collection import remind
from portal.actions.desk import CUSTOMER, By, Desk
from portal.actions.handover import hand_over
from portal.actions.intake import NewDevice, NewVisit, take_in
from portal.actions.terms import accept_terms
from portal.rules.refusals import Refused, Unfit
from portal.rules.retention import Kept
from portal.store import complaints, keeping, people
from portal.store.complaints import Complaint
from tests.actions.aftermath import everything, journal_of, messages, ticket_of
from tests.actions.bench import WITHOUT_CODE, bring_to
from tests.actions.test_money import STORAGE
from tests.actions.test_questions import with_policy
from tests.conftest import BENCH

WORDS = "It still does not charge."


def open_complaint(desk: Desk, number: str) -> Complaint | None:
    with desk.reading() as connection:
        return complaints.open_of(connection, ticket_of(desk, number).id)


def paused(desk: Desk, number: str) -> dict[Kept, date]:
    with desk.reading() as connection:
        return {pause.kept: pause.until for pause in keeping.pauses_of(connection, ticket_of(desk, number).visit_id)}


def reminders(desk: Desk) -> int:
    return sum(event == "uncollected" for event, _reference, _facts in messages(desk))


def test_a_complaint_has_a_day_for_its_answer_and_keeps_the_data(desk: Desk, number: str) -> None:
    bring_to(desk, number, "ready")

    deeds.complain(desk, number, WORDS)

    found = open_complaint(desk, number)
    assert found is not None
    assert found.answer_by == date(2026, 3, 16)  # fourteen days after 2 March
    assert (journal_of(desk, number)[-1].text, journal_of(desk, number)[-1].by_kind) == (WORDS, "customer")
    assert paused(desk, number) == dict.fromkeys(deeds.KEEPS, date(2026, 5, 31))  # ninety days after


def test_the_keeper_is_told(desk: Desk, number: str, keeper: By) -> None:
    assert keeper.staff_id is not None
    with desk.writing() as connection:
        people.change(connection, keeper.staff_id, email="kim@example.org")

    deeds.complain(desk, number, WORDS)

    assert [(event, facts) for event, _reference, facts in messages(desk) if event == "complained"] == [
        ("complained", {"entry": ticket_of(desk, number).revision})
    ]


@pytest.mark.parametrize("words", ["", "   \n", "x" * (deeds.LONGEST + 1)])
def test_words_that_are_none_or_too_many_are_refused(desk: Desk, number: str, words: str) -> None:
    before = everything(desk)

    with pytest.raises(Unfit):
        deeds.complain(desk, number, words)

    assert everything(desk) == before


def test_a_second_complaint_waits_for_the_answer_to_the_first(desk: Desk, number: str) -> None:
    deeds.complain(desk, number, WORDS)

    with pytest.raises(Refused, match="told us already"):
        deeds.complain(desk, number, WORDS)


def test_the_same_form_twice_is_one_complaint(desk: Desk, number: str) -> None:
    deeds.complain(desk, number, WORDS, deed_key="k1")

    assert deeds.complain(desk, number, WORDS, deed_key="k1").repeated


def test_it_may_be_said_after_the_handover_too(desk: Desk, number: str) -> None:
    bring_to(desk, number, "ready")
    hand_over(desk, BENCH, number, WITHOUT_CODE, confirmed=True)

    deeds.complain(desk, number, WORDS)

    assert open_complaint(desk, number) is not None


def test_nobody_is_reminded_while_it_is_open(desk: Desk, clock: FixedClock, number: str) -> None:
    bring_to(desk, number, "ready")
    deeds.complain(desk, number, WORDS)
    for _day in range(10):
        clock.at += timedelta(days=1)
        remind(desk, clock.now())
    assert reminders(desk) == 0

    deeds.close(desk, CUSTOMER, number)
    for _day in range(3):
        clock.at += timedelta(days=1)
        remind(desk, clock.now())

    assert reminders(desk) == 1


def test_nothing_is_charged_for_storage_while_it_is_open(desk: Desk, clock: FixedClock, keeper: By) -> None:
    with_policy(desk, STORAGE)
    taken = take_in(desk, BENCH, NewVisit([NewDevice("Radio", "Hums")]))
    accept_terms(desk, BENCH, taken.visit_ref, "draft-1", "tick")
    bring_to(desk, taken.numbers[0], "ready")
    clock.at += timedelta(days=40)
    deeds.complain(desk, taken.numbers[0], WORDS)

    with pytest.raises(Refused, match="in dispute"):
        charges.state_storage(desk, keeper, taken.numbers[0])
    deeds.close(desk, CUSTOMER, taken.numbers[0])

    charges.state_storage(desk, keeper, taken.numbers[0])


def test_the_answer_is_told_and_the_customer_or_the_bench_closes_it(desk: Desk, number: str) -> None:
    deeds.complain(desk, number, WORDS)
    with pytest.raises(Refused, match="Answer the complaint first"):
        deeds.close(desk, BENCH, number)

    deeds.answer(desk, BENCH, number, "We look at it again, free of charge.")

    assert [event for event, *_rest in messages(desk)][-1] == "complaint_answered"
    found = open_complaint(desk, number)
    assert found is not None
    assert found.answered_at is not None
    deeds.close(desk, BENCH, number)
    assert open_complaint(desk, number) is None
    assert paused(desk, number) == {}


def test_an_answer_may_close_it_at_once(desk: Desk, number: str) -> None:
    deeds.complain(desk, number, WORDS)

    deeds.answer(desk, BENCH, number, "Your money is on its way back.", closes=True)

    assert open_complaint(desk, number) is None
    assert [entry.event for entry in journal_of(desk, number)][-2:] == ["complaint_answered", "complaint_closed"]


def test_a_customer_may_say_that_it_is_settled_before_any_answer(desk: Desk, number: str) -> None:
    deeds.complain(desk, number, WORDS)

    deeds.close(desk, CUSTOMER, number)

    assert open_complaint(desk, number) is None
    deeds.complain(desk, number, "Once more.")  # and may complain anew
    assert open_complaint(desk, number) is not None


@pytest.mark.parametrize("deed", ["answer", "close"])
def test_without_a_complaint_there_is_nothing_to_answer_or_close(desk: Desk, number: str, deed: str) -> None:
    with pytest.raises(Refused, match="No complaint is open"):
        deeds.answer(desk, BENCH, number, "Words") if deed == "answer" else deeds.close(desk, BENCH, number)


def test_a_pause_of_the_keepers_own_stays(desk: Desk, number: str) -> None:
    pauses.pause(desk, BENCH, number, [Kept.PHOTO], "A claim", "2026-12-01")

    deeds.complain(desk, number, WORDS)
    assert paused(desk, number)[Kept.PHOTO] == date(2026, 12, 1)
    deeds.close(desk, CUSTOMER, number)

    assert paused(desk, number) == {Kept.PHOTO: date(2026, 12, 1)}


def test_of_two_complaints_about_one_visit_the_one_that_stays_open_keeps_the_data(
    desk: Desk, clock: FixedClock
) -> None:
    devices = [NewDevice("Phone", "Broken"), NewDevice("Laptop", "Broken")]
    first, second = take_in(desk, BENCH, NewVisit(devices)).numbers
    deeds.complain(desk, first, WORDS)
    clock.at += timedelta(days=5)
    deeds.complain(desk, second, WORDS)
    assert paused(desk, first) == dict.fromkeys(deeds.KEEPS, date(2026, 6, 5))

    deeds.close(desk, CUSTOMER, first)
    assert paused(desk, first) == dict.fromkeys(deeds.KEEPS, date(2026, 6, 5))
    deeds.close(desk, CUSTOMER, second)

    assert paused(desk, first) == {}
