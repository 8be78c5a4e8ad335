"""Residue on PostgreSQL: after the manual's own recipe no mark of an ended life is in any of the server's files.

GDPR (EU) 2016/679 Art. 5(1)(e). A server of the test's own, since the marks of others would be found too; the search is
the script that imports nothing of ours, and the recipe is read out of the manual.
"""

from __future__ import annotations

import re
import subprocess
import sys
from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path

import pytest
from sqlalchemy import create_engine

from notifications.instants import FixedClock
from portal.main import Installation, open_installation
from tests.conftest import BASE_URL, MONDAY, SECRET, load_default_policy
from tests.databases import NoPostgres, Postgres, start_postgres
from tests.faults.test_residue import MARKS, PHONE, SCRIPT, a_whole_life, empty_mailbox

MANUAL = Path(__file__).parents[2] / "portal" / "manual" / "backups.md"
pytestmark = pytest.mark.postgres


@pytest.fixture
def server() -> Iterator[Postgres]:
    try:
        server = start_postgres()
    except NoPostgres as missing:
        pytest.skip(str(missing))
    manage(server, "postgres", "ALTER SYSTEM SET wal_recycle = off", "SELECT pg_reload_conf()")
    yield server
    server.stop()


@pytest.fixture
def database(server: Postgres) -> str:
    return server.new_database()


@pytest.fixture
def house(server: Postgres, database: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Installation]:
    monkeypatch.setenv("BENCHWINDOW_SECRET_KEY", SECRET.hex())
    monkeypatch.setenv("BENCHWINDOW_BASE_URL", BASE_URL)
    monkeypatch.setenv("BENCHWINDOW_DATABASE_URL", server.url(database))
    house = open_installation(tmp_path, clock=FixedClock(MONDAY))
    load_default_policy(house.desk)
    yield house
    house.engine.dispose()


def manage(server: Postgres, database: str, *statements: str) -> None:
    """Run statements one by one, as psql does."""
    url = server.url(database).replace("postgresql:", "postgresql+psycopg:")
    engine = create_engine(url, isolation_level="AUTOCOMMIT")
    with engine.connect() as connection:
        for statement in statements:
            connection.exec_driver_sql(statement)
    engine.dispose()


def recipe() -> list[str]:
    """The statements that the manual tells a keeper to run."""
    section = MANUAL.read_text(encoding="utf-8").partition("## PostgreSQL")[2]
    block = re.search(r"```\n(.*?)```", section, re.DOTALL)
    assert block
    assert "wal_recycle = off" in section
    return [statement.strip() for statement in block[1].split(";") if statement.strip()]


def finds(server: Postgres) -> list[str]:
    marks = [*MARKS.values(), PHONE]
    ran = subprocess.run([sys.executable, SCRIPT, server.folder, *marks], capture_output=True, text=True, check=False)
    assert ran.stderr == ""
    return ran.stdout.splitlines()


def test_after_the_recipe_no_mark_is_in_any_of_its_files(
    house: Installation, server: Postgres, database: str, tmp_path: Path
) -> None:
    a_whole_life(house)
    empty_mailbox(house)
    manage(server, database, "ANALYZE", "CHECKPOINT")  # so that statistics hold copies too
    house.engine.dispose()
    later = (MONDAY + timedelta(days=70)).isoformat()
    command = [sys.executable, "-m", "portal", "--data", str(tmp_path), "retention", "--at", later, "--apply"]
    subprocess.run(command, check=True, capture_output=True)

    found = finds(server)
    assert {mark for mark in MARKS.values() if any(mark in line for line in found)} >= {MARKS["name"], MARKS["note"]}
    manage(server, database, *recipe())

    assert finds(server) == []
