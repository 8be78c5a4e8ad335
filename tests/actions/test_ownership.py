"""Whose is it? While somebody else claims a device, it goes to nobody by any way, and a log is kept."""

from __future__ import annotations

import pytest

from portal.actions.desk import By, Desk
from portal.actions.handover import hand_over, return_unrepaired
from portal.actions.moves import hold
from portal.actions.ownership import add_to_log, question, settle
from portal.rules.refusals import Refused, Unfit
from portal.rules.stages import Hold
from tests.actions.aftermath import assert_the_journal_rebuilds_the_row, everything, journal_of, messages, ticket_of
from tests.actions.bench import bring_to, with_code
from tests.conftest import BENCH

SAID = "A caller says that it was taken from her car. She reads its serial number out."


@pytest.fixture
def claimed(desk: Desk, number: str) -> str:
    """The number of a ticket whose device is ready, and claimed by somebody else."""
    bring_to(desk, number, "ready")
    question(desk, BENCH, number, SAID)
    return number


def test_a_claim_holds_the_device_and_is_the_benchs_own(desk: Desk, claimed: str) -> None:
    ticket = ticket_of(desk, claimed)

    assert (ticket.hold, ticket.claimed_at) == (Hold.DISPUTE, desk.clock.now())
    first, second = journal_of(desk, claimed)[-2:]
    assert [(each.event, each.audience, each.text) for each in (first, second)] == [
        ("ownership_questioned", "bench", SAID),
        ("held", "bench", ""),
    ]
    assert "ownership" not in str(messages(desk))
    assert_the_journal_rebuilds_the_row(desk, claimed)


def test_neither_code_nor_command_nor_the_lifting_of_the_hold_lets_it_go(desk: Desk, claimed: str, keeper: By) -> None:
    code = with_code(desk, claimed)
    before = everything(desk)

    for deed in (
        lambda: hold(desk, keeper, claimed, "none"),
        lambda: hold(desk, keeper, claimed, "part"),
        lambda: return_unrepaired(desk, keeper, claimed, "They asked for it."),
    ):
        with pytest.raises(Refused, match="Somebody else says"):
            deed()
    assert everything(desk) == before
    with pytest.raises(Refused, match="Somebody else says"):
        hand_over(desk, keeper, claimed, code)
    assert ticket_of(desk, claimed).ending is None


def test_the_log_tells_in_order_who_wrote_what(desk: Desk, claimed: str, technician: By, keeper: By) -> None:
    add_to_log(desk, technician, claimed, "The police station of the town rang.")
    settle(desk, keeper, claimed, "The caller found her own.")

    told = [(each.event, each.by, each.text) for each in journal_of(desk, claimed) if "ownership" in each.event]
    assert told == [
        ("ownership_questioned", "", SAID),
        ("ownership_noted", "Robin", "The police station of the town rang."),
        ("ownership_settled", "Kim", "The caller found her own."),
    ]
    assert (ticket_of(desk, claimed).hold, ticket_of(desk, claimed).claimed_at) == (None, None)


def test_only_the_keeper_says_that_it_is_settled(desk: Desk, claimed: str, technician: By) -> None:
    with pytest.raises(Refused, match="Only the keeper"):
        settle(desk, technician, claimed, "It will be fine.")


def test_once_settled_the_device_goes_to_whoever_has_its_code(desk: Desk, claimed: str, keeper: By) -> None:
    settle(desk, keeper, claimed, "The caller found her own.")

    hand_over(desk, keeper, claimed, with_code(desk, claimed))


def test_a_claim_keeps_another_dispute_and_ends_it_with_itself(desk: Desk, number: str, keeper: By) -> None:
    hold(desk, BENCH, number, "dispute")
    question(desk, BENCH, number, SAID)

    assert [each.event for each in journal_of(desk, number)].count("held") == 1
    settle(desk, keeper, number, "Settled in writing.")
    assert ticket_of(desk, number).hold is None


@pytest.mark.parametrize("deed", [question, add_to_log, settle])
def test_nothing_is_written_without_words(desk: Desk, number: str, deed) -> None:
    with pytest.raises(Unfit):
        deed(desk, BENCH, number, " \n")


def test_there_is_no_log_without_a_claim_and_one_claim_at_a_time(desk: Desk, number: str) -> None:
    for deed in (add_to_log, settle):
        with pytest.raises(Refused, match="Nobody else claims"):
            deed(desk, BENCH, number, SAID)
    question(desk, BENCH, number, SAID)
    with pytest.raises(Refused, match="Somebody else says"):
        question(desk, BENCH, number, SAID)


def test_a_device_that_has_left_is_claimed_from_its_owner(desk: Desk, number: str) -> None:
    return_unrepaired(desk, BENCH, number, "No parts.")

    with pytest.raises(Refused, match="has ended"):
        question(desk, BENCH, number, SAID)
