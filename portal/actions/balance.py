"""The account of a repair, read: what is charged, what was paid, what is open; and its statement, kept up to date."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime

from sqlalchemy import Connection

from portal.rules import price_terms
from portal.rules.account import Account, Agreed, account, due
from portal.rules.policy import Policy
from portal.rules.stages import Ending
from portal.rules.statements import Document, document
from portal.store import money, parts, questions
from portal.store.questions import LIMIT
from portal.store.tickets import Ticket

_AS_IT_CAME = (Ending.RETURNED, Ending.GIVEN_UP)


def of(connection: Connection, ticket: Ticket, policy: Policy) -> Account:
    """The account as it stands now, in the shop's currency."""
    agreed = [
        Agreed(kept.ref, kept.kind, kept.question, kept.offer, kept.question.work_started or kept.through == LIMIT)
        for kept in questions.agreed(connection, ticket.id)
    ]
    terms = questions.terms(connection, ticket.id) if agreed else None
    charges = due(agreed, terms, unrepaired=ticket.ending in _AS_IT_CAME)
    storage, let_off = money.adjusted(connection, ticket.id)
    return account(policy.shop.currency, charges, storage, let_off, money.moved(connection, ticket.id))


def owing(connection: Connection, ticket: Ticket, policy: Policy) -> int:
    """What is still to be paid, in minor units of the shop's currency."""
    return of(connection, ticket, policy).open_minor


def owing_as_it_came(connection: Connection, ticket: Ticket, policy: Policy) -> int:
    """What would still be to be paid if the device went back as it came, in minor units of the shop's currency."""
    return owing(connection, replace(ticket, ending=Ending.RETURNED), policy)


def statement(connection: Connection, ticket: Ticket, policy: Policy) -> Document | None:
    """The statement of the account as it stands now, with what was given free; None where no money was spoken of."""
    found = of(connection, ticket, policy)
    if found.is_empty:
        return None
    return document(found, parts.given(connection, ticket.id), untold=price_terms.named_by(ticket.fault))


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
