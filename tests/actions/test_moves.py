"""Moving through the stages and waiting in them, with the gates of the default policy."""

from __future__ import annotations

import pytest

from portal.actions.desk import Desk
from portal.actions.intake import NewDevice, NewVisit, TakenIn, take_in
from portal.actions.moves import hold, move
from portal.actions.notes import note
from portal.rules.refusals import AskFirst, Refused
from portal.rules.stages import Hold, Standing
from portal.store import journal
from portal.store.facts import facts
from tests.actions.aftermath import everything, journal_of, messages, ticket_of
from tests.conftest import BENCH


def test_moving_on_changes_the_stage_and_since_when(desk: Desk, number: str) -> None:
    desk.clock.at = desk.clock.at.replace(hour=15)

    move(desk, BENCH, number, "cleaning")

    ticket = ticket_of(desk, number)
    assert (ticket.stage, ticket.stage_since) == ("cleaning", desk.clock.now())


def test_the_customer_is_told_where_the_policy_says_so(desk: Desk, taken_in: TakenIn, number: str) -> None:
    ref = ticket_of(desk, number).ref
    for stage in ("cleaning", "board_work", "testing", "ready"):
        move(desk, BENCH, number, stage)

    told = [(reference, facts.get("stage", event)) for event, reference, facts in messages(desk)[1:]]
    assert told == [(ref, "board_work"), (ref, "ready")]


def test_a_stage_that_is_reached_again_is_told_again(desk: Desk, number: str) -> None:
    move(desk, BENCH, number, "board_work")
    move(desk, BENCH, number, "received", why="The wrong device.")
    move(desk, BENCH, number, "board_work")

    assert [event for event, _reference, _facts in messages(desk)] == ["taken_in", "stage_reached", "stage_reached"]


def test_a_shut_gate_stops_the_move_and_says_what_opens_it(desk: Desk) -> None:
    number = take_in(desk, BENCH, NewVisit([NewDevice("Phone", fault="")], email="bo@example.org")).numbers[0]
    before = everything(desk)

    with pytest.raises(Refused, match="Write down what the customer says is wrong"):
        move(desk, BENCH, number, "board_work")
    assert everything(desk) == before


def test_a_gate_that_warns_asks_first_and_then_lets_through(desk: Desk) -> None:
    number = take_in(desk, BENCH, NewVisit([NewDevice("Phone", "Broken")])).numbers[0]
    for stage in ("board_work", "testing"):
        move(desk, BENCH, number, stage)
    before = everything(desk)

    with pytest.raises(AskFirst, match="Add one to the contact"):
        move(desk, BENCH, number, "ready")
    assert everything(desk) == before

    move(desk, BENCH, number, "ready", confirmed=True)
    assert ticket_of(desk, number).standing == Standing("ready")


def test_a_reason_stays_with_the_bench_while_the_move_does_not(desk: Desk, number: str) -> None:
    move(desk, BENCH, number, "board_work")
    move(desk, BENCH, number, "received", why="Swapped by mistake at the bench.")
    hold(desk, BENCH, number, "part", why="Supplier is slow.")

    with desk.reading() as connection:
        read = journal.entries_for_customer(connection, ticket_of(desk, number).id)
    assert [(entry.event, entry.text) for entry in read] == [
        ("arrived", ""),
        ("moved", ""),
        ("moved", ""),
        ("held", ""),
    ]
    assert [entry.text for entry in journal_of(desk, number)[2:]] == [
        "Swapped by mistake at the bench.",
        "Supplier is slow.",
    ]


def test_a_hold_is_set_changed_and_lifted_with_its_time(desk: Desk, number: str) -> None:
    hold(desk, BENCH, number, "approval")
    desk.clock.at = desk.clock.at.replace(hour=11)
    hold(desk, BENCH, number, "part")

    ticket = ticket_of(desk, number)
    assert (ticket.hold, ticket.hold_since) == (Hold.PART, desk.clock.now())

    hold(desk, BENCH, number, "none")
    ticket = ticket_of(desk, number)
    assert (ticket.hold, ticket.hold_since) == (None, None)


@pytest.mark.parametrize("kind", list(Hold))
def test_a_ticket_on_hold_stays_until_the_hold_is_lifted(desk: Desk, number: str, kind: Hold) -> None:
    hold(desk, BENCH, number, kind.value)
    before = everything(desk)

    with pytest.raises(Refused, match="The ticket is on hold"):
        move(desk, BENCH, number, "cleaning")
    assert everything(desk) == before

    hold(desk, BENCH, number, "none")
    move(desk, BENCH, number, "cleaning")
    assert ticket_of(desk, number).stage == "cleaning"


def test_a_note_for_the_customer_counts_for_its_own_stage_only(desk: Desk, number: str) -> None:
    """What the gate “customer told what was done” reads."""

    def told() -> bool:
        with desk.reading() as connection:
            return facts(connection, ticket_of(desk, number), desk.policy(connection)).customer_note_in_stage

    note(desk, BENCH, number, "For the bench.")
    assert not told()
    note(desk, BENCH, number, "For you.", audience="customer")
    assert told()
    move(desk, BENCH, number, "cleaning")
    assert not told()
