"""Words in the journal: for the bench or for the customer too, put right by new ones."""

from __future__ import annotations

import pytest

from portal.actions.desk import By, Desk
from portal.actions.handover import return_unrepaired
from portal.actions.notes import correct, note
from portal.rules.refusals import AskFirst
from portal.store import journal
from tests.actions.aftermath import everything, journal_of, messages, ticket_of
from tests.conftest import BENCH


def read_by_customer(desk: Desk, number: str) -> list[str]:
    with desk.reading() as connection:
        return [entry.text for entry in journal.entries_for_customer(connection, ticket_of(desk, number).id)]


def test_a_note_is_for_the_bench_unless_said_otherwise(desk: Desk, number: str) -> None:
    note(desk, BENCH, number, "Corrosion at the port.")

    assert journal_of(desk, number)[-1].audience == "bench"
    assert "Corrosion at the port." not in read_by_customer(desk, number)
    assert len(messages(desk)) == 1


def test_a_note_for_the_customer_can_be_read_and_is_told(desk: Desk, number: str) -> None:
    note(desk, BENCH, number, "We found the fault.", audience="customer")

    assert read_by_customer(desk, number)[-1] == "We found the fault."
    assert messages(desk)[-1] == ("noted", ticket_of(desk, number).ref, {"entry": 2})


def test_a_customer_never_reads_who_on_the_staff_wrote(desk: Desk, number: str, technician: By) -> None:
    note(desk, technician, number, "We found the fault.", audience="customer")

    with desk.reading() as connection:
        read = journal.entries_for_customer(connection, ticket_of(desk, number).id)
    assert {entry.by for entry in read} == {""}


def test_a_message_carries_no_word_of_the_note(desk: Desk, number: str) -> None:
    note(desk, BENCH, number, "We found the fault.", audience="customer")

    assert "fault" not in repr(messages(desk))


@pytest.mark.parametrize("audience", ["bench", "customer"])
def test_a_correction_names_the_entry_and_is_read_by_whoever_read_it(desk: Desk, number: str, audience: str) -> None:
    note(desk, BENCH, number, "It is the fan.", audience=audience)

    correct(desk, BENCH, number, 2, "It is the charger.")

    old, new = journal_of(desk, number)[1:]
    assert (old.text, old.event) == ("It is the fan.", "noted")
    assert (new.text, new.event, new.data, new.audience) == (
        "It is the charger.",
        "corrected",
        {"entry": "2"},
        audience,
    )


@pytest.mark.parametrize(
    "odd", ["<script>alert(1)</script>", "{{7*7}} {0} %s", "'; DROP TABLE journal; --", "שלום", "👩\u200d🔧", "a\n\nb"]
)
def test_odd_words_are_kept_as_they_were_typed(desk: Desk, number: str, odd: str) -> None:
    note(desk, BENCH, number, odd)

    assert journal_of(desk, number)[-1].text == odd


def test_controls_are_taken_out_of_what_was_typed(desk: Desk, number: str) -> None:
    note(desk, BENCH, number, "a\x00b\u202ec\u2028d")

    assert journal_of(desk, number)[-1].text == "abc\nd"


def test_a_note_may_still_be_written_after_the_device_has_left(desk: Desk, number: str) -> None:
    return_unrepaired(desk, BENCH, number, "No parts.")

    note(desk, BENCH, number, "The owner called: the box was found.")

    assert journal_of(desk, number)[-1].event == "noted"


def test_a_note_that_may_give_a_passcode_away_is_asked_about_once(desk: Desk, number: str) -> None:
    before = everything(desk)
    with pytest.raises(AskFirst, match="looks like a passcode"):
        note(desk, BENCH, number, "PIN 1234")
    with pytest.raises(AskFirst):
        correct(desk, BENCH, number, 1, "The password: Summer")
    assert everything(desk) == before

    note(desk, BENCH, number, "PIN 1234", confirmed=True)


def test_serial_numbers_and_times_in_a_note_are_not_asked_about(desk: Desk, number: str) -> None:
    note(desk, BENCH, number, "IMEI 260531793113837, owner sets the PIN at 14:30.")


def test_a_correction_of_a_note_to_the_customer_is_told(desk: Desk, number: str) -> None:
    note(desk, BENCH, number, "It is the fan.", audience="customer")

    correct(desk, BENCH, number, 2, "It is the charger.")

    assert messages(desk)[-1] == ("noted", ticket_of(desk, number).ref, {"entry": 3})


@pytest.mark.parametrize("entry", [1, 2])
def test_a_correction_of_anything_else_is_told_nobody(desk: Desk, number: str, entry: int) -> None:
    note(desk, BENCH, number, "It is the fan.")
    before = messages(desk)

    correct(desk, BENCH, number, entry, "It is the charger.")

    assert messages(desk) == before
