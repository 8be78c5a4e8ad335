"""What holds for every deed on a ticket: written with its journal entry and its message, once, or not at all."""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from threading import Barrier
from typing import Any

import pytest

from notifications import outbox
from portal.actions.contacts import ContactTyped, change_contact
from portal.actions.desk import By, Desk, NotFound, Outcome, Stale
from portal.actions.handover import hand_over, return_unrepaired
from portal.actions.intake import TakenIn
from portal.actions.links import renew_contact, renew_docket
from portal.actions.moves import hold, move
from portal.actions.notes import correct, note
from portal.actions.shelf import put
from portal.rules.refusals import Refused, Unfit
from portal.store import visits
from portal.store.tables import throttles
from tests.actions.aftermath import (
    ALL_TABLES,
    assert_the_journal_rebuilds_the_row,
    everything,
    journal_of,
    messages,
    ticket_of,
)
from tests.actions.bench import WITHOUT_CODE, with_code
from tests.conftest import BENCH

Deed = Callable[..., Outcome]


def owner_ref(desk: Desk, number: str) -> str:
    with desk.reading() as connection:
        return visits.contacts_of(connection, ticket_of(desk, number).visit_id)[0].ref


def on_the_way(desk: Desk, number: str, *stages: str) -> None:
    for stage in stages:
        move(desk, BENCH, number, stage)


# name → (stages passed before, the deed with its arguments, the event it writes, the message it puts or None)
DEEDS: dict[str, tuple[tuple[str, ...], Deed, str, str | None]] = {
    "move": (("board_work",), lambda *to, **more: move(*to, "testing", **more), "moved", None),
    "move where customers are told": (
        (),
        lambda *to, **more: move(*to, "board_work", **more),
        "moved",
        "stage_reached",
    ),
    "hold": ((), lambda *to, **more: hold(*to, "part", **more), "held", None),
    "note": ((), lambda *to, **more: note(*to, "Dust inside.", **more), "noted", None),
    "note for the customer": (
        (),
        lambda *to, **more: note(*to, "Looks good.", audience="customer", **more),
        "noted",
        "noted",
    ),
    "correct": ((), lambda *to, **more: correct(*to, 1, "It came on Sunday.", **more), "corrected", None),
    "hand over": (
        ("board_work", "testing", "ready"),
        lambda desk, by, number, **more: hand_over(desk, by, number, with_code(desk, number), **more),
        "ended",
        "ended",
    ),
    "return": ((), lambda *to, **more: return_unrepaired(*to, "No parts.", **more), "ended", "ended"),
    "put on the shelf": ((), lambda *to, **more: put(*to, place="B 12", **more), "shelved", None),
    "change a contact": (
        (),
        lambda *to, **more: change_contact(*to, "owner", ContactTyped(email="new@example.org"), **more),
        "contact_changed",
        "link_again",
    ),
    "renew the docket": ((), lambda *to, **more: renew_docket(*to, **more), "link_renewed", None),
    "renew a contact": (
        (),
        lambda desk, by, number, **more: renew_contact(desk, by, number, owner_ref(desk, number), **more),
        "link_renewed",
        "link_again",
    ),
}


@pytest.fixture(params=[name for name, (*_rest, message) in DEEDS.items() if message])
def telling_deed(request: pytest.FixtureRequest, desk: Desk, number: str) -> Deed:
    """One deed after the other of those that put a message."""
    before, act, _event, _message = DEEDS[request.param]
    on_the_way(desk, number, *before)
    return act


@pytest.fixture(params=DEEDS)
def deed(request: pytest.FixtureRequest, desk: Desk, number: str) -> tuple[Deed, str, str | None]:
    """One deed after the other, on a ticket that is where the deed can be done."""
    before, act, event, message = DEEDS[request.param]
    on_the_way(desk, number, *before)
    return act, event, message


