"""Opening the database: one place for the driver's settings, which hold durability and erasure.

On SQLite: WAL with `synchronous=FULL` keeps every commit through a power cut; `secure_delete=on` overwrites what is
deleted (`fast` was measured to leave 189 of 200 rows readable); a writing transaction begins IMMEDIATE, since a
deferred one that reads first fails at once when another writes, whatever the busy timeout.
"""

from __future__ import annotations

import sqlite3
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from sqlalchemy import Connection, Engine, create_engine, event, make_url

BUSY_MS = 10_000
# What every SQLite connection must answer; `doctor` shows the same table.
SQLITE_PRAGMAS: dict[str, object] = {
    "journal_mode": "wal",
    "synchronous": 2,  # FULL
    "secure_delete": 1,
    "foreign_keys": 1,
    "busy_timeout": BUSY_MS,
}


class UnsafeDatabase(RuntimeError):
    """The database did not take a setting that durability or erasure needs."""


def sqlite_url(file: Path) -> str:
    """The URL of a SQLite file."""
    return f"sqlite:///{file}"


def open_engine(url: str, *, durable: bool = True) -> Engine:
    """An engine whose every pooled connection has been checked. Raises UnsafeDatabase where a setting did not take.

    Not `durable` is only for what can be made anew.
    """
    parsed = make_url(url)
    if parsed.drivername == "postgresql":
        parsed = parsed.set(drivername="postgresql+psycopg")
    # `hide_parameters`: an error must not carry a customer’s details into a log.
    engine = create_engine(parsed, hide_parameters=True, pool_pre_ping=parsed.get_backend_name() == "postgresql")
    if engine.dialect.name == "sqlite":
        event.listen(engine, "connect", _prepare_sqlite if durable else _prepare_hasty_sqlite)
        event.listen(engine, "begin", _begin_sqlite)
    return engine


@contextmanager
def writing(engine: Engine) -> Iterator[Connection]:
    """One writing transaction. Never hold it across network input or output."""
    with engine.connect().execution_options(writing=True) as connection, connection.begin():
        yield connection


def empty_the_log(engine: Engine) -> bool:
    """Bring SQLite's write-ahead log into the database and cut it to nothing, so that nothing erased stays in it.

    False where a reader kept it from happening: it is tried again. PostgreSQL looks after its own log; the manual says
    what stays there.
    """
    if engine.dialect.name != "sqlite":
        return True
    with engine.connect() as connection:
        cursor = connection.connection.cursor()
        busy, _pages, _done = cursor.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchone()
        cursor.close()
    return not busy


def compact(engine: Engine) -> None:
    """Write SQLite's file anew, so that no free page holds what was in it. Needs as much room again, and waits."""
    if engine.dialect.name == "sqlite":
        with engine.connect() as connection:
            connection.connection.cursor().execute("VACUUM")


@contextmanager
def reading(engine: Engine) -> Iterator[Connection]:
    """One consistent view of the database."""
    with engine.connect() as connection, connection.begin():
        yield connection


def pragmas(connection: Connection) -> dict[str, object]:
    """What this SQLite connection answers for each pragma of SQLITE_PRAGMAS."""
    return {name: connection.exec_driver_sql(f"PRAGMA {name}").scalar() for name in SQLITE_PRAGMAS}


def _prepare_sqlite(driver_connection: Any, _record: Any) -> None:
    driver_connection.isolation_level = None  # transactions are ours to begin
    cursor = driver_connection.cursor()
    for name, wanted in SQLITE_PRAGMAS.items():
        _set(cursor, name, wanted)
        cursor.execute(f"PRAGMA {name}")
        answer = cursor.fetchone()[0]
        if answer != wanted:
            raise UnsafeDatabase(f"SQLite answers {name} = {answer!r}, needed is {wanted!r}.")
    cursor.close()


def _set(cursor: Any, name: str, wanted: object) -> None:
    """Where several bring a new file to WAL at once, SQLite refuses all but one without waiting; so we wait here."""
    ends = time.monotonic() + BUSY_MS / 1000
    while True:
        try:
            cursor.execute(f"PRAGMA {name} = {wanted}")
            return
        except sqlite3.OperationalError:
            if time.monotonic() > ends:
                raise
            time.sleep(0.01)


def _prepare_hasty_sqlite(driver_connection: Any, record: Any) -> None:
    _prepare_sqlite(driver_connection, record)
    driver_connection.execute("PRAGMA synchronous = OFF")


def _begin_sqlite(connection: Connection) -> None:
    writes = connection.get_execution_options().get("writing", False)
    # Straight to the driver: by way of SQLAlchemy it costs a customer's page a tenth of its reading.
    connection.connection.cursor().execute("BEGIN IMMEDIATE" if writes else "BEGIN")
