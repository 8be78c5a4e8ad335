"""Every kind of data in every table has an end: a function that leaves nothing of it."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date, timedelta

import pytest
from sqlalchemy import Column, Connection, Table, select, update
from sqlalchemy.exc import DatabaseError

from notifications.tables import metadata as notifications_metadata
from portal.actions.desk import By, Desk
from portal.actions.handover import return_unrepaired
from portal.actions.intake import NewDevice, NewVisit, TakenIn, take_in
from portal.actions.notes import note
from portal.rules.categories import Category
from portal.store import purge, throttles, tickets
from portal.store.purge import NEVER, PURGES
from portal.store.tables import contacts, journal, metadata, numbers, policies, staff, visits
from portal.store.tables import tickets as tickets_table
from portal.store.tickets import Ticket
from tests.conftest import BENCH

TABLES = [*metadata.sorted_tables, *notifications_metadata.sorted_tables]


def ticket_of(desk: Desk, number: str) -> Ticket:
    with desk.reading() as connection:
        return tickets.by_number(connection, number)


def rows(connection: Connection, table: Table) -> list[tuple]:
    return [tuple(row) for row in connection.execute(select(table))]


def whole_database(connection: Connection) -> str:
    return "\n".join(repr(row) for table in TABLES for row in rows(connection, table))


@pytest.mark.parametrize("column", [column for table in TABLES for column in table.columns], ids=str)
def test_every_column_names_the_category_of_data_it_holds(column: Column) -> None:
    assert column.info.get("category") in list(Category)


@pytest.mark.parametrize("table", TABLES, ids=str)
def test_every_category_in_every_table_has_a_function_that_erases_it_or_a_reason_to_stay(table: Table) -> None:
    held = {Category(column.info["category"]) for column in table.columns} - {Category.NONE}

    if table.name in NEVER:
        assert NEVER[table.name]
        assert not held
    else:
        assert held, "a table that holds nothing of anybody stays: say why in NEVER"
        assert [category for category in held if (table.name, category) not in PURGES] == []


def test_no_function_is_named_for_what_is_not_there() -> None:
    known = {(table.name, Category(column.info["category"])) for table in TABLES for column in table.columns}

    assert set(PURGES) <= known
    assert set(NEVER) <= {table.name for table in TABLES}


def test_erasing_contacts_leaves_nothing_of_the_person(desk: Desk, taken_in: TakenIn, number: str) -> None:
    visit_id = ticket_of(desk, number).visit_id

    with desk.writing() as connection:
        purge.visit_contacts(connection, visit_id, "de")

    with desk.reading() as connection:
        left = whole_database(connection)
        assert connection.execute(select(visits.c.language)).scalars().all() == ["de"]
    assert not [trace for trace in ("Ada", "ada@", "7700900123") if trace in left]


def test_erasing_one_visits_contacts_leaves_anothers(desk: Desk, number: str) -> None:
    take_in(desk, BENCH, NewVisit([NewDevice("Phone", "Broken")], name="Bo"))

    with desk.writing() as connection:
        purge.visit_contacts(connection, ticket_of(desk, number).visit_id, "en")
        assert connection.execute(select(contacts.c.name)).scalars().all() == ["Bo"]


def test_erasing_the_device_leaves_nothing_of_it(desk: Desk, number: str) -> None:
    with desk.writing() as connection:
        purge.device_identity(connection, ticket_of(desk, number).id)

    with desk.reading() as connection:
        assert "Handheld" not in whole_database(connection)


def test_erasing_the_words_leaves_the_events(desk: Desk, number: str) -> None:
    note(desk, BENCH, number, "Corrosion under the shield")
    ticket = ticket_of(desk, number)
    with desk.writing() as connection:
        connection.execute(update(tickets_table).values(place="Shelf nine", needed_by=date(2026, 4, 1)))

        purge.record_words(connection, ticket.id)

    with desk.reading() as connection:
        left = whole_database(connection)
        assert connection.execute(select(journal.c.event).order_by(journal.c.entry)).scalars().all() == [
            "arrived",
            "noted",
        ]
    assert not [trace for trace in ("Corrosion", "Does not charge", "Shelf nine", "2026, 4, 1") if trace in left]


def test_erasing_a_record_takes_the_ticket_and_its_journal_but_its_number_stays_taken(desk: Desk, number: str) -> None:
    return_unrepaired(desk, BENCH, number, "No parts.")

    with desk.writing() as connection:
        purge.record(connection, ticket_of(desk, number).id)

    with desk.reading() as connection:
        assert rows(connection, tickets_table) == rows(connection, journal) == []
        assert rows(connection, numbers) == [(number,)]


def test_the_record_of_an_open_ticket_cannot_be_erased(desk: Desk, number: str) -> None:
    ticket = ticket_of(desk, number)

    with pytest.raises(DatabaseError, match="append-only"), desk.writing() as connection:
        purge.record(connection, ticket.id)
    assert ticket_of(desk, number) == ticket


def test_erasing_messages_takes_those_about_the_visit_and_its_tickets_and_no_others(desk: Desk, number: str) -> None:
    other = take_in(desk, BENCH, NewVisit([NewDevice("Phone", "Broken")], email="bo@example.org"))
    note(desk, BENCH, number, "Ready soon.", audience="customer")
    outbox = notifications_metadata.tables["outbox"]

    with desk.writing() as connection:
        erased = purge.messages(connection, ticket_of(desk, number).visit_id)
        left = connection.execute(select(outbox.c.reference)).scalars().all()

    assert erased == 2
    assert left == [other.visit_ref]


def test_a_visit_goes_with_its_contacts_once_its_last_ticket_is_gone(desk: Desk, number: str) -> None:
    ticket = ticket_of(desk, number)
    return_unrepaired(desk, BENCH, number, "No parts.")

    with desk.writing() as connection:
        assert not purge.visit(connection, ticket.visit_id)
        purge.record(connection, ticket.id)
        assert purge.visit(connection, ticket.visit_id)

    with desk.reading() as connection:
        assert rows(connection, visits) == rows(connection, contacts) == []


def test_a_former_staff_member_is_forgotten_while_the_journal_goes_on_naming_somebody(
    desk: Desk, number: str, technician: By
) -> None:
    note(desk, technician, number, "Opened it.")
    with desk.writing() as connection:
        connection.execute(update(policies).values(made_by=technician.staff_id))
        connection.execute(update(staff).values(disabled_at=desk.clock.now()))

        assert purge.staff_member(connection, technician.staff_id)

    with desk.reading() as connection:
        assert "Robin" not in whole_database(connection)
        assert connection.execute(select(policies.c.made_by)).scalar() is None
        assert connection.execute(select(journal.c.by_staff).where(journal.c.event == "noted")).scalar()


def test_a_staff_member_who_may_still_log_in_is_not_erased(desk: Desk, technician: By) -> None:
    with desk.writing() as connection:
        assert not purge.staff_member(connection, technician.staff_id)
        assert "Robin" in whole_database(connection)


def test_counts_of_tries_are_erased_when_they_no_longer_matter(desk: Desk) -> None:
    with desk.writing() as connection:
        throttles.hit(connection, "a" * 64, desk.clock.now(), 3, timedelta(minutes=10))
        throttles.hit(connection, "b" * 64, desk.clock.now() + timedelta(minutes=5), 3, timedelta(minutes=10))

        assert throttles.forget(connection, desk.clock.now() + timedelta(minutes=10)) == 1


@pytest.mark.parametrize("erase", [pytest.param(erase, id="{} {}".format(*what)) for what, erase in PURGES.items()])
def test_every_function_that_erases_says_what(erase: Callable[..., object]) -> None:
    assert erase.__doc__
