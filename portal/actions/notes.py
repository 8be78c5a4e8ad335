"""Words in the journal: notes for the bench or for the customer too, and corrections, which are new entries."""

from __future__ import annotations

from datetime import datetime
from typing import Literal

from sqlalchemy import Connection

from portal.actions import tell
from portal.actions.desk import By, Change, Desk, Outcome, change_ticket
from portal.rules.policy import Policy
from portal.rules.refusals import Refused
from portal.rules.secrets import ask_about_secrets
from portal.rules.sentences import say
from portal.rules.stages import Event
from portal.rules.text import passage
from portal.store import journal
from portal.store.tickets import Ticket

Audience = Literal["bench", "customer"]


def note(
    desk: Desk,
    by: By,
    number: str,
    text: str,
    *,
    audience: Audience = "bench",
    confirmed: bool = False,
    seen: int | None = None,
    deed_key: str | None = None,
) -> Outcome:
    """Write a note; a customer whom it is for too is told.

    Raises Unfit for an empty or overlong one, AskFirst for one that may give a passcode away (`confirmed`: keep it).
    """
    words = passage("text", say("The note"), text, required=True)
    ask_about_secrets(words, confirmed=confirmed)

    def decide(_connection: Connection, _ticket: Ticket, _policy: Policy) -> Change:
        return Change([Event("noted")], text=words, audience=audience)

    then = tell.noted if audience == "customer" else None
    return change_ticket(desk, by, number, decide, seen=seen, deed_key=deed_key, then=then)


def correct(
    desk: Desk,
    by: By,
    number: str,
    entry: int,
    text: str,
    *,
    confirmed: bool = False,
    seen: int | None = None,
    deed_key: str | None = None,
) -> Outcome:
    """Put an entry right by a new one that names it; who could read the old one can read the new one.

    The customer is told where it was a note to them: together with the note, if that has not gone out yet.

    Raises Refused when the ticket has no such entry.
    """
    words = passage("text", say("The correction"), text, required=True)
    ask_about_secrets(words, confirmed=confirmed)

    def decide(connection: Connection, ticket: Ticket, _policy: Policy) -> Change:
        return Change(
            [Event("corrected", {"entry": str(entry)})], text=words, audience=_read_by(connection, ticket, entry)
        )

    def then(connection: Connection, ticket: Ticket, now: datetime) -> None:
        corrected = journal.entries(connection, ticket.id, after=entry - 1)[0]
        if corrected.audience == "customer" and corrected.event in ("noted", "corrected"):
            tell.noted(connection, ticket, now)

    return change_ticket(desk, by, number, decide, seen=seen, deed_key=deed_key, then=then)


def _read_by(connection: Connection, ticket: Ticket, entry: int) -> Audience:
    """Who may read an entry. Raises Refused where the ticket has no such entry."""
    read_by = journal.audience(connection, ticket.id, entry) if 0 < entry <= ticket.revision else None
    if read_by is None:
        raise Refused(say("The journal has no entry {entry}.", entry=entry))
    return "customer" if read_by == "customer" else "bench"
