"""What is open about a visit when its page would end: until that is settled the page stays, and what it is made from.

Whoever waits for an answer or for their money must be able to read of it. This is the one place that says what counts.
"""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date, datetime, timedelta

from sqlalchemy import Connection

from portal.actions import balance
from portal.actions.disputes import is_disputed
from portal.language import language
from portal.rules.afterwards import ANSWER_STAYS, Matter
from portal.rules.policy import Policy
from portal.rules.retention import Kept
from portal.rules.rights import State
from portal.rules.sentences import say
from portal.store import complaints, journal, keeping, money, rights, tickets
from portal.store.keeping import Pause
from portal.store.tickets import Ticket

NEEDED = (Kept.CONTACT, Kept.DEVICE, Kept.RECORD, Kept.PHOTO)  # what the page is made from, and an answer sent by
LOOKED_AT_AGAIN = timedelta(days=7)  # so long the purge leaves it alone at a time, and then asks anew


def matters(connection: Connection, visit_id: int, policy: Policy) -> list[Matter]:
    """What is open about a visit."""
    devices = tickets.of_visit(connection, visit_id)
    is_open = {
        Matter.COMPLAINT: bool(complaints.open_of_visit(connection, visit_id)),
        Matter.DISPUTE: any(is_disputed(connection, each) for each in devices),
        Matter.REFUND: any(_is_owed_money(connection, each, policy) for each in devices),
        Matter.REQUEST: any(each.request.state is State.OPEN for each in rights.of_visit(connection, visit_id)),
    }
    if is_open[Matter.COMPLAINT]:
        is_open[Matter.DISPUTE] = False  # a complaint is one, and says more
    return [matter for matter in Matter if is_open[matter]]


def page_stays(connection: Connection, visit_id: int, policy: Policy, now: datetime) -> bool:
    """Whether a page stays past its end: something is open, or was settled so lately that its owner may not know.

    Never longer than what it is made from: once the work record has gone there is nothing left to show.
    """
    if Kept.RECORD not in keeping.of_visit(connection, visit_id):
        return False
    settled_at = journal.settled_at(connection, visit_id)
    lately = settled_at is not None and now < settled_at + ANSWER_STAYS
    return lately or bool(matters(connection, visit_id, policy))


def let_go(
    connection: Connection, visit_ids: Iterable[int], kept: Kept, policy: Policy, now: datetime, today: date
) -> list[int]:
    """Of visits whose data of a kind is due, those from which it may go; for the others its end is paused a while."""
    if kept not in NEEDED:
        return list(visit_ids)
    going = []
    why = language(policy.shop.languages[0], policy.shop.zone).say(say("Something about it is still open."))
    for visit_id in visit_ids:
        if page_stays(connection, visit_id, policy, now):
            keeping.pause(connection, visit_id, Pause(kept, why, today + LOOKED_AT_AGAIN), None, now)
        else:
            going.append(visit_id)
    return going


def _is_owed_money(connection: Connection, ticket: Ticket, policy: Policy) -> bool:
    """Whether the shop owes something back; where nothing was ever paid it owes nothing."""
    if not money.moved(connection, ticket.id):
        return False
    account = balance.of(connection, ticket, policy)
    return account.credit_minor > 0 or any(price.minor < 0 for price in account.elsewhere)
