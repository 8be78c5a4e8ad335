"""What a deed left behind, read from the database as the tests ask for it."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import pytest
from sqlalchemy import Table, select

from notifications.tables import metadata as notifications_metadata
from notifications.tables import outbox
from portal.actions import balance
from portal.actions.desk import Desk
from portal.rules.conversation import unread_since
from portal.rules.money import Price
from portal.rules.refusals import Refused
from portal.rules.stages import Event, rebuild
from portal.store import balances, journal, tickets
from portal.store.journal import Entry
from portal.store.tables import metadata
from portal.store.tickets import Ticket


def ticket_of(desk: Desk, number: str) -> Ticket:
    """The ticket as its row says."""
    with desk.reading() as connection:
        ticket = tickets.by_number(connection, number)
    assert ticket is not None
    return ticket


def journal_of(desk: Desk, number: str) -> list[Entry]:
    """The ticket's journal, the oldest entry first."""
    with desk.reading() as connection:
        return journal.entries(connection, ticket_of(desk, number).id)


def messages(desk: Desk) -> list[tuple[str, str, dict]]:
    """The messages in the outbox: event, reference and facts, the oldest first."""
    with desk.reading() as connection:
        rows = connection.execute(select(outbox.c.event, outbox.c.reference, outbox.c.facts).order_by(outbox.c.id))
        return [tuple(row) for row in rows]


ALL_TABLES = (*metadata.sorted_tables, *notifications_metadata.sorted_tables)


def everything(desk: Desk, tables: Sequence[Table] = ALL_TABLES) -> dict[str, list[tuple]]:
    """Every row of every table (or of `tables`), to see that nothing changed."""
    with desk.reading() as connection:
        return {
            table.name: sorted(tuple(map(repr, row)) for row in connection.execute(select(table))) for table in tables
        }


def refused(desk: Desk, deed: Callable[[], object], kind: type[Refused] = Refused) -> str:
    """Why a deed was refused; it changed nothing."""
    before = everything(desk)
    with pytest.raises(kind) as why:
        deed()
    assert everything(desk) == before
    return str(why.value)


def assert_the_journal_rebuilds_the_row(desk: Desk, number: str) -> None:
    """The row's standing, its revision and what waits to be read are what the journal tells."""
    ticket, entries = ticket_of(desk, number), journal_of(desk, number)
    assert rebuild(Event(entry.event, entry.data) for entry in entries) == ticket.standing
    assert [entry.entry for entry in entries] == list(range(1, ticket.revision + 1))
    assert unread_since((entry.event, entry.data, entry.at) for entry in entries) == ticket.unread_since


def assert_the_balance_is_that_of_the_account(desk: Desk, number: str) -> None:
    """What the customer's page reads of the account is what the account comes to."""
    ticket = ticket_of(desk, number)
    with desk.reading() as connection:
        found = balance.of(connection, ticket, desk.policy(connection))
        kept = balances.of_ticket(connection, ticket.id)
    assert kept == (None if found.is_empty else Price(found.balance_minor, found.currency))
