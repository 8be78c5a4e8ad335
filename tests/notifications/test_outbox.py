"""The outbox: a message is written with its cause or not at all, once for ever, and can be taken back until it goes."""

from __future__ import annotations

from datetime import timedelta

import pytest

from notifications import claims, outbox
from notifications.channels import LineBroke
from notifications.outbox import Message
from notifications.tables import STATES
from tests.notifications.office import Office, ScriptedChannel


def test_a_message_is_gone_when_the_deed_that_caused_it_is_undone(office: Office):
    def undone() -> None:
        with office.writing() as connection:
            outbox.put(connection, Message("noted", "a note", "OWNER", "TICKET"), office.clock.now())
            raise LookupError

    with pytest.raises(LookupError):
        undone()

    assert office.rows() == []


def test_a_cause_is_told_a_recipient_once(office: Office):
    assert office.put("a note")
    assert not office.put("a note")
    assert len(office.rows()) == 1


def test_a_cause_stays_told_for_ever_after_it_was_sent(office: Office, mail: ScriptedChannel):
    office.put("a note")
    office.send()
    office.wait(days=400)

    assert not office.put("a note")
    assert office.send().looked_at == 0


def test_a_cause_is_told_each_recipient(office: Office):
    assert office.put("a note", recipient="OWNER")
    assert office.put("a note", recipient="SECOND")


def test_a_repeated_cause_leaves_the_rest_of_the_deed_in_place(office: Office):
    office.put("a note")
    with office.writing() as connection:
        outbox.put(connection, Message("noted", "a note", "OWNER", "TICKET"), office.clock.now())
        outbox.put(connection, Message("noted", "another", "OWNER", "TICKET"), office.clock.now())

    assert [row.cause for row in office.rows()] == ["a note", "another"]


def test_a_message_without_a_channel_is_refused(office: Office):
    with pytest.raises(ValueError, match="no channel"):
        office.put("a note", channels=())


def test_states_are_exactly_the_seven():
    assert STATES == ("waiting", "claimed", "sent", "unknown", "failed", "withdrawn", "expired")


@pytest.mark.parametrize("by", [{"reference": "TICKET"}, {"cause": "a note"}], ids=["reference", "cause"])
def test_a_message_whose_cause_is_gone_is_withdrawn_unsent(office: Office, mail: ScriptedChannel, by: dict[str, str]):
    office.put("a note")
    with office.writing() as connection:
        assert outbox.withdraw(connection, office.clock.now(), "collected", **by) == 1

    office.send()

    assert mail.got == []
    assert (office.row().state, office.row().outcome) == ("withdrawn", "collected")


def test_withdrawing_leaves_what_was_sent_and_what_is_of_others(office: Office):
    office.put("a note")
    office.send()
    office.put("another", reference="OTHER")
    with office.writing() as connection:
        assert outbox.withdraw(connection, office.clock.now(), "collected", reference="TICKET") == 0

    assert [row.state for row in office.rows()] == ["sent", "waiting"]


def test_a_message_claimed_but_not_yet_handed_over_can_still_be_withdrawn(office: Office, mail: ScriptedChannel):
    office.put("a note")
    with office.writing() as connection:
        claimed = claims.claim(connection, office.clock.now())
        assert claimed is not None
        outbox.withdraw(connection, office.clock.now(), "collected", reference="TICKET")
        now = office.clock.now()
        assert not claims.begin(connection, claimed, now, now + timedelta(minutes=30))

    assert office.row().state == "withdrawn"


def test_a_message_that_may_have_arrived_stays_in_doubt_when_withdrawn(office: Office, mail: ScriptedChannel):
    office.put("a note")
    mail.answers = [LineBroke("the line broke")]
    office.send()
    with office.writing() as connection:
        outbox.withdraw(connection, office.clock.now(), "collected", reference="TICKET")
    office.wait(hours=1)

    assert office.send().looked_at == 0
    assert (office.row().state, office.row().outcome) == ("unknown", "collected")


def test_what_is_being_handed_over_goes_its_way(office: Office, mail: ScriptedChannel):
    office.put("a note")
    office.crash("handing over")
    with office.writing() as connection:
        assert outbox.withdraw(connection, office.clock.now(), "collected", reference="TICKET") == 0


def test_what_was_sent_about_a_ticket_is_shown_newest_first(office: Office):
    office.put("a note")
    office.send()
    office.put("another")
    office.put("of another ticket", reference="OTHER")
    with office.writing() as connection:
        shown = outbox.about(connection, ["TICKET"])

    assert [(trace.state, trace.channel) for trace in shown] == [("waiting", "mail"), ("sent", "mail")]


def test_everything_about_a_reference_can_be_forgotten(office: Office):
    office.put("a note")
    office.put("of another ticket", reference="OTHER")
    with office.writing() as connection:
        assert outbox.forget(connection, "TICKET") == 1

    assert [row.cause for row in office.rows()] == ["of another ticket"]
