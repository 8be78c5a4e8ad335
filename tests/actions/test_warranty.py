"""Back within the warranty: a linked ticket, decided after looking, with the customer's objection; nothing charged."""

from __future__ import annotations

from datetime import timedelta

import pytest

from notifications.instants import FixedClock
from portal.actions import warranty as deeds
from portal.actions.desk import Desk, Stale
from portal.actions.handover import hand_over, return_unrepaired
from portal.rules.refusals import Refused, Unfit
from portal.rules.warranty import Verdict, Way
from portal.store import questions, visits, warranty
from portal.store.warranty import Return
from tests.actions.aftermath import assert_the_journal_rebuilds_the_row, everything, journal_of, messages, ticket_of
from tests.actions.bench import WITHOUT_CODE, bring_to
from tests.conftest import BENCH


@pytest.fixture
def gone(desk: Desk, number: str) -> str:
    """A repair whose device was handed over on 2 March; its warranty runs until 2 June."""
    bring_to(desk, number, "ready")
    hand_over(desk, BENCH, number, WITHOUT_CODE, confirmed=True)
    return number


@pytest.fixture
def again(desk: Desk, clock: FixedClock, gone: str) -> str:
    """The number under which its device came back ten days later."""
    clock.at += timedelta(days=10)
    return deeds.take_back_in(desk, BENCH, gone, "Does not charge again.").numbers[0]


def link_of(desk: Desk, number: str) -> Return | None:
    with desk.reading() as connection:
        return warranty.of_ticket(connection, ticket_of(desk, number).id)


def test_a_device_comes_back_as_a_linked_ticket_with_the_same_people(desk: Desk, gone: str, again: str) -> None:
    new, old = ticket_of(desk, again), ticket_of(desk, gone)
    link = link_of(desk, again)

    assert (new.device, new.kind, new.fault) == (old.device, old.kind, "Does not charge again.")
    assert new.visit_id != old.visit_id
    assert link is not None
    assert (link.earlier, link.until.isoformat(), link.verdict) == (gone, "2026-06-02", None)
    with desk.reading() as connection:
        assert list(warranty.later(connection, old.id)) == [again]
        people = [
            [(each.role, each.name, each.email, each.phone) for each in visits.contacts_of(connection, visit_id)]
            for visit_id in (old.visit_id, new.visit_id)
        ]
    assert people[0] == people[1]
    assert [entry.event for entry in journal_of(desk, again)] == ["arrived", "came_back"]
    assert journal_of(desk, gone)[-1].event == "came_back_as"
    for number in (gone, again):
        assert_the_journal_rebuilds_the_row(desk, number)
    assert messages(desk)[-1][0] == "taken_in"


@pytest.mark.parametrize(("days", "lets"), [(0, True), (92, True), (93, False)])
def test_the_last_day_of_the_warranty_counts_and_the_next_does_not(
    desk: Desk, clock: FixedClock, gone: str, days: int, lets: bool
) -> None:
    clock.at += timedelta(days=days)
    if lets:
        assert deeds.take_back_in(desk, BENCH, gone, "Hums").numbers
    else:
        with pytest.raises(Refused, match="warranty ended on"):
            deeds.take_back_in(desk, BENCH, gone, "Hums")


def test_what_was_not_repaired_has_no_warranty(desk: Desk, number: str) -> None:
    with pytest.raises(Refused, match="no warranty"):
        deeds.take_back_in(desk, BENCH, number, "Hums")
    return_unrepaired(desk, BENCH, number, "No parts.")
    with pytest.raises(Refused, match="no warranty"):
        deeds.take_back_in(desk, BENCH, number, "Hums")


def test_bad_input_leaves_nothing_half_done(desk: Desk, gone: str) -> None:
    before = everything(desk)

    with pytest.raises(Unfit):
        deeds.take_back_in(desk, BENCH, gone, "  ")
    with pytest.raises(Stale):
        deeds.take_back_in(desk, BENCH, gone, "Hums", seen=1)

    assert everything(desk) == before


def test_the_same_form_twice_is_one_device(desk: Desk, gone: str) -> None:
    seen = ticket_of(desk, gone).revision
    first = deeds.take_back_in(desk, BENCH, gone, "Hums", seen=seen, deed_key="k1")

    second = deeds.take_back_in(desk, BENCH, gone, "Hums", seen=seen, deed_key="k1")

    assert (second.numbers, second.link, second.repeated) == (first.numbers, first.link, True)


def test_after_looking_the_shop_says_what_it_is_and_the_customer_may_object(
    desk: Desk, clock: FixedClock, again: str
) -> None:
    with pytest.raises(Refused, match="Nobody has looked yet"):
        deeds.object_to(desk, again, "It is the same.")

    deeds.decide(desk, BENCH, again, "other", "customer", "The battery is swollen; we had changed the socket.")
    assert messages(desk)[-1][0] == "fault_compared"
    deeds.object_to(desk, again, "It is the same.")
    with pytest.raises(Refused, match="told us already"):
        deeds.object_to(desk, again, "It is!")
    with desk.reading() as connection:
        assert [each.number for each in warranty.objected(connection)] == [again]

    deeds.decide(desk, BENCH, again, "same", "shop", "You are right, the socket came loose.")

    link = link_of(desk, again)
    assert link is not None
    assert (link.verdict, link.way, link.objected_at) == (Verdict.SAME, Way.SHOP, None)
    with desk.reading() as connection:
        assert list(warranty.objected(connection)) == []


@pytest.mark.parametrize(
    ("verdict", "way", "words", "field"),
    [
        ("", "shop", "Words", "verdict"),
        ("perhaps", "shop", "Words", "verdict"),
        ("same", "", "Words", "way"),
        ("same", "customer", "Words", "way"),
        ("same", "shop", " ", "words"),
    ],
)
def test_a_decision_that_cannot_be_meant_is_refused(
    desk: Desk, again: str, verdict: str, way: str, words: str, field: str
) -> None:
    before = everything(desk)

    with pytest.raises(Unfit) as unfit:
        deeds.decide(desk, BENCH, again, verdict, way, words)

    assert unfit.value.field == field
    assert everything(desk) == before


def test_only_what_came_back_is_compared(desk: Desk, number: str) -> None:
    with pytest.raises(Refused, match="did not come back"):
        deeds.decide(desk, BENCH, number, "same", "shop", "Words")


@pytest.mark.parametrize("verdict", Verdict)
def test_whatever_is_found_nothing_is_charged_without_a_yes(desk: Desk, again: str, verdict: Verdict) -> None:
    deeds.decide(desk, BENCH, again, verdict.value, "nobody", "As found.")

    with desk.reading() as connection:
        assert questions.agreed(connection, ticket_of(desk, again).id) == []
