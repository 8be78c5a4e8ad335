"""The end of a ticket: the device goes back to its owner."""

from __future__ import annotations

from sqlalchemy import Connection

from portal.actions import tell
from portal.actions.desk import By, Change, Desk, Outcome, change_ticket
from portal.rules import stages
from portal.rules.policy import Policy
from portal.rules.sentences import say
from portal.rules.text import passage
from portal.store.tickets import Ticket


def hand_over(desk: Desk, by: By, number: str, *, seen: int | None = None, deed_key: str | None = None) -> Outcome:
    """Hand a finished device over at the counter. Raises Refused from any stage but the last, or while on hold."""

    def decide(_connection: Connection, ticket: Ticket, policy: Policy) -> Change:
        return Change(stages.hand_over(ticket.standing, policy.stages))

    return change_ticket(desk, by, number, decide, seen=seen, deed_key=deed_key, then=tell.ended)


def return_unrepaired(
    desk: Desk, by: By, number: str, why: str, *, seen: int | None = None, deed_key: str | None = None
) -> Outcome:
    """Give a device back as it came, from any stage, with a reason that the customer reads."""
    reason = passage("why", say("The reason"), why)

    def decide(_connection: Connection, ticket: Ticket, _policy: Policy) -> Change:
        return Change(stages.return_unrepaired(ticket.standing, reason), text=reason)

    return change_ticket(desk, by, number, decide, seen=seen, deed_key=deed_key, then=tell.ended)
