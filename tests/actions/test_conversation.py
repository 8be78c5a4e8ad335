"""Talking back: what customers write is kept whole and read, answered, or told otherwise; calls are noted."""

from __future__ import annotations

from datetime import timedelta

import numpy as np
import pytest
from PIL import Image

from portal.actions import conversation
from portal.actions.desk import By, Desk, Outcome
from portal.actions.handover import return_unrepaired
from portal.actions.intake import NewDevice, NewVisit, take_in
from portal.rules.conversation import MOST_FREELY, MOST_PHOTOS, WINDOW, Writer
from portal.rules.refusals import AskFirst, Refused, Unfit
from portal.rules.throttle import TooOften
from portal.store import calls, journal, visits
from portal.store.photo_files import PhotoFiles
from tests.actions.aftermath import (
    assert_the_journal_rebuilds_the_row,
    everything,
    journal_of,
    messages,
    ticket_of,
)
from tests.actions.photo_shelf import kept
from tests.conftest import BENCH
from tests.pictures.samples import as_bytes


@pytest.fixture(scope="module")
def picture() -> bytes:
    noise = np.random.default_rng(3).integers(60, 255, (300, 400, 3), dtype=np.uint8)
    return as_bytes(Image.fromarray(noise))


def write(desk: Desk, files: PhotoFiles, number: str, text: str = "Is it ready?", **more) -> Outcome:
    return conversation.write(desk, files, number, Writer.OWNER, text, **more)


# Writing


def test_what_a_customer_writes_waits_to_be_read_and_nobody_is_sent_a_message(
    desk: Desk, files: PhotoFiles, number: str
) -> None:
    told = messages(desk)

    write(desk, files, number)
    desk.clock.at += timedelta(hours=1)
    write(desk, files, number, "Please ring me.")

    entries = journal_of(desk, number)[-2:]
    assert [(each.event, each.by_kind, each.audience, each.text) for each in entries] == [
        ("wrote", "customer", "customer", "Is it ready?"),
        ("wrote", "customer", "customer", "Please ring me."),
    ]
    assert entries[0].data == {"writer": "owner"}
    assert ticket_of(desk, number).unread_since == entries[0].at
    assert messages(desk) == told
    assert_the_journal_rebuilds_the_row(desk, number)
    with desk.reading() as connection:
        assert [(each.number, each.words) for each in journal.unread(connection)] == [
            (number, "Is it ready?"),
            (number, "Please ring me."),
        ]


def test_a_photo_comes_with_the_words_clean_and_marked_as_the_customers(
    desk: Desk, files: PhotoFiles, number: str, picture: bytes
) -> None:
    write(desk, files, number, photo=picture)

    (photo,) = kept(desk, number)
    assert (photo.by_customer, photo.audience, photo.moment) == (True, "customer", "other")
    assert files.read(photo.ref, "large") is not None
    assert [each.event for each in journal_of(desk, number)][-2:] == ["wrote", "photo_sent"]
    assert journal_of(desk, number)[-1].data == {"photo": photo.ref}
    assert_the_journal_rebuilds_the_row(desk, number)


@pytest.mark.parametrize("photo", [b"", b"no picture"], ids=["words alone", "no picture"])
def test_what_is_refused_leaves_nothing_but_the_count_of_tries(
    desk: Desk, files: PhotoFiles, number: str, photo: bytes
) -> None:
    before = everything(desk)

    with pytest.raises(Refused):
        write(desk, files, number, "Hello" if photo else " ", photo=photo)

    assert everything(desk) | {"throttles": []} == before | {"throttles": []}
    assert list(files.all()) == []


def test_the_same_form_twice_is_written_once(desk: Desk, files: PhotoFiles, number: str, picture: bytes) -> None:
    first = write(desk, files, number, photo=picture, deed_key="k" * 32)

    again = write(desk, files, number, photo=picture, deed_key="k" * 32)

    assert (first.repeated, again.repeated, again.revision) == (False, True, first.revision)
    assert len(kept(desk, number)) == 1
    assert len({ref for ref, _path, _at in files.all()}) == 1


def test_what_looks_like_a_passcode_is_asked_about_once(desk: Desk, files: PhotoFiles, number: str) -> None:
    with pytest.raises(AskFirst):
        write(desk, files, number, "The PIN is 4711")
    write(desk, files, number, "The PIN is 4711", confirmed=True)

    assert journal_of(desk, number)[-1].text == "The PIN is 4711"


def test_writing_too_often_waits_and_another_device_does_not(
    desk: Desk, files: PhotoFiles, number: str, arrival: NewVisit
) -> None:
    for place in range(MOST_FREELY):
        write(desk, files, number, f"Word {place}")
    with pytest.raises(TooOften) as refusal:
        write(desk, files, number, "One more")

    assert refusal.value.retry_at == desk.clock.now() + WINDOW
    assert len(journal_of(desk, number)) == 1 + MOST_FREELY
    other = take_in(desk, BENCH, arrival).numbers[0]
    write(desk, files, other)
    desk.clock.at += WINDOW
    write(desk, files, number, "One more")


