"""Money that comes in and goes back for a repair; a mistake in it is reversed, never changed."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date, datetime
from zoneinfo import ZoneInfo

from sqlalchemy import Connection

from portal.actions import balance
from portal.actions.collection import is_waiting
from portal.actions.desk import By, Change, Desk, Outcome, change_ticket
from portal.rules import payments as rules
from portal.rules.payments import Kind, Moved
from portal.rules.policy import Policy
from portal.rules.posting import day_of
from portal.rules.refusals import Refused
from portal.rules.retention import Kept
from portal.rules.sentences import say
from portal.rules.stages import Event
from portal.rules.text import passage
from portal.rules.tokens import new_ref
from portal.store import keeping, money
from portal.store.tickets import Ticket


@dataclass(frozen=True)
class Typed:
    """Money as typed: `how` a `payments.How`, `on` a day or "" for today."""

    amount: str
    how: str
    reference: str = ""
    on: str = ""


def take(
    desk: Desk,
    by: By,
    number: str,
    typed: Typed,
    *,
    confirmed: bool = False,
    seen: int | None = None,
    deed_key: str | None = None,
) -> Outcome:
    """Money came in: a deposit until the device is ready, then a payment.

    Raises Unfit (fields "amount", "how", "reference", "on"), AskFirst for more than is open, and Refused for a device
    that has not arrived, or of which only the proof is kept.
    """

    def decide(connection: Connection, ticket: Ticket, policy: Policy) -> Change:
        must_be_kept(connection, ticket)
        ready = ticket.ending is not None or is_waiting(ticket, policy)
        new = _fit(desk, ticket, typed, Kind.PAYMENT if ready else Kind.DEPOSIT, policy)
        open_minor = balance.of(connection, ticket, policy).open_minor
        rules.may_take(new.amount_minor, open_minor, new.currency, new.kind, confirmed=confirmed)
        return _change(by, "money_taken", new)

    return change_ticket(desk, by, number, decide, seen=seen, deed_key=deed_key, then=kept_up_to_date(desk))


def give_back(
    desk: Desk, by: By, number: str, typed: Typed, *, seen: int | None = None, deed_key: str | None = None
) -> Outcome:
    """What is owed back was given back. Raises Unfit as `take` does, and Refused for more than is owed."""

    def decide(connection: Connection, ticket: Ticket, policy: Policy) -> Change:
        must_be_kept(connection, ticket)
        new = _fit(desk, ticket, typed, Kind.REFUND, policy)
        rules.may_refund(new.amount_minor, balance.of(connection, ticket, policy).credit_minor, new.currency)
        return _change(by, "money_given_back", new)

    return change_ticket(desk, by, number, decide, seen=seen, deed_key=deed_key, then=kept_up_to_date(desk))


def reverse(
    desk: Desk, by: By, number: str, ref: str, why: str, *, seen: int | None = None, deed_key: str | None = None
) -> Outcome:
    """An entry was a mistake; why stays with the bench. Raises Unfit (field "why"), Refused for one reversed."""
    reason = rules.no_card_number("why", passage("why", say("The reason"), why, limit=400, required=True))

    def decide(connection: Connection, ticket: Ticket, _policy: Policy) -> Change:
        must_be_kept(connection, ticket)
        wrong = rules.standing(money.moved(connection, ticket.id), ref)

        def write(connection: Connection, ticket: Ticket, now: datetime) -> None:
            money.reverse_moved(connection, ticket.id, wrong, new_ref(desk.chooser), reason, now, by.staff_id)

        return Change([_event("money_reversed", wrong)], text=reason, audience="bench", write=write)

    return change_ticket(desk, by, number, decide, seen=seen, deed_key=deed_key, then=kept_up_to_date(desk))


def must_be_kept(connection: Connection, ticket: Ticket) -> None:
    """Raise Refused for a device that has not arrived, or a repair of which only proof and money are kept any more."""
    if ticket.stage is None and ticket.ending is None:
        raise Refused(say("This device is announced but has not arrived yet."))
    kept = keeping.of_visit(connection, ticket.visit_id)
    if kept and Kept.RECORD not in kept:
        raise Refused(say("Of this repair only the proof is kept. Nothing can be added to it."))


def kept_up_to_date(desk: Desk) -> Callable[[Connection, Ticket, datetime], None]:
    """What follows a deed on money: what is owed back is written down anew, and so is the statement of an end."""

    def then(connection: Connection, ticket: Ticket, now: datetime) -> None:
        balance.keep_account(connection, ticket, desk.policy(connection), now)
        if ticket.ending is not None:
            balance.keep_statement(connection, ticket, desk.policy(connection), now)

    return then


def _fit(desk: Desk, ticket: Ticket, typed: Typed, kind: Kind, policy: Policy) -> Moved:
    minor = rules.fit_amount(typed.amount, policy.shop.currency)
    how = rules.fit_how(typed.how)
    reference = rules.fit_reference(typed.reference)
    on = _day(desk, ticket, typed.on, policy)
    return Moved(new_ref(desk.chooser), kind, minor, policy.shop.currency, how, reference, on)


def _day(desk: Desk, ticket: Ticket, typed: str, policy: Policy) -> date:
    zone = ZoneInfo(policy.shop.zone)
    today = desk.clock.now().astimezone(zone).date()
    earliest = ticket.made_at.astimezone(zone).date()
    return day_of("on", say("The day"), typed, earliest=earliest, today=today) if typed.strip() else today


def _change(by: By, name: str, new: Moved) -> Change:
    def write(connection: Connection, ticket: Ticket, now: datetime) -> None:
        money.keep_moved(connection, ticket.id, new, now, by.staff_id)

    return Change([_event(name, new)], write=write)


def _event(name: str, moved: Moved) -> Event:
    return Event(
        name,
        {
            "payment": moved.ref,
            "money": moved.kind.value,
            "amount_minor": str(moved.amount_minor),
            "currency": moved.currency,
            "paid_how": moved.how.value,
        },
    )
