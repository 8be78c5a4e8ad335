"""The schema says no: what the tables refuse, and that migrations make exactly those tables, on both databases."""

from __future__ import annotations

from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, datetime, timedelta, timezone
from pathlib import Path
from random import Random
from threading import Barrier

import pytest
from alembic import command
from alembic.autogenerate import compare_metadata
from alembic.migration import MigrationContext
from alembic.script import ScriptDirectory
from sqlalchemy import CheckConstraint, Engine, func, inspect, select, update
from sqlalchemy.exc import IntegrityError, StatementError

from notifications.instants import FixedClock
from notifications.tables import metadata as notifications_metadata
from notifications.tables import outbox
from portal.actions import publication, retention
from portal.actions.desk import CUSTOMER, Desk
from portal.actions.intake import TakenIn
from portal.links import Links
from portal.rules.retention import OF_A_VISIT, Kept
from portal.store import keeping, schema
from portal.store.engine import open_engine, reading, sqlite_url, writing
from portal.store.photo_files import PhotoFiles
from portal.store.publication_tables import publication_consents
from portal.store.tables import contacts, journal, metadata, numbers, staff, tickets, visits
from tests.conftest import load_default_policy
from tests.databases import Postgres


@pytest.fixture(params=["sqlite", pytest.param("postgresql", marks=pytest.mark.postgres)])
def empty_url(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[str]:
    """The URL of a database without any table."""
    if request.param == "sqlite":
        yield sqlite_url(tmp_path / "empty.db")
        return
    server: Postgres = request.getfixturevalue("postgres")
    name = server.new_database()
    yield server.url(name)
    server.drop(name)


def test_migrations_make_exactly_the_tables_that_the_program_knows(engine: Engine) -> None:
    with engine.connect() as connection, connection.begin():
        context = MigrationContext.configure(
            connection, opts={"compare_type": True, "target_metadata": [metadata, notifications_metadata]}
        )
        assert compare_metadata(context, [metadata, notifications_metadata]) == []


def test_checks_of_the_tables_stand_in_the_database(engine: Engine) -> None:
    """Comparing metadata does not see CHECK constraints, so their names are compared here."""
    for table in [*metadata.sorted_tables, *notifications_metadata.sorted_tables]:
        wanted = {str(check.name) for check in table.constraints if isinstance(check, CheckConstraint)}
        found = {check["name"] for check in inspect(engine).get_check_constraints(table.name)}
        assert found == wanted, table.name


def test_what_hangs_on_a_row_that_goes_is_found_without_looking_at_every_other(engine: Engine) -> None:
    """Else erasing one visit takes the longer, the more there are. People of the staff are never deleted."""
    looked_up = inspect(engine)
    slow = []
    for table in metadata.sorted_tables:
        firsts = {index["column_names"][0] for index in looked_up.get_indexes(table.name)}
        firsts |= {unique["column_names"][0] for unique in looked_up.get_unique_constraints(table.name)}
        firsts |= set(looked_up.get_pk_constraint(table.name)["constrained_columns"][:1])
        slow += [
            f"{table.name}.{column.name}"
            for column in table.columns
            for key in column.foreign_keys
            if key.ondelete and key.column.table is not staff and column.name not in firsts
        ]
    assert slow == []


def test_the_history_has_one_head() -> None:
    assert len(ScriptDirectory.from_config(schema.config()).get_heads()) == 1


def test_two_processes_that_start_at_once_bring_the_database_up_to_date_once(empty_url: str) -> None:
    together = Barrier(2)

    def start(_place: int) -> bool:
        engine = open_engine(empty_url)
        together.wait()
        schema.upgrade(engine)
        behind = schema.pending(engine)
        engine.dispose()
        return behind

    with ThreadPoolExecutor(2) as pool:
        assert list(pool.map(start, range(2))) == [False, False]


def test_a_database_that_is_up_to_date_is_not_written_to(engine: Engine) -> None:
    assert not schema.pending(engine)
    with writing(engine):  # nobody else could write now
        schema.upgrade(engine)


def test_an_empty_database_is_behind_until_it_is_brought_up_to_date(empty_url: str) -> None:
    engine = open_engine(empty_url)
    assert schema.pending(engine)

    schema.upgrade(engine)

    assert not schema.pending(engine)
    engine.dispose()


@pytest.mark.parametrize(
    ("table", "values"),
    [
        pytest.param(tickets, {"hold": "lunch", "hold_since": "now"}, id="an unknown hold"),
        pytest.param(tickets, {"hold": "part"}, id="a hold without its time"),
        pytest.param(tickets, {"hold_since": "now"}, id="a hold's time without a hold"),
        pytest.param(tickets, {"ending": "lost", "ended_at": "now"}, id="an unknown ending"),
        pytest.param(tickets, {"ending": "collected"}, id="an ending without its time"),
        pytest.param(tickets, {"ended_at": "now"}, id="an ending's time without an ending"),
        pytest.param(
            tickets,
            {"ending": "collected", "ended_at": "now", "hold": "part", "hold_since": "now"},
            id="an ended ticket on hold",
        ),
        pytest.param(tickets, {"device": None}, id="no device"),
        pytest.param(tickets, {"visit_id": 999}, id="a visit that is not there"),
        pytest.param(tickets, {"number": "99999"}, id="a number that was never given"),
        pytest.param(contacts, {"role": "neighbour"}, id="an unknown role"),
        pytest.param(contacts, {"visit_id": 999}, id="a contact of no visit"),
        pytest.param(staff, {"role": "boss"}, id="an unknown role of staff"),
        pytest.param(outbox, {"state": "lost"}, id="an unknown state of a message"),
        pytest.param(outbox, {"state": "claimed"}, id="a claim without a lease"),
        pytest.param(outbox, {"lease": "x"}, id="a lease without a claim"),
    ],
)
def test_the_database_refuses(desk: Desk, taken_in: TakenIn, technician, table, values: dict[str, object]) -> None:
    moments = {name: desk.clock.now() if value == "now" else value for name, value in values.items()}

    with pytest.raises(IntegrityError), desk.writing() as connection:
        connection.execute(update(table).values(**moments))


@pytest.mark.parametrize(
    "values",
    [
        pytest.param({"by_kind": "ghost"}, id="an unknown doer"),
        pytest.param({"by_kind": "staff"}, id="staff without a name"),
        pytest.param({"by_staff": 1}, id="a name without staff"),
        pytest.param({"audience": "public"}, id="an unknown audience"),
        pytest.param({"entry": 1}, id="an entry's place taken twice"),
        pytest.param({"ticket_id": 999}, id="an entry of no ticket"),
        pytest.param({"deed_key": "once"}, id="a form's key used twice"),
    ],
)
def test_the_journal_refuses(desk: Desk, number: str, technician, values: dict[str, object]) -> None:
    with desk.reading() as connection:
        ticket_id = connection.execute(select(tickets.c.id)).scalar_one()
    entry = {
        "ticket_id": ticket_id,
        "at": desk.clock.now(),
        "by_kind": "command",
        "event": "noted",
        "data": {},
        "audience": "bench",
    }
    with desk.writing() as connection:
        connection.execute(journal.insert().values(**entry, entry=2, deed_key="once"))

    with pytest.raises(IntegrityError), desk.writing() as connection:
        connection.execute(journal.insert().values(**({"entry": 3} | entry | values)))


@pytest.mark.parametrize("table", [visits, tickets, contacts], ids=str)
def test_a_public_id_stands_once(desk: Desk, taken_in: TakenIn, table) -> None:
    with desk.writing() as connection:
        row = dict(connection.execute(select(table)).mappings().one())
        others = {"id": 99, "visit_id": row.get("visit_id"), "number": "5724", "role": "second"}
        connection.execute(numbers.insert().values(number="5724"))
        copy = row | {name: value for name, value in others.items() if name in row}

    with pytest.raises(IntegrityError), desk.writing() as connection:
        connection.execute(table.insert().values(**copy))


def test_a_moment_without_a_zone_is_not_stored(desk: Desk, taken_in: TakenIn) -> None:
    naive = desk.clock.now().replace(tzinfo=None)

    with pytest.raises(StatementError, match="has no time zone"), desk.writing() as connection:
        connection.execute(update(tickets).values(stage_since=naive))


def test_a_moment_comes_back_as_utc_to_the_microsecond_whatever_zone_it_was_given_in(desk: Desk, number: str) -> None:
    moment = desk.clock.now().replace(microsecond=123456).astimezone(timezone(timedelta(hours=-3, minutes=-30)))
    with desk.writing() as connection:
        connection.execute(update(tickets).values(stage_since=moment))
        read = connection.execute(select(tickets.c.stage_since)).scalar_one()

    assert read == moment
    assert read.tzinfo is UTC


def test_the_periods_of_visits_that_ended_before_there_was_a_purge_begin(empty_url: str) -> None:
    engine = open_engine(empty_url)
    with writing(engine) as connection:
        command.upgrade(schema.config(connection), "0002")
        left, over = "2026-01-05T09:00:00.000000+00:00", "2026-04-05T23:00:00.000000+00:00"
        for statement in (
            "INSERT INTO visits (id, ref, language, made_at, link_ends_at) "
            f"VALUES (1, 'OVER', 'en', '{left}', '{over}'), (2, 'HERE', 'en', '{left}', NULL)",
            "INSERT INTO numbers (number) VALUES ('47118'), ('47126')",
            "INSERT INTO tickets (id, ref, number, visit_id, kind, device, fault, stage, stage_since, ending, ended_at,"
            " revision, made_at) VALUES "
            f"(1, 'A', '47118', 1, 'other', '', '', 'ready', '{left}', 'collected', '{left}', 1, '{left}'), "
            f"(2, 'B', '47126', 2, 'other', '', '', 'ready', '{left}', NULL, NULL, 1, '{left}')",
        ):
            connection.exec_driver_sql(statement)

    schema.upgrade(engine)

    with reading(engine) as connection:
        begun, none = keeping.of_visit(connection, 1), keeping.of_visit(connection, 2)
    engine.dispose()
    assert begun[Kept.CONTACT] == datetime(2026, 4, 5, 23, tzinfo=UTC)
    assert begun[Kept.MONEY] == datetime(2026, 1, 5, 9, tzinfo=UTC)
    assert set(begun) == set(OF_A_VISIT)
    assert none == {}


def test_kinds_of_data_that_came_later_begin_with_the_end_of_a_visits_last_ticket(
    empty_url: str, tmp_path: Path
) -> None:
    """So a consent to publish that is given after the upgrade, for a device that left before it, goes as well."""
    engine = open_engine(empty_url)
    early, late = "2026-01-05T09:00:00.000000+00:00", "2026-01-12T09:00:00.000000+00:00"
    with writing(engine) as connection:
        command.upgrade(schema.config(connection), "0005")
        for statement in (
            "INSERT INTO visits (id, ref, language, made_at, link_ends_at) "
            f"VALUES (1, 'LEFT', 'en', '{early}', '{early}'), (2, 'HERE', 'en', '{early}', NULL)",
            "INSERT INTO numbers (number) VALUES ('47118'), ('47126'), ('47134')",
            "INSERT INTO tickets (id, ref, number, visit_id, kind, device, fault, stage, stage_since, ending, ended_at,"
            " revision, made_at) VALUES "
            f"(1, 'A', '47118', 1, 'other', '', '', 'ready', '{early}', 'collected', '{early}', 1, '{early}'), "
            f"(2, 'B', '47126', 1, 'other', '', '', 'ready', '{early}', 'collected', '{late}', 1, '{early}'), "
            f"(3, 'C', '47134', 2, 'other', '', '', 'ready', '{early}', NULL, NULL, 1, '{early}')",
            # All but these has gone already.
            f"INSERT INTO keeping (visit_id, kept, since) VALUES (1, 'money', '{late}'), (1, 'approval', '{late}')",
        ):
            connection.exec_driver_sql(statement)
    schema.upgrade(engine)
    desk = Desk(
        engine, FixedClock(datetime(2026, 1, 20, 9, tzinfo=UTC)), Links("https://b.example", b"s" * 32), Random()
    )
    load_default_policy(desk)

    with reading(engine) as connection:
        begun, none = keeping.of_visit(connection, 1), keeping.of_visit(connection, 2)
    publication.allow(desk, CUSTOMER, "47118")
    two_years = datetime(2028, 1, 12, 9, tzinfo=UTC)
    photos = PhotoFiles(str(tmp_path / "photos"))
    counts = []
    for moment in (two_years - timedelta(days=1), two_years + timedelta(days=1)):
        retention.apply(desk, photos, moment)
        with reading(engine) as connection:
            counts.append(connection.execute(select(func.count()).select_from(publication_consents)).scalar_one())
    engine.dispose()

    assert set(begun) == {Kept.MONEY, Kept.APPROVAL, Kept.PUBLICATION, Kept.PUSH}
    assert begun[Kept.PUBLICATION] == datetime(2026, 1, 12, 9, tzinfo=UTC)
    assert none == {}
    assert counts == [1, 0]
