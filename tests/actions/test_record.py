"""The intake record in the store: versions, the customer's one answer, a damaged battery."""

from __future__ import annotations

from dataclasses import replace

import pytest

from notifications.instants import FixedClock
from portal.actions.desk import By, Desk, Stale
from portal.actions.handover import return_unrepaired
from portal.actions.moves import hold, move
from portal.actions.record import agree, make_safe, object_to, record
from portal.rules.intake_record import Item, Mark, Record
from portal.rules.refusals import AskFirst, Refused, Unfit
from portal.rules.stages import Hold
from portal.store import records
from tests.actions.aftermath import assert_the_journal_rebuilds_the_row, everything, journal_of, ticket_of
from tests.actions.bench import bring_to, record_of
from tests.conftest import BENCH

FULL = Record(
    shop_sees="Picture port bent.",
    serial="26-053179-311383-7",
    marks=[Mark("scratch", "top", "left")],
    seal="whole",
    earlier_repair="screw missing",
    liquid="none seen",
    items=[Item("charger", "1"), Item("disc", "1", inside=True)],
    came_by="post",
    carrier="A carrier",
    parcel_ref="AB 12",
    backed_up="yes",
    may_reset="no",
    unlocking="tested without",
)


def test_a_record_is_read_back_as_it_was_written(desk: Desk, number: str) -> None:
    record(desk, BENCH, number, FULL)

    found = record_of(desk, number)
    assert found is not None
    assert found.record == replace(
        FULL,
        serial="260531793113837",
        marks=(Mark("scratch", "top", "left"),),
        items=(Item("charger"), Item("disc", 1, True)),
    )
    assert (found.version, found.made_at, found.answer) == (1, desk.clock.now(), None)
    entry = journal_of(desk, number)[-1]
    assert (entry.event, entry.data, entry.text) == ("recorded", {"version": "1"}, "")
    assert_the_journal_rebuilds_the_row(desk, number)


def test_a_changed_record_is_a_new_version_and_the_old_one_stays(desk: Desk, number: str) -> None:
    record(desk, BENCH, number, FULL)
    record(desk, BENCH, number, replace(FULL, seal="broken"))

    with desk.reading() as connection:
        versions = records.versions(connection, ticket_of(desk, number).id)
    assert [(each.version, each.record.seal) for each in versions] == [(2, "broken"), (1, "whole")]


def test_a_form_sent_twice_writes_one_version(desk: Desk, number: str) -> None:
    record(desk, BENCH, number, FULL, deed_key="k1")

    assert record(desk, BENCH, number, FULL, deed_key="k1").repeated
    assert record_of(desk, number).version == 1


def test_two_who_record_at_once_do_not_lose_words(desk: Desk, number: str) -> None:
    seen = ticket_of(desk, number).revision
    record(desk, BENCH, number, FULL, seen=seen)

    with pytest.raises(Stale):
        record(desk, BENCH, number, replace(FULL, seal="missing"), seen=seen)


def test_a_passcode_is_asked_about_and_nothing_is_written_meanwhile(desk: Desk, number: str) -> None:
    before = everything(desk)
    with pytest.raises(AskFirst):
        record(desk, BENCH, number, Record(shop_sees="PIN 1234"))
    assert everything(desk) == before

    record(desk, BENCH, number, Record(shop_sees="PIN 1234"), confirmed=True)


def test_nothing_is_recorded_of_a_device_that_has_left(desk: Desk, number: str) -> None:
    return_unrepaired(desk, BENCH, number, "No parts.")

    with pytest.raises(Refused, match="has ended"):
        record(desk, BENCH, number, FULL)


def test_the_customer_says_once_that_the_record_is_right(desk: Desk, number: str, clock: FixedClock) -> None:
    record(desk, BENCH, number, FULL)
    agree(desk, number, 1)

    found = record_of(desk, number)
    assert (found.answer, found.answered_at) == ("agreed", clock.now())
    entry = journal_of(desk, number)[-1]
    assert (entry.event, entry.by_kind) == ("agreed_record", "customer")
    for again in (lambda: agree(desk, number, 1), lambda: object_to(desk, number, 1, "Wait.")):
        with pytest.raises(Refused, match="answered this already"):
            again()


def test_an_objection_reaches_the_bench_until_a_new_version_answers_it(desk: Desk, number: str) -> None:
    def waiting() -> list[str]:
        with desk.reading() as connection:
            return [each.number for each in records.objected(connection)]

    record(desk, BENCH, number, FULL)
    object_to(desk, number, 1, "The scratch was not there.")

    assert waiting() == [number]
    assert journal_of(desk, number)[-1].text == "The scratch was not there."
    assert record_of(desk, number).objection == "The scratch was not there."

    record(desk, BENCH, number, replace(FULL, marks=[]))
    assert waiting() == []


def test_an_objection_needs_words(desk: Desk, number: str) -> None:
    record(desk, BENCH, number, FULL)

    with pytest.raises(Unfit, match="What is not right is missing"):
        object_to(desk, number, 1, " ")


def test_an_answer_belongs_to_the_version_that_was_read(desk: Desk, number: str) -> None:
    with pytest.raises(Refused, match="Nothing is recorded"):
        agree(desk, number, 1)
    record(desk, BENCH, number, FULL)
    record(desk, BENCH, number, replace(FULL, seal="broken"))

    with pytest.raises(Refused, match="has changed since"):
        agree(desk, number, 1)
    agree(desk, number, 2)


def test_a_damaged_battery_holds_the_ticket_until_it_is_dealt_with(desk: Desk, number: str) -> None:
    record(desk, BENCH, number, replace(FULL, battery=["swollen"]))
    assert ticket_of(desk, number).hold is Hold.SAFETY
    with pytest.raises(Refused, match="damaged battery"):
        move(desk, BENCH, number, "cleaning")

    make_safe(desk, BENCH, number, "Taken out, waits in the box.")

    assert ticket_of(desk, number).hold is None
    assert_the_journal_rebuilds_the_row(desk, number)
    with pytest.raises(Refused, match="No damaged battery"):
        make_safe(desk, BENCH, number, "Again.")


def test_lifting_the_hold_alone_does_not_let_a_damaged_battery_be_ready(desk: Desk, number: str) -> None:
    bring_to(desk, number, "testing")
    record(desk, BENCH, number, replace(FULL, battery=["wet"]))
    hold(desk, BENCH, number, "none")

    with pytest.raises(Refused, match="flagged as damaged"):
        move(desk, BENCH, number, "ready", confirmed=True)
    make_safe(desk, BENCH, number, "Replaced by a new one.")
    move(desk, BENCH, number, "ready", confirmed=True)


def test_a_battery_dealt_with_stays_so_in_the_next_version_unless_more_is_flagged(desk: Desk, number: str) -> None:
    record(desk, BENCH, number, replace(FULL, battery=["swollen"]))
    make_safe(desk, BENCH, number, "Taken out.")

    record(desk, BENCH, number, replace(FULL, battery=["swollen"], seal="broken"))
    assert ticket_of(desk, number).hold is None
    record(desk, BENCH, number, replace(FULL, battery=["swollen", "hot"]))
    assert ticket_of(desk, number).hold is Hold.SAFETY


def test_staff_cannot_answer_for_the_customer(desk: Desk, number: str, technician: By) -> None:
    """The deed takes no person: its entry always says that the customer did it."""
    record(desk, technician, number, FULL)
    agree(desk, number, 1)

    assert [entry.by_kind for entry in journal_of(desk, number)[-2:]] == ["staff", "customer"]
