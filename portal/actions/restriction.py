"""While data is only stored: what may be done with it all the same, with the ground, until that is taken back.

GDPR Art. 18(2). Not legal advice.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

from sqlalchemy import Connection

from portal.actions.desk import By, Change, Desk, Outcome, change_ticket
from portal.rules import restriction as rules
from portal.rules.policy import Policy
from portal.rules.refusals import Refused, Unfit
from portal.rules.sentences import say
from portal.rules.stages import Event
from portal.rules.text import passage
from portal.store import rights, visits
from portal.store.rights import Allowed
from portal.store.tickets import Ticket


def allow_uses(
    desk: Desk,
    by: By,
    number: str,
    uses: Sequence[str],
    ground: str,
    why: str,
    *,
    seen: int | None = None,
    deed_key: str | None = None,
) -> Outcome:
    """Write down what may be done with a visit's restricted data, and why, until the restriction ends.

    Raises Unfit (fields "uses", "ground", "why"), Refused where no restriction stands.
    """
    chosen = [rules.use(each) for each in dict.fromkeys(uses)]
    if not chosen:
        raise Unfit("uses", say("Please choose what may be done."))
    on = rules.ground(ground)
    words = passage("why", say("How they agreed, or which claim it is"), why, limit=400, required=True)

    def decide(connection: Connection, ticket: Ticket, _policy: Policy) -> Change:
        _must_be_restricted(connection, ticket)

        def write(connection: Connection, ticket: Ticket, now: datetime) -> None:
            for use in chosen:
                rights.allow_use(connection, ticket.visit_id, Allowed(use, on, words, now), by.staff_id)

        events = [Event("use_allowed", {"use": use.value, "ground": on.value}) for use in chosen]
        return Change(events, text=words, audience="bench", write=write)

    return change_ticket(desk, by, number, decide, seen=seen, deed_key=deed_key)


def end_use(
    desk: Desk, by: By, number: str, use: str, *, seen: int | None = None, deed_key: str | None = None
) -> Outcome:
    """From now on it is not allowed any more. Raises Refused where it was not."""
    chosen = rules.use(use)

    def decide(connection: Connection, ticket: Ticket, _policy: Policy) -> Change:
        if chosen not in {each.use for each in rights.allowed_uses_of(connection, ticket.visit_id)}:
            raise Refused(say("Nothing allows this, so there is nothing to take back."))

        def write(connection: Connection, ticket: Ticket, _now: datetime) -> None:
            rights.end_use(connection, ticket.visit_id, chosen)

        return Change([Event("use_ended", {"use": chosen.value})], audience="bench", write=write)

    return change_ticket(desk, by, number, decide, seen=seen, deed_key=deed_key)


def _must_be_restricted(connection: Connection, ticket: Ticket) -> None:
    if visits.by_id(connection, ticket.visit_id).restricted_at is None:
        raise Refused(say("No restriction stands, so nothing needs to be allowed."))