def test_a_deed_stands_in_the_journal_with_who_when_and_what(
    desk: Desk, number: str, deed: tuple[Deed, str, str | None], technician: By
) -> None:
    act, event, _message = deed
    desk.clock.at = desk.clock.at.replace(hour=15)
    before = ticket_of(desk, number).revision

    outcome = act(desk, technician, number)

    entry = journal_of(desk, number)[-1]
    assert (entry.event, entry.by, entry.at) == (event, "Robin", desk.clock.now())
    assert outcome == Outcome(number, before + 1)
    assert_the_journal_rebuilds_the_row(desk, number)


def test_a_deed_puts_its_message_and_no_other(desk: Desk, number: str, deed: tuple[Deed, str, str | None]) -> None:
    act, _event, message = deed
    before = messages(desk)

    act(desk, BENCH, number)

    assert [event for event, _reference, _facts in messages(desk)[len(before) :]] == ([message] if message else [])


def test_a_deed_whose_message_cannot_be_written_is_not_done(
    desk: Desk, number: str, telling_deed: Deed, monkeypatch: pytest.MonkeyPatch
) -> None:
    tables = [table for table in ALL_TABLES if table is not throttles]  # a try of a code stays counted all the same
    before = everything(desk, tables)

    def fail(*_call: object) -> None:
        raise OSError("the outbox is out of order")

    monkeypatch.setattr(outbox, "put", fail)

    with pytest.raises(OSError, match="out of order"):
        telling_deed(desk, BENCH, number)
    assert everything(desk, tables) == before


def test_a_form_sent_twice_has_one_effect(desk: Desk, number: str, deed: tuple[Deed, str, str | None]) -> None:
    act, _event, _message = deed
    seen = ticket_of(desk, number).revision
    first = act(desk, BENCH, number, seen=seen, deed_key="once")
    before = everything(desk)

    again = act(desk, BENCH, number, seen=seen, deed_key="once")

    assert again == Outcome(number, first.revision, repeated=True)
    assert everything(desk) == before


def test_a_form_sent_twice_at_once_has_one_effect(desk: Desk, number: str, deed: tuple[Deed, str, str | None]) -> None:
    act, _event, _message = deed
    seen = ticket_of(desk, number).revision
    together = Barrier(2)

    def send(_place: int) -> Outcome:
        together.wait()
        return act(desk, BENCH, number, seen=seen, deed_key="once")

    with ThreadPoolExecutor(2) as pool:
        answers = list(pool.map(send, range(2)))

    assert sorted(answer.repeated for answer in answers) == [False, True]
    assert ticket_of(desk, number).revision == seen + 1


def test_a_deed_on_a_stale_page_changes_nothing_and_tells_what_happened_since(
    desk: Desk, number: str, deed: tuple[Deed, str, str | None]
) -> None:
    act, _event, _message = deed
    seen = ticket_of(desk, number).revision
    note(desk, BENCH, number, "Written meanwhile.")
    before = everything(desk)

    with pytest.raises(Stale) as stale:
        act(desk, BENCH, number, seen=seen)

    assert [entry.text for entry in stale.value.since] == ["Written meanwhile."]
    assert stale.value.ticket == ticket_of(desk, number)
    assert everything(desk) == before


@pytest.mark.parametrize("seen", [-1, 0, 99, 10**30, -(10**30)])
def test_a_page_that_claims_to_have_seen_another_state_is_stale(desk: Desk, number: str, seen: int) -> None:
    with pytest.raises(Stale) as stale:
        note(desk, BENCH, number, "Hello", seen=seen)

    assert [entry.event for entry in stale.value.since] == ["arrived"]


def test_a_deed_on_what_was_seen_goes_through(desk: Desk, number: str, deed: tuple[Deed, str, str | None]) -> None:
    act, _event, _message = deed

    assert not act(desk, BENCH, number, seen=ticket_of(desk, number).revision).repeated


def test_every_deed_says_that_the_customers_page_changed(
    desk: Desk, taken_in: TakenIn, number: str, deed: tuple[Deed, str, str | None]
) -> None:
    act, _event, _message = deed
    with desk.reading() as connection:
        before = visits.by_ref(connection, taken_in.visit_ref).revision

    act(desk, BENCH, number)

    with desk.reading() as connection:
        assert visits.by_ref(connection, taken_in.visit_ref).revision > before


