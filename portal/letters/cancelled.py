"""Messages about a cancellation: what follows from it; and to the keepers, what is overdue to be given back."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date, datetime
from zoneinfo import ZoneInfo

from sqlalchemy import Connection

from notifications.letters import Withdrawn
from portal.actions import balance
from portal.letters.told import Facts, Letterbox, StaffStillTrue, StaffTold, StillTrue, Told
from portal.rules import cancelled as rules
from portal.rules.account import charge, in_part
from portal.rules.money import Price
from portal.rules.policy import Policy
from portal.rules.sentences import Sentence
from portal.store import questions, refunds


def _cancelled(_desk: Letterbox, connection: Connection, told: Told) -> Facts | Withdrawn:
    ticket = told.tickets[0]
    declared = [_declared(connection, ticket.id, each, told.policy) for each in told.facts if "declared_at" in each]
    refs = dict.fromkeys(ref for each in told.facts for ref in each["questions"])
    things = [*declared, *(_thing(connection, ticket.id, ref) for ref in refs)]
    account, owed = balance.of(connection, ticket, told.policy), refunds.of_ticket(connection, ticket.id)
    still_open = Price(account.open_minor, account.currency)
    back = Price(owed.amount_minor, account.currency) if owed else None
    settled = [rules.settlement_told(still_open, back, owed.due_on if owed else None)]
    if any(kept.awaits_part for kept in questions.agreed(connection, ticket.id)):
        settled = []  # what it comes to is not known yet
    last = told.facts[-1]
    return {
        "sentences": [*things, *settled],
        "undone": bool(last.get("undone")),
        "overruled": bool(last.get("overruled")),
    }


def _declared(connection: Connection, ticket_id: int, facts: Facts, policy: Policy) -> Sentence:
    """What the customer declared on the page, and the moment by the shop's clock on the wall."""
    (ref,) = facts["questions"]
    at = datetime.fromisoformat(facts["declared_at"]).astimezone(ZoneInfo(policy.shop.zone))
    if ref == rules.START:
        terms = questions.terms(connection, ticket_id)
        return rules.declared_told(terms.words() if terms else "", at)
    kept = questions.by_ref(connection, ref)
    return rules.declared_told(kept.offer.option(kept.question.chosen or "").proposal if kept else "", at)


def _thing(connection: Connection, ticket_id: int, ref: str) -> Sentence:
    """What became of one thing, as it stands now."""
    kept = None if ref == rules.START else questions.by_ref(connection, ref)
    if kept is None:
        return rules.START_TOLD if questions.terms_cancelled_on(connection, ticket_id) else rules.STANDS_TOLD
    what, percent = kept.offer.option(kept.question.chosen or "").proposal, kept.owed_percent
    if kept.awaits_part:
        return rules.undecided_told(what)
    if percent is None:
        return rules.STANDS_TOLD
    whole = charge(balance.agreed_of(kept))
    return rules.consequence_told(what, percent, Price(in_part(whole, percent).amounts.gross, whole.currency))


def _overdue(_desk: Letterbox, connection: Connection, told: StaffTold) -> Facts | Withdrawn:
    owed = refunds.of_ticket(connection, told.ticket.id)
    if owed is None or owed.due_on != date.fromisoformat(told.facts[-1]["due_on"]):
        return Withdrawn("nothing is owed back by that day any more")
    return {"owed_minor": owed.amount_minor, "due_on": owed.due_on}


EVENTS: Mapping[str, StillTrue] = {"cancelled": _cancelled}
STAFF_EVENTS: Mapping[str, StaffStillTrue] = {"refund_overdue": _overdue}
