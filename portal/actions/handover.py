"""The end of a ticket: the device goes back to its owner."""

from __future__ import annotations

from sqlalchemy import Connection

from portal.actions import tell
from portal.actions.desk import By, Change, Desk, Outcome, change_ticket
from portal.rules import stages
from portal.rules.policy import Policy
from portal.rules.sentences import say
from portal.rules.text import passage
from portal.store.facts import facts
from portal.store.tickets import Ticket


def hand_over(
    desk: Desk,
    by: By,
    number: str,
    *,
    confirmed: bool = False,
    seen: int | None = None,
    deed_key: str | None = None,
) -> Outcome:
    """Hand a finished device over at the counter.

    Raises Refused from any stage but the last, while on hold, or while that stage's gates are shut; AskFirst when they
    only warn.
    """

    def decide(connection: Connection, ticket: Ticket, policy: Policy) -> Change:
        known = facts(connection, ticket, policy)
        return Change(stages.hand_over(ticket.standing, policy.stages, facts=known, confirmed=confirmed))

    return change_ticket(desk, by, number, decide, seen=seen, deed_key=deed_key, then=tell.ended)


def return_unrepaired(
    desk: Desk, by: By, number: str, why: str, *, seen: int | None = None, deed_key: str | None = None
) -> Outcome:
    """Give a device back as it came, from any stage, with a reason that the customer reads."""
    reason = passage("why", say("The reason"), why)

    def decide(connection: Connection, ticket: Ticket, policy: Policy) -> Change:
        known = facts(connection, ticket, policy)
        events = stages.return_unrepaired(ticket.standing, reason, tray_settled=known.tray_settled)
        return Change(events, text=reason)

    return change_ticket(desk, by, number, decide, seen=seen, deed_key=deed_key, then=tell.ended)