def test_photos_of_a_customer_are_bounded_and_their_words_are_not_lost(
    desk: Desk, files: PhotoFiles, number: str, picture: bytes
) -> None:
    for _photo in range(MOST_PHOTOS):
        write(desk, files, number, photo=picture)
        desk.clock.at += timedelta(days=1)

    with pytest.raises(Refused, match="no more fit"):
        write(desk, files, number, photo=picture)
    write(desk, files, number)
    assert len(kept(desk, number)) == MOST_PHOTOS


def test_a_device_that_has_left_is_not_written_about(desk: Desk, files: PhotoFiles, number: str) -> None:
    return_unrepaired(desk, BENCH, number, "No parts.")

    with pytest.raises(Refused, match="has left"):
        write(desk, files, number)


# Answering, reading


def test_an_answer_names_what_it_answers_and_is_told_as_such(
    desk: Desk, files: PhotoFiles, number: str, technician: By
) -> None:
    asked = write(desk, files, number).revision

    conversation.answer(desk, technician, number, "On Thursday.", seen=asked)

    (*_before, entry) = journal_of(desk, number)
    assert (entry.event, entry.data, entry.audience, entry.text) == (
        "noted",
        {"answers": str(asked)},
        "customer",
        "On Thursday.",
    )
    assert ticket_of(desk, number).unread_since is None
    assert [event for event, _reference, _facts in messages(desk)] == ["taken_in", "answered"]
    assert_the_journal_rebuilds_the_row(desk, number)


def test_who_wrote_nothing_gets_an_ordinary_note(desk: Desk, number: str, technician: By) -> None:
    conversation.answer(desk, technician, number, "We began.")

    assert journal_of(desk, number)[-1].data == {}
    assert [event for event, _reference, _facts in messages(desk)] == ["taken_in", "noted"]


def test_what_needs_no_answer_is_marked_as_read_once(
    desk: Desk, files: PhotoFiles, number: str, technician: By
) -> None:
    write(desk, files, number, "Thank you!")
    told = messages(desk)

    conversation.read(desk, technician, number)

    assert ticket_of(desk, number).unread_since is None
    assert journal_of(desk, number)[-1].audience == "bench"
    assert messages(desk) == told
    assert_the_journal_rebuilds_the_row(desk, number)
    with pytest.raises(Refused):
        conversation.read(desk, technician, number)


def test_moving_the_ticket_on_reads_nothing(desk: Desk, files: PhotoFiles, number: str) -> None:
    write(desk, files, number)
    return_unrepaired(desk, BENCH, number, "No parts.")

    assert ticket_of(desk, number).unread_since is not None
    assert_the_journal_rebuilds_the_row(desk, number)


# Said elsewhere, telephone


def test_what_was_said_elsewhere_is_entered_as_theirs(desk: Desk, number: str, technician: By) -> None:
    conversation.said(desk, technician, number, "phone", "Go ahead with the cleaning.")

    entry = journal_of(desk, number)[-1]
    assert (entry.event, entry.data, entry.audience, entry.by) == ("said", {"how": "phone"}, "customer", "Robin")
    assert ticket_of(desk, number).unread_since is None


@pytest.mark.parametrize(("outcome", "still_due"), [("reached", 0), ("rang_us", 0), ("not_reached", 1)])
def test_a_call_is_noted_and_who_was_spoken_to_need_not_be_rung(
    desk: Desk, number: str, technician: By, outcome: str, still_due: int
) -> None:
    ticket = ticket_of(desk, number)
    with desk.writing() as connection:
        owner = visits.contacts_of(connection, ticket.visit_id)[0]
        calls.note(connection, "m1", owner.ref, ticket.ref, "ready", [], desk.clock.now())
        calls.note(connection, "m2", "SOMEBODY", "ELSE", "ready", [], desk.clock.now())

    conversation.rang(desk, technician, number, outcome, "Comes on Friday.")

    entry = journal_of(desk, number)[-1]
    assert (entry.event, entry.audience, entry.text) == ("rang", "bench", "Comes on Friday.")
    assert entry.data == {"outcome": outcome, "contact": "owner"}
    with desk.reading() as connection:
        assert len(calls.due(connection)) == still_due + 1


def test_a_call_with_nobody_of_the_visit_is_refused(desk: Desk, technician: By) -> None:
    number = take_in(desk, BENCH, NewVisit([NewDevice("Phone", "")], phone="07700 900123")).numbers[0]

    with pytest.raises(Unfit) as refusal:
        conversation.rang(desk, technician, number, "reached", contact="second")
    assert refusal.value.field == "contact"
