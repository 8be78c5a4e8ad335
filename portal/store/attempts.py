"""How the shop tried to reach a customer about a device: messages that went out or failed, and calls."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime

from sqlalchemy import Connection

from notifications import outbox
from notifications.outbox import Trace
from portal.rules.conversation import Outcome
from portal.rules.messages import POST, Channel
from portal.rules.undelivered import Decision
from portal.store import formal_notices, journal, visits
from portal.store.formal_notices import Kept
from portal.store.journal import Entry
from portal.store.tickets import Ticket

POSTED = "formal_notice_posted"
_TRIED = ("sent", "failed", "unknown")  # what became of a message that was handed over, or could not be


@dataclass(frozen=True)
class Attempt:
    """One attempt. `came` is a message’s state, what came of a call, or a letter’s kind; `said` what was said of it.

    `role` is whose contact it was, "" for one no longer on file; `event` is the message's, "" for a call. `at` is when
    a letter was entered as posted, `posted_on` the day on which it was.
    """

    at: datetime
    channel: str
    role: str
    event: str
    came: str
    said: str = ""
    by: str = ""
    posted_on: date | None = None


def attempts(connection: Connection, ticket: Ticket) -> Sequence[Attempt]:
    """Every attempt about a ticket or its visit, the oldest first.

    The first try of a message that was sent again is known from the journal. A message that was put on the list of
    calls is no attempt: the call itself is. Neither is a call by the customer.
    """
    visit = visits.by_id(connection, ticket.visit_id)
    roles = {contact.ref: contact.role for contact in visits.contacts_of(connection, visit.id)}
    messages = [
        _message(trace, roles.get(trace.recipient, ""))
        for trace in outbox.about(connection, [ticket.ref, visit.ref])
        if trace.state in _TRIED and trace.channel != Channel.RING and not trace.recipient.startswith("staff ")
    ]
    entries = journal.entries(connection, ticket.id)
    noted = [_noted(entry) for entry in entries]
    letters = _letters(entries, formal_notices.of_ticket(connection, ticket.id))
    return sorted([*messages, *(each for each in noted if each), *letters], key=lambda each: each.at)


def _message(trace: Trace, role: str) -> Attempt:
    return Attempt(trace.settled_at or trace.made_at, trace.channel, role, trace.event, trace.state, trace.outcome)


def _letters(entries: Sequence[Entry], kept: Sequence[Kept]) -> Sequence[Attempt]:
    """The formal notices that went by recorded post, each under its reference, where the journal tells of them."""
    posted = {(each.kind.value, each.posted_on.isoformat()): each for each in kept if each.posted_on}
    found = [
        (entry, posted.get((entry.data["notice"], entry.data["day"]))) for entry in entries if entry.event == POSTED
    ]
    return [
        Attempt(entry.at, POST, "owner", POSTED, each.kind.value, each.reference, entry.by, each.posted_on)
        for entry, each in found
        if each
    ]


def _noted(entry: Entry) -> Attempt | None:
    """The attempt that a journal entry tells of, or None."""
    data = entry.data
    if entry.event == "rang" and data["outcome"] != Outcome.RANG_US:
        return Attempt(entry.at, Channel.RING, data["contact"], "", data["outcome"], entry.text, entry.by)
    if entry.event == "undelivered_decided" and data["decision"] == Decision.AGAIN and data["to"] != "staff":
        at = datetime.fromisoformat(data["failed_at"])
        return Attempt(at, data["channel"], data["to"], data["message"], data["state"], entry.text)
    return None
