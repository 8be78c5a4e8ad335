"""Charges that are no question's: storage as accepted terms allow it, and what the shop lets off; and the statement."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime
from zoneinfo import ZoneInfo

from sqlalchemy import Connection

from portal.actions import balance
from portal.actions.collection import is_waiting
from portal.actions.desk import By, Change, Desk, Outcome, PolicyShelf, change_ticket
from portal.actions.disputes import is_disputed
from portal.actions.payments import kept_up_to_date, must_be_kept
from portal.actions.people import only_keeper
from portal.actions.terms import agreed_storage
from portal.rules.account import LetOff, Storage, may_let_off
from portal.rules.collection import storage_charge, storage_starts
from portal.rules.money import Price, to_minor
from portal.rules.payments import fit_amount, no_card_number
from portal.rules.policy import Policy
from portal.rules.refusals import Refused, Unfit
from portal.rules.sentences import say
from portal.rules.stages import Event, must_be_here
from portal.rules.text import line
from portal.rules.tokens import new_ref
from portal.store import collection, money
from portal.store.tickets import Ticket


@dataclass(frozen=True)
class StorageToCome:
    """What storage will cost, said before it does: from which day on, for each started day, at most; minor units."""

    starts: date
    day_minor: int
    most_minor: int


def storage_to_come(shelf: PolicyShelf, connection: Connection, ticket: Ticket, policy: Policy) -> StorageToCome | None:
    """What the accepted terms say of storage for a device that is ready, or None where it costs nothing."""
    found = collection.waiting(connection, ticket.id) if is_waiting(ticket, policy) else None
    storage = agreed_storage(shelf, connection, ticket.visit_id, policy) if found else None
    if found is None or storage is None:
        return None
    starts, currency = storage_starts(found[1], storage, ZoneInfo(policy.shop.zone)), policy.shop.currency
    return StorageToCome(starts, to_minor(storage.per_day, currency), to_minor(storage.at_most, currency))


def storage_so_far(desk: Desk, connection: Connection, ticket: Ticket, policy: Policy) -> int:
    """The most that storage may cost by today, in minor units: nothing without terms that were accepted and say so.

    What was accepted counts, and never more than the shop asks for now.
    """
    found = collection.waiting(connection, ticket.id) if is_waiting(ticket, policy) else None
    storage = agreed_storage(desk.shelf, connection, ticket.visit_id, policy) if found else None
    if found is None or storage is None:
        return 0
    zone = ZoneInfo(policy.shop.zone)
    today = desk.clock.now().astimezone(zone).date()
    return to_minor(storage_charge(found[1], storage, today, zone), policy.shop.currency)


def state_storage(
    desk: Desk, by: By, number: str, amount: str = "", *, seen: int | None = None, deed_key: str | None = None
) -> Outcome:
    """The keeper states what storage costs, in place of what was stated before; "" is all that it may cost by today.

    The customer reads it on their page. Raises Refused for anybody else, before a day costs anything, and where no
    accepted terms say so; Unfit (field "amount") for more than they allow.
    """

    def decide(connection: Connection, ticket: Ticket, policy: Policy) -> Change:
        only_keeper(connection, by)
        must_be_here(ticket.standing)
        if is_disputed(connection, ticket):
            raise Refused(say("Something about this device is in dispute. Settle that first."))
        most = storage_so_far(desk, connection, ticket, policy)
        if not most:
            raise Refused(say("Storage costs nothing here by now: no accepted terms say so, or its free days last."))
        currency = policy.shop.currency
        minor = fit_amount(amount, currency) if amount.strip() else most
        if minor > most:
            raise Unfit("amount", say("The accepted terms allow at most {most} by today.", most=Price(most, currency)))
        new = Storage(new_ref(desk.chooser), minor, currency, policy.shop.tax_percent)
        before, _let_off = money.adjusted(connection, ticket.id)

        def write(connection: Connection, ticket: Ticket, now: datetime) -> None:
            if before:
                money.reverse_adjusted(connection, ticket.id, before, new_ref(desk.chooser), now, by.staff_id)
            money.keep_adjusted(connection, ticket.id, new, now, by.staff_id)

        return Change([_event("storage_stated", new)], write=write)

    return change_ticket(desk, by, number, decide, seen=seen, deed_key=deed_key, then=kept_up_to_date(desk))


def let_off(
    desk: Desk, by: By, number: str, amount: str, why: str, *, seen: int | None = None, deed_key: str | None = None
) -> Outcome:
    """The shop does not ask for a part of what was agreed, or for all of it; the customer reads why. The keeper's deed.

    What was paid beyond that is owed back. Raises Unfit (fields "amount", "why"), Refused for more than is charged.
    """
    reason = no_card_number("why", line("why", say("The reason"), why, limit=400, required=True))

    def decide(connection: Connection, ticket: Ticket, policy: Policy) -> Change:
        only_keeper(connection, by)
        must_be_kept(connection, ticket)
        currency = policy.shop.currency
        new = LetOff(new_ref(desk.chooser), fit_amount(amount, currency), currency, reason)
        may_let_off(balance.of(connection, ticket, policy), new.amount_minor)

        def write(connection: Connection, ticket: Ticket, now: datetime) -> None:
            money.keep_adjusted(connection, ticket.id, new, now, by.staff_id)

        return Change([_event("let_off", new)], text=reason, write=write)

    return change_ticket(desk, by, number, decide, seen=seen, deed_key=deed_key, then=kept_up_to_date(desk))


def take_back(
    desk: Desk, by: By, number: str, ref: str, *, seen: int | None = None, deed_key: str | None = None
) -> Outcome:
    """Storage, or what was let off, was a mistake: it holds no longer. What was agreed to is charged as before."""

    def decide(connection: Connection, ticket: Ticket, _policy: Policy) -> Change:
        only_keeper(connection, by)
        must_be_kept(connection, ticket)
        storage, off = money.adjusted(connection, ticket.id)
        entries: list[Storage | LetOff] = [*off, storage] if storage else [*off]
        wrong = next((each for each in entries if each.ref == ref), None)
        if wrong is None:
            raise Refused(say("There is no such entry on this repair, or it was taken back already."))

        def write(connection: Connection, ticket: Ticket, now: datetime) -> None:
            money.reverse_adjusted(connection, ticket.id, wrong, new_ref(desk.chooser), now, by.staff_id)

        name = "storage_taken_back" if isinstance(wrong, Storage) else "let_off_taken_back"
        return Change([_event(name, wrong)], write=write)

    return change_ticket(desk, by, number, decide, seen=seen, deed_key=deed_key, then=kept_up_to_date(desk))


def state(desk: Desk, by: By, number: str, *, seen: int | None = None, deed_key: str | None = None) -> Outcome:
    """Make a statement of how it stands now. Raises Refused where there is nothing to state, or one says just that."""

    def decide(connection: Connection, ticket: Ticket, policy: Policy) -> Change:
        must_be_kept(connection, ticket)
        made = balance.statement(connection, ticket, policy)
        if made is None:
            raise Refused(say("No money was agreed to or paid. There is nothing to state."))
        before = money.standing_statement(connection, ticket.id)
        if before and before.document == made:
            raise Refused(say("Statement {number} says just that already.", number=before.number))

        def write(connection: Connection, ticket: Ticket, now: datetime) -> None:
            balance.keep_statement(connection, ticket, policy, now)

        return Change([Event("statement_made")], write=write)

    return change_ticket(desk, by, number, decide, seen=seen, deed_key=deed_key)


def _event(name: str, new: Storage | LetOff) -> Event:
    return Event(name, {"amount_minor": str(new.amount_minor), "currency": new.currency})
