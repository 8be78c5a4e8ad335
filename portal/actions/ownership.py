"""Whose is it? Somebody else says that a device is theirs: it stays here, and what is said and done is written down.

Who is right is not for the shop to say. Not legal advice: local law decides.
"""

from __future__ import annotations

from sqlalchemy import Connection

from portal.actions.desk import By, Change, Desk, Outcome, change_ticket
from portal.actions.people import is_keeper
from portal.rules import stages
from portal.rules.policy import Policy
from portal.rules.refusals import Refused
from portal.rules.sentences import say
from portal.rules.stages import Event, Hold
from portal.rules.text import passage
from portal.store.tickets import Ticket


def question(
    desk: Desk, by: By, number: str, words: str, *, seen: int | None = None, deed_key: str | None = None
) -> Outcome:
    """Somebody says that the device is theirs: from now on it goes to nobody. `words` say who, and what they say.

    Raises Unfit without words, Refused for a device that is not here, or is claimed already.
    """
    said = _words(words)
    now = desk.clock.now()

    def decide(_connection: Connection, ticket: Ticket, _policy: Policy) -> Change:
        stages.must_be_here(ticket.standing)
        must_be_unclaimed(ticket)
        events = [Event("ownership_questioned")]
        if ticket.hold is not Hold.DISPUTE:
            events += stages.set_hold(ticket.standing, Hold.DISPUTE)
        return Change(events, text=said, audience="bench", columns={"claimed_at": now})

    return change_ticket(desk, by, number, decide, seen=seen, deed_key=deed_key)


def add_to_log(
    desk: Desk, by: By, number: str, words: str, *, seen: int | None = None, deed_key: str | None = None
) -> Outcome:
    """Write down what else was said or done about it. Raises Unfit without words, Refused where nobody claims it."""
    said = _words(words)

    def decide(_connection: Connection, ticket: Ticket, _policy: Policy) -> Change:
        _must_be_claimed(ticket)
        return Change([Event("ownership_noted")], text=said, audience="bench")

    return change_ticket(desk, by, number, decide, seen=seen, deed_key=deed_key)


def settle(
    desk: Desk, by: By, number: str, words: str, *, seen: int | None = None, deed_key: str | None = None
) -> Outcome:
    """The keeper says how it was settled; then the hold ends, and the device may go. Raises as `add_to_log` does."""
    said = _words(words)

    def decide(connection: Connection, ticket: Ticket, _policy: Policy) -> Change:
        _must_be_claimed(ticket)
        if not is_keeper(connection, by):
            raise Refused(say("Only the keeper says that it is settled. Write into the log what you know."))
        events = [Event("ownership_settled")]
        if ticket.hold is Hold.DISPUTE:
            events += stages.lift_hold(ticket.standing)
        return Change(events, text=said, audience="bench", columns={"claimed_at": None})

    return change_ticket(desk, by, number, decide, seen=seen, deed_key=deed_key)


def must_be_unclaimed(ticket: Ticket) -> None:
    """Raise Refused while somebody else says that the device is theirs: it goes to nobody, by no way."""
    if ticket.claimed_at is not None:
        raise Refused(
            say(
                "Somebody else says that this device is theirs. It stays here as it is until the keeper says that this "
                "is settled, on the page “Whose is it?”."
            )
        )


def _must_be_claimed(ticket: Ticket) -> None:
    if ticket.claimed_at is None:
        raise Refused(say("Nobody else claims this device."))


def _words(typed: str) -> str:
    return passage("words", say("What was said or done"), typed, required=True)
