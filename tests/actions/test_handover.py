"""The end of a ticket: the device goes back to its owner."""

from __future__ import annotations

from dataclasses import replace

import pytest

from portal.actions.desk import Desk
from portal.actions.handover import hand_over, return_unrepaired
from portal.actions.intake import NewVisit, take_in
from portal.actions.links import resolve
from portal.actions.moves import hold, move
from portal.rules.refusals import Refused, Unfit
from portal.rules.stages import Ending, Hold, Standing
from portal.store import journal, tickets
from tests.actions.aftermath import assert_the_journal_rebuilds_the_row, everything, messages, ticket_of
from tests.actions.bench import WITHOUT_CODE, with_code
from tests.conftest import BENCH


@pytest.fixture
def ready(desk: Desk, number: str) -> str:
    """The number of a ticket whose device is ready."""
    for stage in ("board_work", "testing", "ready"):
        move(desk, BENCH, number, stage)
    return number


def test_a_ready_device_is_handed_over_and_its_owner_told(desk: Desk, ready: str) -> None:
    desk.clock.at = desk.clock.at.replace(hour=16)

    hand_over(desk, BENCH, ready, with_code(desk, ready))

    ticket = ticket_of(desk, ready)
    assert (ticket.standing, ticket.ended_at) == (Standing("ready", None, Ending.COLLECTED), desk.clock.now())
    assert messages(desk)[-1] == ("ended", ticket.ref, {"ending": "collected"})
    assert_the_journal_rebuilds_the_row(desk, ready)


def test_a_device_that_was_handed_over_is_on_the_bench_list_no_more(desk: Desk, ready: str) -> None:
    hand_over(desk, BENCH, ready, WITHOUT_CODE)

    with desk.reading() as connection:
        assert tickets.open_tickets(connection) == []


def test_a_device_is_handed_over_once(desk: Desk, ready: str) -> None:
    hand_over(desk, BENCH, ready, WITHOUT_CODE)
    before = everything(desk)

    with pytest.raises(Refused, match="This ticket has ended"):
        hand_over(desk, BENCH, ready, WITHOUT_CODE)
    assert everything(desk) == before


def test_a_device_on_hold_is_not_handed_over(desk: Desk, ready: str) -> None:
    hold(desk, BENCH, ready, "dispute")

    with pytest.raises(Refused, match="in dispute"):
        hand_over(desk, BENCH, ready, WITHOUT_CODE)


def test_the_customer_reads_why_a_device_was_given_back_unrepaired(desk: Desk, number: str) -> None:
    return_unrepaired(desk, BENCH, number, "The board is cracked.")

    ticket = ticket_of(desk, number)
    with desk.reading() as connection:
        last = journal.entries_for_customer(connection, ticket.id)[-1]
    assert (last.event, last.text) == ("ended", "The board is cracked.")
    assert messages(desk)[-1] == ("ended", ticket.ref, {"ending": "returned unrepaired"})


def test_a_usual_reason_is_told_in_the_customers_language_with_words_beside_it(desk: Desk, arrival: NewVisit) -> None:
    number = take_in(desk, BENCH, replace(arrival, language="de")).numbers[0]

    return_unrepaired(desk, BENCH, number, "Der Chip ist gebrochen.", "no_part")

    with desk.reading() as connection:
        last = journal.entries_for_customer(connection, ticket_of(desk, number).id)[-1]
    assert last.text == "Das Teil, das es braucht, ist nicht zu bekommen.\nDer Chip ist gebrochen."


def test_a_usual_reason_is_reason_enough_and_another_is_none(desk: Desk, number: str) -> None:
    with pytest.raises(Unfit):
        return_unrepaired(desk, BENCH, number, "", "bad luck")

    return_unrepaired(desk, BENCH, number, "", "no_fault")


def test_giving_back_ends_a_hold(desk: Desk, number: str) -> None:
    hold(desk, BENCH, number, "part")

    return_unrepaired(desk, BENCH, number, "The part is made no more.")

    ticket = ticket_of(desk, number)
    assert (ticket.hold, ticket.hold_since, ticket.ending) == (None, None, Ending.RETURNED)
    assert_the_journal_rebuilds_the_row(desk, number)


def test_a_device_in_dispute_is_not_given_back_before_it_is_settled(desk: Desk, number: str) -> None:
    hold(desk, BENCH, number, "dispute")

    with pytest.raises(Refused, match="in dispute"):
        return_unrepaired(desk, BENCH, number, "No parts.")
    assert ticket_of(desk, number).hold is Hold.DISPUTE


def test_the_link_still_leads_to_the_visit_after_the_end(desk: Desk, taken_in, number: str) -> None:
    return_unrepaired(desk, BENCH, number, "No parts.")

    with desk.reading() as connection:
        assert resolve(desk, connection, taken_in.link.rsplit("/", 1)[1]).visit.ref == taken_in.visit_ref
