"""Cautions at the bench: which are shown, and that a person has read them."""

from __future__ import annotations

from datetime import datetime

from sqlalchemy import Connection

from portal.actions.desk import By, Change, Desk, Outcome, change_ticket
from portal.rules import cautions as rules
from portal.rules.cautions import Acknowledged, Shown
from portal.rules.intake_record import hazards
from portal.rules.policy import Policy
from portal.rules.refusals import Refused
from portal.rules.sentences import say
from portal.rules.stages import Event
from portal.store import cautions, records
from portal.store.tickets import Ticket


def shown(desk: Desk, connection: Connection, by: By, ticket: Ticket) -> list[Shown]:
    """The cautions for a ticket as they stand before a person, those yet to be acknowledged first."""
    return _shown(connection, by, ticket, desk.policy(connection))


def acknowledge(desk: Desk, by: By, number: str, *, deed_key: str | None = None) -> Outcome:
    """Write that a person has read all that is shown for a ticket.

    What is read once for all tickets leaves no trace in the journal; what belongs to this one does. Raises Refused
    when nobody of the staff does it.
    """
    staff_id = by.staff_id
    if staff_id is None:
        raise Refused(say("Cautions are acknowledged by the person at the bench. Please log in."))

    def decide(connection: Connection, ticket: Ticket, policy: Policy) -> Change:
        unread = [each for each in _shown(connection, by, ticket, policy) if not each.acknowledged]
        read = [Acknowledged(each.key, each.wording, ticket.id if each.for_ticket else None) for each in unread]
        events = [Event("cautioned", {"caution": each.key}) for each in unread if each.for_ticket]

        def write(connection: Connection, _ticket: Ticket, now: datetime) -> None:
            cautions.add(connection, staff_id, read, now)

        return Change(events, audience="bench", write=write)

    return change_ticket(desk, by, number, decide, deed_key=deed_key)


def _shown(connection: Connection, by: By, ticket: Ticket, policy: Policy) -> list[Shown]:
    version = records.newest(connection, ticket.id)
    known = cautions.known(connection, by.staff_id, ticket.id) if by.staff_id else set()
    found = hazards(version.record if version else None, policy.kind(ticket.kind))
    return rules.shown(policy.cautions, ticket.stage, ticket.kind, found, known, ticket.id)
