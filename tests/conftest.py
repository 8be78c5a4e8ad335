"""What every test may ask for: a clock, a desk on a fresh database of each kind, a device that was just taken in."""

from __future__ import annotations

import io
import shutil
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path
from random import Random

import pytest
from hypothesis import settings
from sqlalchemy import Engine, insert

from notifications.instants import FixedClock
from portal import cli, resources
from portal.actions.desk import By, Desk
from portal.actions.intake import NewDevice, NewVisit, TakenIn, take_in
from portal.links import Links
from portal.main import Installation, open_installation
from portal.settings import PREFIX, TABLE
from portal.store import policies
from portal.store.engine import open_engine, sqlite_url
from portal.store.tables import staff
from tests.databases import NoPostgres, Postgres, make_postgres_database, make_sqlite_template, start_postgres
from tests.s3_peer import BUCKET, Peer, serving

settings.register_profile("bench", deadline=None)  # a slow machine is no fault of the rules
settings.load_profile("bench")

MONDAY = datetime(2026, 3, 2, 9, 0, tzinfo=UTC)
SECRET = bytes(range(32))
BASE_URL = "http://bench.test"
BENCH = By("command")


def pytest_addoption(parser: pytest.Parser) -> None:
    parser.addoption("--nothing-skipped", action="store_true", help="count every skipped test as failed")


@pytest.hookimpl(wrapper=True)
def pytest_runtest_makereport(item: pytest.Item) -> Iterator[None]:
    return _unskipped(item.config, (yield))


@pytest.hookimpl(wrapper=True)
def pytest_make_collect_report(collector: pytest.Collector) -> Iterator[None]:
    return _unskipped(collector.config, (yield))


def _unskipped(config: pytest.Config, report):
    if report.skipped and not hasattr(report, "wasxfail") and config.getoption("--nothing-skipped"):
        reason = report.longrepr[2] if isinstance(report.longrepr, tuple) else report.longrepr
        report.outcome = "failed"
        report.longrepr = f"Nothing may be skipped, but this was. {reason}"
    return report


@pytest.fixture(scope="session")
def postgres() -> Iterator[Postgres]:
    """The suite's own PostgreSQL, one a worker."""
    try:
        server = start_postgres()
    except NoPostgres as missing:
        pytest.skip(str(missing))
    yield server
    server.stop()


@pytest.fixture(scope="session")
def chromium() -> str:
    """Debian's Chromium."""
    program = shutil.which("chromium")
    if program is None:
        pytest.skip("there is no chromium on the path (Debian: apt-get install chromium)")
    return program


