"""The end of a ticket: the device goes back to its owner."""

from __future__ import annotations

from datetime import datetime
from functools import partial

from sqlalchemy import Connection

from portal.actions import tell
from portal.actions.desk import CUSTOMER, By, Change, Desk, Outcome, change_ticket
from portal.rules import stages
from portal.rules.afterwards import link_ends
from portal.rules.policy import Policy
from portal.rules.refusals import Refused
from portal.rules.sentences import say
from portal.rules.stages import Event
from portal.rules.text import passage
from portal.store import tickets, visits
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

    return change_ticket(desk, by, number, decide, seen=seen, deed_key=deed_key, then=partial(_gone, desk))


def return_unrepaired(
    desk: Desk, by: By, number: str, why: str, *, seen: int | None = None, deed_key: str | None = None
) -> Outcome:
    """Give a device back as it came, from any stage, with a reason that the customer reads."""
    reason = passage("why", say("The reason"), why)

    def decide(connection: Connection, ticket: Ticket, policy: Policy) -> Change:
        known = facts(connection, ticket, policy)
        events = stages.return_unrepaired(ticket.standing, reason, tray_settled=known.tray_settled)
        return Change(events, text=reason)

    return change_ticket(desk, by, number, decide, seen=seen, deed_key=deed_key, then=partial(_gone, desk))


def gone_wrong_again(desk: Desk, number: str, words: str, *, deed_key: str | None = None) -> Outcome:
    """The customer says that a device has gone wrong again; the bench sees it. Raises Refused while it is here."""
    said = passage("again", say("What has gone wrong"), words, limit=1000, required=True)

    def decide(_connection: Connection, ticket: Ticket, _policy: Policy) -> Change:
        if ticket.ending is None:
            raise Refused(say("This device is still here. Please write to the shop or ring."))
        return Change([Event("gone_wrong_again")], text=said)

    return change_ticket(desk, CUSTOMER, number, decide, deed_key=deed_key)


def _gone(desk: Desk, connection: Connection, ticket: Ticket, now: datetime) -> None:
    """Tell the customer, and say how long their page stays."""
    policy = desk.policy(connection)
    endings = [(each.ending, each.ended_at) for each in tickets.of_visit(connection, ticket.visit_id)]
    ends_at = link_ends(endings, policy.warranty.months, policy.shop.zone)
    visits.end_link_at(connection, ticket.visit_id, ends_at)
    tell.ended(connection, ticket, now)
