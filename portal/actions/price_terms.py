"""What is agreed about the price when a device comes in, and work that the bench goes ahead with within a limit."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal

from sqlalchemy import Connection

from portal.actions import balance, tell
from portal.actions.cancelling import came_unmet, settled, told
from portal.actions.desk import By, Change, Desk, Outcome, change_ticket
from portal.actions.payments import kept_up_to_date
from portal.actions.proving import prove_answer, prove_terms
from portal.actions.questions import Asked, fit_offer, needs_sign_off
from portal.rules import price_terms as rules
from portal.rules.cancellation import Settled, must_not_wait
from portal.rules.days import local_day
from portal.rules.money import Line
from portal.rules.offers import TypedOffer, to_data
from portal.rules.policy import Policy
from portal.rules.price_terms import PriceTerms, Way
from portal.rules.questions import Offer, Option, State, Terms
from portal.rules.refusals import Refused, Unfit
from portal.rules.sentences import say
from portal.rules.stages import Event, must_be_here
from portal.rules.text import line
from portal.rules.tokens import new_ref
from portal.store import questions, tickets, visits
from portal.store.questions import LIMIT
from portal.store.tickets import Ticket

_ONE = Decimal(1)
CHOSEN = "a"  # the only option of what is agreed without a choice


@dataclass(frozen=True)
class TypedTerms:
    """The terms as typed: a `Way` or "", an amount or "", and what it is for ("": the fault as told)."""

    way: str = ""
    amount: str = ""
    what: str = ""


@dataclass(frozen=True)
class NewTerms:
    """Terms that fit, ready to be written down."""

    terms: PriceTerms
    what: str


def fit_terms(typed: TypedTerms, currency: str) -> NewTerms | None:
    """The terms, or None where nothing was typed. Raises Unfit (fields "price_way", "price_amount", "price_what")."""
    found = rules.fit(typed.way, typed.amount, currency)
    return NewTerms(found, line("price_what", say("What it is for"), typed.what, limit=400)) if found else None


def event_of(terms: PriceTerms, cancelling: Settled | None = None) -> Event:
    """What the journal says of them; the amount is no personal data."""
    more = {} if terms.amount_minor is None else {"amount_minor": str(terms.amount_minor)}
    if cancelling:
        more["cancel_until"] = cancelling.until.isoformat()
    return Event("price_agreed", {"price_way": terms.way.value, "currency": terms.currency} | more)


def agree_terms(
    desk: Desk,
    by: By,
    number: str,
    typed: TypedTerms,
    how: str,
    who: str,
    *,
    begin: str = "",
    seen: int | None = None,
    deed_key: str | None = None,
) -> Outcome:
    """Write down what was agreed about the price of a device that is here, by telephone or at the counter; once.

    `begin` is when the work may begin, for a device that came by post and was agreed about by telephone. The customer
    is told and may object. Raises Unfit, and Refused where something was agreed before.
    """
    if how not in ("telephone", "counter"):
        raise Unfit("how", say("An answer is given by telephone or at the counter."))
    said = line("who", say("Who said it, and to whom"), who, required=True)

    def decide(connection: Connection, ticket: Ticket, policy: Policy) -> Change:
        must_be_here(ticket.standing)
        new = fit_terms(typed, policy.shop.currency)
        if new is None:
            raise Unfit("price_way", say("What was agreed? Please choose."))
        if questions.terms(connection, ticket.id):
            raise Refused(say("The price was agreed before. What changes it is a question to the customer."))
        cancelling = _cancelling(connection, ticket, policy, how, begin, desk.clock.now())

        def write(connection: Connection, ticket: Ticket, now: datetime) -> None:
            keep_terms(desk, connection, by, ticket, new, policy, how, now, cancelling)

        return Change([event_of(new.terms, cancelling)], text=said, audience="bench", write=write)

    def then(connection: Connection, ticket: Ticket, now: datetime) -> None:
        kept_up_to_date(desk)(connection, ticket, now)
        tell.price_agreed(connection, ticket, now)

    return change_ticket(desk, by, number, decide, seen=seen, deed_key=deed_key, then=then)


def _cancelling(
    connection: Connection, ticket: Ticket, policy: Policy, how: str, begin: str, now: datetime
) -> Settled | None:
    at_distance = how == "telephone" and came_unmet(connection, ticket.id)
    tag = visits.by_id(connection, ticket.visit_id).language
    return settled(told(policy, tag, at_distance=at_distance), begin, now, policy)


def keep_at_intake(
    desk: Desk, connection: Connection, by: By, ticket_id: int, new: NewTerms, policy: Policy, now: datetime
) -> None:
    """Write down what was agreed at the counter while the device was taken in; the first message tells of it."""
    ticket = tickets.by_id(connection, ticket_id)
    if ticket is None:
        raise RuntimeError("The ticket just written cannot be read.")
    keep_terms(desk, connection, by, ticket, new, policy, "counter", now)
    balance.keep_balance(connection, ticket, policy)


def keep_terms(
    desk: Desk,
    connection: Connection,
    by: By,
    ticket: Ticket,
    new: NewTerms,
    policy: Policy,
    how: str,
    now: datetime,
    cancelling: Settled | None = None,
) -> None:
    """Write the terms with their proof, and the charge that they agree to."""
    language = visits.by_id(connection, ticket.visit_id).language
    more: dict[str, object] = {"language": language, "word": None, "through": how, "template": None}
    if cancelling:
        more["cancelling"] = cancelling.facts()
    columns = cancelling.columns() if cancelling else {}
    questions.keep_terms(connection, ticket.id, new.terms, how, now, columns)
    prove_terms(connection, ticket, new.terms, now, more | {"what": _what(new, ticket)})
    if new.terms.charges:
        kind = "estimate" if new.terms.way is Way.FIXED else "looking"
        offer = _offer(new, ticket, policy, now)
        _keep_agreed(desk, connection, by, ticket, offer, kind, how, now, more, columns=columns)


def go_ahead(
    desk: Desk, by: By, number: str, typed: TypedOffer, *, seen: int | None = None, deed_key: str | None = None
) -> Asked:
    """Do work within the limit that the customer gave, without asking: it is used up, and the customer told.

    Raises Refused where there is no limit, or too little of it is left; Unfit for what does not fit.
    """
    ref = new_ref(desk.chooser)

    def decide(connection: Connection, ticket: Ticket, policy: Policy) -> Change:
        must_be_here(ticket.standing)
        offer = fit_offer(connection, ticket, typed, policy, desk.clock.now())
        if len(offer.options) != 1:
            raise Unfit("options", say("A choice is the customer’s to make. Ask, or propose one thing only."))
        if questions.terms_cancelled_on(connection, ticket.id):
            raise Refused(say("The customer cancelled the limit. Ask before it costs."))
        used = questions.used_of_limit(questions.of_ticket(connection, ticket.id))
        rules.must_fit_limit(questions.terms(connection, ticket.id), used, offer.dearest())
        today = local_day(desk.clock.now(), policy)
        must_not_wait(*questions.may_begin(connection, ticket.id), today)
        if needs_sign_off(connection, by, offer, policy):
            raise Refused(say("The keeper looks at such an amount first. Ask, and it goes to the keeper."))

        def write(connection: Connection, ticket: Ticket, now: datetime) -> None:
            more: dict[str, object] = {"language": None, "word": None, "through": LIMIT, "template": None}
            _keep_agreed(desk, connection, by, ticket, offer, "extra", LIMIT, now, more, ref=ref)

        gone = {"question": ref, "amount_minor": str(offer.dearest()), "currency": offer.terms.currency}
        return Change([Event("gone_ahead", gone)], write=write)

    def then(connection: Connection, ticket: Ticket, now: datetime) -> None:
        kept = questions.by_ref(connection, ref)
        kept_up_to_date(desk)(connection, ticket, now)
        if kept:
            tell.question_answered(connection, ticket, kept, now)

    outcome = change_ticket(desk, by, number, decide, seen=seen, deed_key=deed_key, then=then)
    return Asked(ref, outcome)


def _keep_agreed(
    desk: Desk,
    connection: Connection,
    by: By,
    ticket: Ticket,
    offer: Offer,
    kind: str,
    through: str,
    now: datetime,
    more: Mapping[str, object],
    *,
    ref: str = "",
    columns: Mapping[str, object] | None = None,
) -> None:
    """Write a question that is agreed to already, with its proof, and a link to it for everybody who may agree."""
    ref = ref or new_ref(desk.chooser)
    question_id = questions.add(
        connection,
        {
            "ref": ref,
            "ticket_id": ticket.id,
            "kind": kind,
            "state": State.AGREED.value,
            "version": 1,
            "offer": to_data(offer),
            "answer_by": offer.answer_by,
            "chosen": CHOSEN,
            "through": through,
            "drafted_by": by.staff_id,
            "made_at": now,
            "put_at": now,
            "settled_at": now,
            "at_distance": bool(columns),
            **(columns or {}),
        },
    )
    for contact in visits.contacts_of(connection, ticket.visit_id):
        if contact.may_agree:
            questions.ask(connection, question_id, contact.id, new_ref(desk.chooser))
    kept = questions.by_ref(connection, ref)
    if kept is None:
        raise RuntimeError("The question just written cannot be read.")
    prove_answer(connection, ticket, kept, "agreed", CHOSEN, now, more)


def _offer(new: NewTerms, ticket: Ticket, policy: Policy, now: datetime) -> Offer:
    """The amount is what the customer pays, so it has its tax in it, however the shop reckons otherwise."""
    what, amount = _what(new, ticket), new.terms.amount_minor or 0
    lines = (Line(what, _ONE, amount, policy.shop.tax_percent),)
    terms = Terms(new.terms.currency, policy.approvals.rounding, prices_include_tax=True)
    return Offer("", "", "", "", (Option(CHOSEN, what, lines),), now, terms, named_by_customer=not new.what)


def _what(new: NewTerms, ticket: Ticket) -> str:
    """What it is for; without a word of its own, the fault as told."""
    return new.what or rules.names(ticket.fault, ticket.device)[0]
