"""What did not arrive: shown until somebody decides, sent again as if it were new, or let be."""

from __future__ import annotations

import pytest

from notifications import outbox, undelivered
from notifications.channels import Hopeless, LineBroke, TryLater
from tests.notifications.office import Office, ScriptedChannel


def waiting(office: Office) -> list[outbox.Trace]:
    with office.writing() as connection:
        return undelivered.undelivered(connection)


def decide(office: Office, deed, number: int) -> bool:
    with office.writing() as connection:
        return deed(connection, number, office.clock.now())


def give_up(office: Office, mail: ScriptedChannel, answer: Exception) -> outbox.Trace:
    """A message that did not arrive."""
    mail.answers = [answer] * 2
    office.put("a note")
    office.send()
    office.wait(minutes=31)
    office.send()
    (trace,) = waiting(office)
    return trace


@pytest.mark.parametrize(
    ("answer", "state"), [(Hopeless("550 no such mailbox"), "failed"), (LineBroke("it broke"), "unknown")]
)
def test_what_did_not_arrive_is_shown_with_what_the_other_side_said(
    office: Office, mail: ScriptedChannel, answer: Exception, state: str
) -> None:
    trace = give_up(office, mail, answer)

    assert (trace.state, trace.event, trace.undelivered) == (state, "noted", True)
    assert trace.outcome in ("550 no such mailbox", "it broke")
    with office.writing() as connection:
        assert undelivered.one(connection, trace.id) == trace


def test_what_is_still_tried_or_has_arrived_is_not_shown(office: Office, mail: ScriptedChannel) -> None:
    mail.answers = [TryLater("421 later"), LineBroke("it broke"), None]
    for cause in ("one", "two", "three"):
        office.put(cause)
    office.send()

    assert sorted(row.state for row in office.rows()) == ["sent", "unknown", "waiting"]
    assert waiting(office) == []


def test_it_is_sent_again_as_if_it_were_new(office: Office, mail: ScriptedChannel) -> None:
    trace = give_up(office, mail, Hopeless("550 no such mailbox"))
    mail.answers = []
    office.wait(days=30)

    assert decide(office, undelivered.send_again, trace.id)
    office.send()

    assert office.row().state == "sent"
    assert len(mail.got) == 1
    assert waiting(office) == []
    assert not office.put("a note")  # its cause is known for ever


def test_what_fails_again_is_shown_again(office: Office, mail: ScriptedChannel) -> None:
    trace = give_up(office, mail, Hopeless("550 no such mailbox"))
    mail.answers = [Hopeless("552 the mailbox is full")]

    decide(office, undelivered.send_again, trace.id)
    office.send()

    assert [each.outcome for each in waiting(office)] == ["552 the mailbox is full"]


def test_what_is_let_be_stays_undelivered_and_is_shown_no_more(office: Office, mail: ScriptedChannel) -> None:
    trace = give_up(office, mail, Hopeless("550 no such mailbox"))

    assert decide(office, undelivered.let_be, trace.id)

    assert waiting(office) == []
    assert office.row().state == "failed"
    for deed in (undelivered.let_be, undelivered.send_again):
        assert not decide(office, deed, trace.id)
    assert office.row().state == "failed"


def test_nothing_is_decided_about_what_arrived_or_is_not_there(office: Office, mail: ScriptedChannel) -> None:
    office.put("a note")
    office.send()

    for number in (office.row().id, 4711):
        assert not decide(office, undelivered.send_again, number)
    office.send()
    assert len(mail.got) == 1


def test_of_what_was_emptied_nothing_is_asked(office: Office, mail: ScriptedChannel) -> None:
    trace = give_up(office, mail, Hopeless("550 no such mailbox"))
    office.wait(days=31)
    with office.writing() as connection:
        outbox.empty(connection, office.clock.now(), 10, office.clock.now())

    assert waiting(office) == []
    assert not decide(office, undelivered.send_again, trace.id)