@pytest.fixture(scope="session")
def sqlite_template(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A migrated SQLite file to copy."""
    file = tmp_path_factory.mktemp("template") / "template.db"
    make_sqlite_template(file)
    return file


@pytest.fixture(scope="session")
def shared_postgres_database(postgres: Postgres) -> str:
    """The name of a migrated PostgreSQL database that one test after the other empties and uses."""
    return make_postgres_database(postgres)


@pytest.fixture
def sqlite_database(sqlite_template: Path, tmp_path: Path) -> str:
    """The URL of a fresh, migrated, empty SQLite file."""
    file = tmp_path / "benchwindow.db"
    shutil.copyfile(sqlite_template, file)
    return sqlite_url(file)


@pytest.fixture
def postgres_database(postgres: Postgres, shared_postgres_database: str) -> str:
    """The URL of a migrated, empty PostgreSQL database. A test that changes the schema makes one of its own."""
    postgres.empty(shared_postgres_database)
    return postgres.url(shared_postgres_database)


@pytest.fixture(params=["sqlite", pytest.param("postgresql", marks=pytest.mark.postgres)])
def database_url(request: pytest.FixtureRequest) -> str:
    """The URL of a fresh, migrated, empty database, of one kind and then of the other."""
    fixture = "sqlite_database" if request.param == "sqlite" else "postgres_database"
    return request.getfixturevalue(fixture)


@pytest.fixture
def engine(database_url: str) -> Iterator[Engine]:
    """The database opened as the site opens it. A connection that a test leaves open fails the test."""
    engine = open_engine(database_url)
    yield engine
    left_open = engine.pool.checkedout()
    engine.dispose()
    assert left_open == 0, f"{left_open} connections were left open"


@pytest.fixture(scope="session")
def s3_server() -> Iterator[Peer]:
    """A server that speaks S3, one a worker."""
    with serving() as peer:
        yield peer


@pytest.fixture
def s3_url(s3_server: Peer, monkeypatch: pytest.MonkeyPatch) -> str:
    """The address of an empty photo store on it; the environment says how it is spoken to."""
    for name, value in s3_server.environment.items():
        monkeypatch.setenv(name, value)
    s3_server.empty()
    return f"s3://{BUCKET}/photos"


@pytest.fixture
def clock() -> FixedClock:
    """A clock that stands at nine on a Monday morning until a test sets it."""
    return FixedClock(MONDAY)


@pytest.fixture
def chooser() -> Random:
    """The same ids and numbers each time."""
    return Random(4711)


@pytest.fixture
def desk(engine: Engine, clock: FixedClock, chooser: Random) -> Desk:
    """A desk with the default policy, on each kind of database."""
    desk = Desk(engine, clock, Links(BASE_URL, SECRET), chooser)
    load_default_policy(desk)
    return desk


@pytest.fixture
def installation(database_url: str, clock: FixedClock, chooser: Random, tmp_path: Path) -> Iterator[Installation]:
    """A whole installation with its data folder, on each kind of database."""
    with opened(database_url, tmp_path, clock, chooser) as house:
        yield house


@contextmanager
def opened(database_url: str, folder: Path, clock: FixedClock, chooser: Random, **more: str) -> Iterator[Installation]:
    """An installation as `portal.main` puts it together, with the default policy; `more` are settings by name."""
    settings = {"DATABASE_URL": database_url, "BASE_URL": BASE_URL, "SECRET_KEY": SECRET.hex()} | more
    environment = {PREFIX + name: value for name, value in settings.items()}
    house = open_installation(folder, clock=clock, chooser=chooser, environment=environment)
    load_default_policy(house.desk)
    yield house
    house.engine.dispose()


def load_default_policy(desk: Desk) -> None:
    """Make the default policy revision 1, where there is no policy yet."""
    with desk.writing() as connection:
        if not policies.newest(connection):
            document = resources.default_policy().read_text(encoding="utf-8")
            policies.add(connection, document, desk.clock.now(), None)


@pytest.fixture
def arrival() -> NewVisit:
    """What is typed at the counter when a games console is handed in."""
    return NewVisit(
        devices=[NewDevice("Handheld console, blue", "Does not charge. Was dropped last week.", "console")],
        name="Ada Marsh",
        email="ada@example.org",
        phone="07700 900123",
    )


@pytest.fixture
def taken_in(desk: Desk, arrival: NewVisit) -> TakenIn:
    """A games console that was just taken in over the counter."""
    return take_in(desk, BENCH, arrival)


@pytest.fixture
def number(taken_in: TakenIn) -> str:
    """The number of the ticket that was just taken in."""
    return taken_in.numbers[0]


@pytest.fixture
def add_staff(desk: Desk) -> Callable[[str, str], By]:
    """Adds somebody to the staff by name and role. Their password hash matches no password."""

    def add(name: str, role: str) -> By:
        values = {"name": name, "role": role, "password_hash": "!", "made_at": desk.clock.now()}
        with desk.writing() as connection:
            key = connection.execute(insert(staff), values).inserted_primary_key
        assert key is not None
        return By("staff", key[0])

    return add


@pytest.fixture
def technician(add_staff: Callable[[str, str], By]) -> By:
    """A technician at the bench."""
    return add_staff("Robin", "bench")


@pytest.fixture
def keeper(add_staff: Callable[[str, str], By]) -> By:
    """The shop's keeper."""
    return add_staff("Kim", "keeper")


Answer = tuple[int, str, str]  # status, stdout, stderr
Run = Callable[..., Answer]


@pytest.fixture
def run(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Run:
    """Runs the command on a data folder of its own: (status, stdout, stderr)."""
    for name in TABLE:
        monkeypatch.delenv(PREFIX + name, raising=False)
    monkeypatch.setenv(PREFIX + "DATA", str(tmp_path / "shop"))

    def run(*arguments: str, stdin: str = "") -> Answer:
        monkeypatch.setattr(sys, "stdin", io.StringIO(stdin))
        try:
            status = cli.main(arguments)
        except SystemExit as ended:
            status = int(ended.code or 0)
        said = capsys.readouterr()
        return status, said.out, said.err

    return run


@pytest.fixture
def shop(run: Run) -> Run:
    """The same, with a shop in the folder."""
    status, _out, err = run("init")
    assert (status, err) == (0, "")
    return run
