"""A handover that was a mistake: undone within the policy's time, and whoever was told hears of it."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from datetime import timedelta
from threading import Barrier

import pytest
from sqlalchemy import select, update

from notifications.instants import FixedClock
from notifications.tables import outbox
from portal.actions.desk import Desk, Stale
from portal.actions.handover import hand_over, return_unrepaired, undo
from portal.actions.ownership import question
from portal.rules.refusals import Refused, Unfit
from portal.rules.stages import Ending, Standing
from portal.store import keeping, visits
from tests.actions.aftermath import assert_the_journal_rebuilds_the_row, everything, journal_of, ticket_of
from tests.actions.bench import WITHOUT_CODE, bring_to, with_code
from tests.conftest import BENCH


@pytest.fixture
def ready(desk: Desk, number: str) -> str:
    """The number of a ticket whose device is ready."""
    bring_to(desk, number, "ready")
    return number


def states(desk: Desk) -> list[tuple[str, str]]:
    with desk.reading() as connection:
        return [tuple(row) for row in connection.execute(select(outbox.c.event, outbox.c.state).order_by(outbox.c.id))]


def all_sent(desk: Desk) -> None:
    """Everything that waits has gone out."""
    with desk.writing() as connection:
        sent = {"state": "sent", "settled_at": desk.clock.now()}
        connection.execute(update(outbox).where(outbox.c.state == "waiting").values(**sent))


def test_undone_it_stands_where_it_stood_and_nothing_counts_down(desk: Desk, clock: FixedClock, ready: str) -> None:
    hand_over(desk, BENCH, ready, WITHOUT_CODE)
    clock.at += timedelta(minutes=60)

    undo(desk, BENCH, ready, "The wrong ticket.")

    ticket = ticket_of(desk, ready)
    assert (ticket.standing, ticket.ended_at) == (Standing("ready"), None)
    with desk.reading() as connection:
        assert visits.by_id(connection, ticket.visit_id).link_ends_at is None
        assert keeping.of_visit(connection, ticket.visit_id) == {}
    last = journal_of(desk, ready)[-1]
    assert (last.event, last.text, last.audience) == ("reopened", "The wrong ticket.", "bench")
    assert_the_journal_rebuilds_the_row(desk, ready)


def test_a_minute_too_late_it_is_not_undone(desk: Desk, clock: FixedClock, ready: str) -> None:
    hand_over(desk, BENCH, ready, WITHOUT_CODE)
    clock.at += timedelta(minutes=60, seconds=1)
    before = everything(desk)

    with pytest.raises(Refused, match="within 60 minutes"):
        undo(desk, BENCH, ready, "The wrong ticket.")
    assert everything(desk) == before


def test_what_has_not_ended_or_has_no_reason_is_not_undone(desk: Desk, ready: str) -> None:
    with pytest.raises(Refused, match="has not ended"):
        undo(desk, BENCH, ready, "Just so.")
    hand_over(desk, BENCH, ready, WITHOUT_CODE)
    with pytest.raises(Unfit):
        undo(desk, BENCH, ready, "  ")


def test_an_owner_who_was_not_told_yet_hears_nothing(desk: Desk, ready: str) -> None:
    all_sent(desk)
    hand_over(desk, BENCH, ready, WITHOUT_CODE)
    undo(desk, BENCH, ready, "The wrong ticket.")

    assert states(desk)[-1] == ("handed_over_without_code", "withdrawn")


def test_an_owner_who_was_told_hears_that_it_was_a_mistake(desk: Desk, ready: str) -> None:
    hand_over(desk, BENCH, ready, WITHOUT_CODE)
    all_sent(desk)
    undo(desk, BENCH, ready, "The wrong ticket.")

    assert states(desk)[-2:] == [("handed_over_without_code", "sent"), ("reopened", "waiting")]


def test_an_owner_who_was_still_to_hear_that_it_is_ready_hears_that_after_all(desk: Desk, ready: str) -> None:
    hand_over(desk, BENCH, ready, WITHOUT_CODE)
    undo(desk, BENCH, ready, "The wrong ticket.")

    assert states(desk)[-3:] == [
        ("ready", "withdrawn"),
        ("handed_over_without_code", "withdrawn"),
        ("ready", "waiting"),
    ]


def test_an_owner_whose_code_is_spent_hears_of_the_new_one_in_any_case(desk: Desk, ready: str) -> None:
    hand_over(desk, BENCH, ready, with_code(desk, ready))
    undo(desk, BENCH, ready, "It does not start.")

    assert states(desk)[-2:] == [("ended", "withdrawn"), ("reopened", "waiting")]


def test_a_device_given_back_by_mistake_is_here_again_in_its_stage(desk: Desk, number: str) -> None:
    bring_to(desk, number, "testing")
    return_unrepaired(desk, BENCH, number, "No parts.")
    undo(desk, BENCH, number, "The neighbour’s.")

    assert ticket_of(desk, number).standing == Standing("testing")
    return_unrepaired(desk, BENCH, number, "No parts after all.")


@pytest.mark.parametrize("repeats", range(3))
def test_of_two_handovers_at_once_one_is_done_and_the_other_told(desk: Desk, ready: str, repeats: int) -> None:
    together, typed = Barrier(2), with_code(desk, ready)
    seen = ticket_of(desk, ready).revision

    def send(_place: int) -> str:
        together.wait()
        try:
            hand_over(desk, BENCH, ready, typed, seen=seen)
        except (Stale, Refused) as refused:
            return type(refused).__name__
        return "done"

    with ThreadPoolExecutor(2) as pool:
        answers = sorted(pool.map(send, range(2)))

    assert answers in (["Stale", "done"], ["Unfit", "done"])
    assert [each.event for each in journal_of(desk, ready)].count("ended") == 1
    assert [event for event, _state in states(desk)].count("ended") == 1
    assert ticket_of(desk, ready).ending is Ending.COLLECTED


def test_a_handover_and_a_hold_at_once_leave_no_held_ticket_that_has_left(desk: Desk, ready: str) -> None:
    together, typed = Barrier(2), with_code(desk, ready)

    def hand(_place: int) -> None:
        together.wait()
        hand_over(desk, BENCH, ready, typed)

    def claim(_place: int) -> None:
        together.wait()
        question(desk, BENCH, ready, "It is mine.")

    def quietly(deed) -> str:
        try:
            deed(0)
        except (Stale, Refused):
            return "refused"
        return "done"

    with ThreadPoolExecutor(2) as pool:
        answers = list(pool.map(quietly, (hand, claim)))

    ticket = ticket_of(desk, ready)
    assert answers.count("done") == 1
    assert (ticket.ending is None) == (ticket.claimed_at is not None)
    assert_the_journal_rebuilds_the_row(desk, ready)
