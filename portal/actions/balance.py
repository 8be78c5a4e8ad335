"""The account of a repair, read: what is charged, paid and open; its statement and what is owed back, kept up."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import date, datetime

from sqlalchemy import Connection

from portal.actions.collection import is_waiting
from portal.actions.desk import Desk, find
from portal.rules import price_terms
from portal.rules.account import Account, Agreed, Fate, account, due, fate
from portal.rules.cancelled import refund_by
from portal.rules.days import local_day
from portal.rules.money import Price
from portal.rules.policy import Policy
from portal.rules.stages import Ending
from portal.rules.statements import Document, document
from portal.store import balances, money, parts, questions, refunds, visits
from portal.store.questions import LIMIT, Kept
from portal.store.refunds import RefundDue
from portal.store.tickets import Ticket

_AS_IT_CAME = (Ending.RETURNED, Ending.GIVEN_UP)


def of(
    connection: Connection, ticket: Ticket, policy: Policy, *, cancelled: Mapping[str, int] | None = None
) -> Account:
    """The account as it stands now, in the shop's currency.

    Or as it would stand if things agreed to were `cancelled` as well: how much of each is owed all the same, in per
    cent, by the question's public id.
    """
    return of_several(connection, [ticket], policy, cancelled=cancelled)[ticket.id]


def of_several(
    connection: Connection,
    tickets: Sequence[Ticket],
    policy: Policy,
    *,
    cancelled: Mapping[str, int] | None = None,
) -> dict[int, Account]:
    """The accounts of several tickets by their ids, in as many statements as that of one."""
    ids = [ticket.id for ticket in tickets]
    agreed: dict[int, list[Agreed]] = {each: [] for each in ids}
    for kept in questions.agreed_of(connection, ids):
        agreed[kept.ticket_id].append(agreed_of(kept, (cancelled or {}).get(kept.ref)))
    terms, moved = questions.terms_of(connection, ids), money.moved_of(connection, ids)
    found = {}
    adjusted = money.adjusted_of(connection, ids)
    for ticket in tickets:
        charges = due(agreed[ticket.id], terms.get(ticket.id), unrepaired=ticket.ending in _AS_IT_CAME)
        storage, let_off = adjusted[ticket.id]
        found[ticket.id] = account(policy.shop.currency, charges, storage, let_off, moved[ticket.id])
    return found


def agreed_of(kept: Kept, owed_percent: int | None = None) -> Agreed:
    """A question as the account looks at it; as if it were cancelled and so much of it owed, where that is said."""
    begun = kept.question.work_started or kept.through == LIMIT
    owed = kept.owed_percent if owed_percent is None else owed_percent
    return Agreed(kept.ref, kept.kind, kept.question, kept.offer, begun, owed)


def keep_balance(connection: Connection, ticket: Ticket, policy: Policy) -> Account:
    """Write down how the account stands, for the customer's page; what is open in two currencies fits in no line."""
    found = of(connection, ticket, policy)
    told = not (found.is_empty or found.elsewhere)
    balances.keep(connection, ticket.id, Price(found.balance_minor, found.currency) if told else None)
    return found


def fill_in(desk: Desk) -> tuple[int, int]:
    """Write down how accounts stand of which that was never done, as after an upgrade: (looked at, written down)."""
    with desk.reading() as connection:
        found = balances.missing(connection)
    written = 0
    for number in found:
        with desk.writing() as connection:
            ticket = find(connection, number)
            keep_balance(connection, ticket, desk.policy(connection))
            if balances.of_ticket(connection, ticket.id):
                visits.touch(connection, ticket.visit_id)
                written += 1
    return len(found), written


def keep_account(
    connection: Connection, ticket: Ticket, policy: Policy, now: datetime, *, heard_on: date | None = None
) -> None:
    """Write down how the account stands, and what is owed back and by when; once it was given back, nothing.

    `heard_on` is the day on which the shop heard of a cancellation. Without one nothing is owed back while the work
    still goes on: what was paid then waits for what will be charged. A day that was told before is never made later.
    """
    credit, before = keep_balance(connection, ticket, policy).credit_minor, refunds.of_ticket(connection, ticket.id)
    if not credit:
        if before:
            refunds.settle(connection, ticket.id)
    elif before or heard_on or ticket.ending is not None or is_waiting(ticket, policy):
        due_on = refund_by(heard_on or local_day(now, policy), policy.money.refund_days)
        refunds.keep(connection, ticket.id, RefundDue(credit, min(before.due_on, due_on) if before else due_on))


def owing(connection: Connection, ticket: Ticket, policy: Policy) -> int:
    """What is still to be paid, in minor units of the shop's currency."""
    return of(connection, ticket, policy).open_minor


def as_it_came(connection: Connection, ticket: Ticket, policy: Policy) -> Account:
    """The account if the device went back as it came."""
    return of(connection, replace(ticket, ending=Ending.RETURNED), policy)


def fates(connection: Connection, ticket: Ticket) -> list[tuple[Kept, Fate]]:
    """What becomes of each thing agreed to if the device goes back as it came."""
    terms = questions.terms(connection, ticket.id)
    return [(kept, fate(agreed_of(kept), terms)) for kept in questions.agreed(connection, ticket.id)]


def statement(connection: Connection, ticket: Ticket, policy: Policy) -> Document | None:
    """The statement of the account as it stands now, with what was given free; None where no money was spoken of."""
    found = of(connection, ticket, policy)
    if found.is_empty:
        return None
    return document(found, parts.given(connection, ticket.id), untold=price_terms.names(ticket.fault, ticket.device))


def keep_statement(connection: Connection, ticket: Ticket, policy: Policy, now: datetime) -> bool:
    """Make a statement that says how it stands now, in place of one that no longer does; False where one says so.

    What was wrong or overtaken is reversed, under a number of its own.
    """
    made = statement(connection, ticket, policy)
    before = money.standing_statement(connection, ticket.id)
    if (before.document if before else None) == made:
        return False
    withdraw_statement(connection, ticket, now)
    if made:
        money.keep_statement(connection, ticket.id, made, now)
    return True


def withdraw_statement(connection: Connection, ticket: Ticket, now: datetime) -> None:
    """Reverse the statement that stands, if there is one."""
    before = money.standing_statement(connection, ticket.id)
    if before:
        money.keep_statement(connection, ticket.id, before.document, now, reverses=before.id)
