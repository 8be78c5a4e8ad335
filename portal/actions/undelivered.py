"""Deciding about a message that did not arrive: send it again, or note that it was told otherwise or may be let be."""

from __future__ import annotations

from datetime import datetime

from sqlalchemy import Connection

from notifications import undelivered
from notifications.outbox import Trace
from portal.actions import tell
from portal.actions.desk import By, Change, Desk, Outcome, change_ticket
from portal.rules.policy import Policy
from portal.rules.refusals import Refused, Unfit
from portal.rules.sentences import say
from portal.rules.stages import Event
from portal.rules.undelivered import Decision
from portal.store import visits
from portal.store.tickets import Ticket


def decide(
    desk: Desk,
    by: By,
    number: str,
    message: int,
    decision: str,
    *,
    seen: int | None = None,
    deed_key: str | None = None,
) -> Outcome:
    """Decide about the message with this id, which is about the ticket or its visit. The journal keeps what failed.

    Raises Unfit for no such decision, Refused where the message has arrived, was decided about, or is another's.
    """
    if decision not in list(Decision):
        raise Unfit("decision", say("Send it again, or say that it was told another way or may be let be."))
    settle = undelivered.send_again if decision == Decision.AGAIN else undelivered.let_be

    def change(connection: Connection, ticket: Ticket, _policy: Policy) -> Change:
        trace = _of_ticket(connection, ticket, message)

        def write(connection: Connection, _ticket: Ticket, now: datetime) -> None:
            if not settle(connection, message, now):
                raise _decided()

        return Change([_event(connection, ticket, trace, decision)], text=trace.outcome, audience="bench", write=write)

    return change_ticket(desk, by, number, change, seen=seen, deed_key=deed_key)


def _of_ticket(connection: Connection, ticket: Ticket, message: int) -> Trace:
    trace = undelivered.one(connection, message)
    if trace is None or trace.reference not in (ticket.ref, visits.by_id(connection, ticket.visit_id).ref):
        raise _decided()
    return trace


def _event(connection: Connection, ticket: Ticket, trace: Trace, decision: str) -> Event:
    """What failed, and whose it was, so that it is known still when the message is sent again."""
    roles = {contact.ref: contact.role for contact in visits.contacts_of(connection, ticket.visit_id)}
    to = "staff" if tell.staff_id(trace.recipient) is not None else roles.get(trace.recipient, "")
    at = (trace.settled_at or trace.made_at).isoformat()
    what = {"message": trace.event, "channel": trace.channel, "state": trace.state, "failed_at": at, "to": to}
    return Event("undelivered_decided", {"decision": decision, **what})


def _decided() -> Refused:
    return Refused(say("There is nothing to decide about this message any more."))