@pytest.mark.parametrize("typed", ["", "5727", "abc", "9" * 10_000, "'; DROP TABLE tickets; --", "5724\x00"])
def test_a_deed_on_what_is_no_number_is_refused(desk: Desk, number: str, typed: str) -> None:
    with pytest.raises(Unfit) as refused:
        note(desk, BENCH, typed, "Hello")

    assert refused.value.field == "number"


def test_a_deed_on_a_number_that_was_never_given_is_not_found(desk: Desk, number: str) -> None:
    with pytest.raises(NotFound) as missing:
        note(desk, BENCH, "5724", "Hello")

    assert str(missing.value.reason) == "There is no repair 572-4 here."


@pytest.mark.parametrize("key", ["", "x" * 33, "a b", "\x00"])
def test_a_form_with_a_damaged_key_is_refused(desk: Desk, number: str, key: str) -> None:
    before = everything(desk)

    with pytest.raises(Refused, match="This form is damaged"):
        note(desk, BENCH, number, "Hello", deed_key=key)
    assert everything(desk) == before


REFUSED: dict[str, tuple[Callable[[Desk, str], Any], str]] = {
    "a move to an unknown stage": (
        lambda desk, number: move(desk, BENCH, number, "polishing"),
        "The shop has no stage “polishing”. Allowed: received, cleaning, board_work, testing, ready.",
    ),
    "a move with NUL in the stage": (
        lambda desk, number: move(desk, BENCH, number, "rea\x00dy"),
        "The shop has no stage",
    ),
    "a move too far": (
        lambda desk, number: move(desk, BENCH, number, "ready"),
        "“Board work” comes first and may not be skipped. “Testing” comes first and may not be skipped.",
    ),
    "a move to where it is": (
        lambda desk, number: move(desk, BENCH, number, "received"),
        "The ticket is in “Received” already.",
    ),
    "a reason too long": (
        lambda desk, number: move(desk, BENCH, number, "cleaning", why="x" * 10_000),
        "The reason has 10000 characters; at most 4000 fit.",
    ),
    "an unknown hold": (
        lambda desk, number: hold(desk, BENCH, number, "lunch"),
        "There is no hold “lunch”. Allowed: approval, part, customer, dispute, safety.",
    ),
    "lifting no hold": (lambda desk, number: hold(desk, BENCH, number, "none"), "The ticket is not on hold."),
    "an empty note": (lambda desk, number: note(desk, BENCH, number, " \x00 "), "The note is missing."),
    "a note too long": (
        lambda desk, number: note(desk, BENCH, number, "x" * 10_000),
        "The note has 10000 characters; at most 4000 fit.",
    ),
    "correcting what is not there": (
        lambda desk, number: correct(desk, BENCH, number, 2, "No."),
        "The journal has no entry 2.",
    ),
    "correcting what cannot be": (
        lambda desk, number: correct(desk, BENCH, number, 10**30, "No."),
        "The journal has no entry 1000000000000000000000000000000.",
    ),
    "correcting before the first": (
        lambda desk, number: correct(desk, BENCH, number, 0, "No."),
        "The journal has no entry 0.",
    ),
    "an empty correction": (lambda desk, number: correct(desk, BENCH, number, 1, ""), "The correction is missing."),
    "handing over too early": (
        lambda desk, number: hand_over(desk, BENCH, number, WITHOUT_CODE),
        "A device is handed over from “Ready”. Move it there, or give it back unrepaired with a reason.",
    ),
    "giving back without a reason": (
        lambda desk, number: return_unrepaired(desk, BENCH, number, "  "),
        "The reason for giving it back unrepaired is missing.",
    ),
}


@pytest.mark.parametrize(("act", "reason"), REFUSED.values(), ids=REFUSED)
def test_a_refused_deed_tells_its_reason_and_changes_nothing(
    desk: Desk, number: str, act: Callable[[Desk, str], Any], reason: str
) -> None:
    before = everything(desk)

    with pytest.raises(Refused) as refused:
        act(desk, number)

    assert reason in " ".join(str(each) for each in refused.value.reasons)
    assert everything(desk) == before
