"""Calls instead of letters: a message handed to “ring me” is noted, and what to say is found when somebody looks."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import datetime

from notifications.letters import Due, Letter, Withdrawn
from portal.actions.desk import Desk
from portal.letters import found_true
from portal.letters.writing import write_to_say
from portal.store import calls
from portal.store.calls import CallDue
from portal.store.tickets import Ticket
from portal.store.visits import Contact


@dataclass(frozen=True)
class ToRing:
    """Whom to ring, why, and what to say, in the contact's language."""

    call: CallDue
    contact: Contact
    ticket: Ticket  # or the visit's first
    why: str
    say: str


def noter(desk: Desk) -> Callable[[Letter, str, datetime], None]:
    """What the channel “ring” calls with a message: it is noted once."""

    def note(letter: Letter, message_id: str, now: datetime) -> None:
        if letter.due is None:
            raise ValueError("A call is noted from what was due, and this letter does not say what that was.")
        due = letter.due
        with desk.writing() as connection:
            calls.note(connection, message_id, due.recipient, due.reference, due.event, due.facts, now)

    return note


def close_untrue(desk: Desk, now: datetime) -> tuple[int, int]:
    """Close the calls that are no longer true: (looked at, closed)."""
    with desk.reading() as connection:
        open_ones = calls.due(connection)
        untrue = [call for call in open_ones if isinstance(found_true(desk, connection, _as_due(call)), Withdrawn)]
    for call in untrue:
        with desk.writing() as connection:
            calls.close(connection, call.id, now)
    return len(open_ones), len(untrue)


def to_ring(desk: Desk, recipients: Sequence[str] | None = None) -> list[ToRing]:
    """Whom to ring now and what to say, the longest waiting first; of all contacts, or of some by their public ids.

    Without what is no longer true or has no number any more. Each call takes several statements.
    """
    with desk.reading() as connection:
        listed = []
        for call in calls.due(connection) if recipients is None else calls.due_to(connection, recipients):
            found = found_true(desk, connection, _as_due(call))
            if isinstance(found, Withdrawn):
                continue
            told, context = found
            if told.contact.phone:
                why, words = write_to_say(desk, call.event, told, context)
                listed.append(ToRing(call, told.contact, told.tickets[0], why, words))
        return listed


def _as_due(call: CallDue) -> Due:
    return Due(
        id=call.id,
        event=call.event,
        cause="",
        recipient=call.recipient,
        reference=call.reference,
        facts=tuple(call.facts),
        made_at=call.made_at,
        message_id=call.message_id,
    )
