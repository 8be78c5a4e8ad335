"""Pausing the end of data: a dispute or a claim keeps named kinds, with a reason, until a day, never for ever."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, datetime, timedelta

from sqlalchemy import Connection

from portal.actions.desk import By, Change, Desk, Outcome, change_ticket
from portal.rules.days import local_day
from portal.rules.policy import Policy
from portal.rules.refusals import Refused, Unfit
from portal.rules.retention import REGISTER, Kept
from portal.rules.sentences import say
from portal.rules.stages import Event
from portal.rules.text import passage
from portal.store import keeping
from portal.store.keeping import Pause
from portal.store.tickets import Ticket

LONGEST = timedelta(days=365)  # then somebody looks again (recital 39 GDPR: erasure or a periodic review)


def pause(
    desk: Desk,
    by: By,
    number: str,
    kinds: Sequence[str],
    reason: str,
    until: str,
    *,
    seen: int | None = None,
    deed_key: str | None = None,
) -> Outcome:
    """Keep these kinds of a visit's data until a day; an earlier pause of the same kind is replaced.

    Raises Unfit for no kind, no reason, or a day that is not within a year from now.
    """
    chosen = [_kind(kind) for kind in kinds]
    if not chosen:
        raise Unfit("kinds", say("Please choose what should stay."))
    why = passage("reason", say("The reason"), reason, limit=400, required=True)

    def decide(_connection: Connection, _ticket: Ticket, policy: Policy) -> Change:
        last = _day(until, local_day(desk.clock.now(), policy))

        def write(connection: Connection, ticket: Ticket, now: datetime) -> None:
            for kept in chosen:
                keeping.pause(connection, ticket.visit_id, Pause(kept, why, last), by.staff_id, now)

        events = [Event("kept_on", {"kept": kept.value, "until": last.isoformat()}) for kept in chosen]
        return Change(events, text=why, audience="bench", write=write)

    return change_ticket(desk, by, number, decide, seen=seen, deed_key=deed_key)


def end_pause(
    desk: Desk, by: By, number: str, kind: str, *, seen: int | None = None, deed_key: str | None = None
) -> Outcome:
    """Let a kind of data go when its time comes. Raises Refused where nothing keeps it."""
    kept = _kind(kind)

    def decide(connection: Connection, ticket: Ticket, _policy: Policy) -> Change:
        if kept not in {pause.kept for pause in keeping.pauses_of(connection, ticket.visit_id)}:
            raise Refused(say("Nothing keeps this any longer than usual."))

        def write(connection: Connection, ticket: Ticket, _now: datetime) -> None:
            keeping.end_pause(connection, ticket.visit_id, kept)

        return Change([Event("let_go", {"kept": kept.value})], audience="bench", write=write)

    return change_ticket(desk, by, number, decide, seen=seen, deed_key=deed_key)


def _kind(typed: str) -> Kept:
    try:
        return Kept(typed)
    except ValueError:
        allowed = ", ".join(REGISTER)
        raise Unfit(
            "kinds", say("“{kind}” is not kept. Allowed: {allowed}.", kind=typed[:40], allowed=allowed)
        ) from None


def _day(typed: str, today: date) -> date:
    try:
        day = date.fromisoformat(typed.strip())
    except ValueError:
        raise Unfit("until", say("The day is missing. Write it like 2026-12-24.")) from None
    if not today < day <= today + LONGEST:
        raise Unfit("until", say("The day must lie within a year from now; then somebody looks again."))
    return day
