"""Opening the database: every connection of the pool is as durable and as forgetful as it must be."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from contextlib import ExitStack
from pathlib import Path
from threading import Barrier

import pytest
from sqlalchemy import Engine, func, insert, select, update
from sqlalchemy.exc import OperationalError

from portal.store import engine as opening
from portal.store.engine import (
    BUSY_MS,
    SQLITE_PRAGMAS,
    UnsafeDatabase,
    open_engine,
    pragmas,
    reading,
    sqlite_url,
    writing,
)
from portal.store.tables import numbers, throttles
from tests.conftest import MONDAY


@pytest.fixture
def sqlite_engine(sqlite_database: str):
    engine = open_engine(sqlite_database)
    yield engine
    engine.dispose()


def test_every_connection_of_the_pool_answers_as_durability_and_erasure_need(sqlite_engine: Engine) -> None:
    with ExitStack() as stack:
        connections = [stack.enter_context(sqlite_engine.connect()) for _ in range(8)]
        answers = [pragmas(connection) for connection in connections]

    assert answers == [SQLITE_PRAGMAS] * 8
    assert SQLITE_PRAGMAS == {
        "journal_mode": "wal",
        "synchronous": 2,  # FULL: sqlite.org/pragma.html#pragma_synchronous
        "secure_delete": 1,
        "foreign_keys": 1,
        "busy_timeout": BUSY_MS,
    }


def test_several_that_open_a_new_file_at_once_all_come_in(tmp_path: Path) -> None:
    """SQLite refuses all but one of those that turn on WAL together, at once and whatever the busy timeout."""

    def come_in(file: Path, together: Barrier) -> int:
        engine = open_engine(sqlite_url(file))
        together.wait()
        with engine.connect() as connection:
            answer = pragmas(connection)["busy_timeout"]
        engine.dispose()
        return answer

    with ThreadPoolExecutor(4) as pool:
        for place in range(40):
            together = Barrier(4)
            files = [tmp_path / f"{place}.db"] * 4
            assert list(pool.map(come_in, files, [together] * 4)) == [BUSY_MS] * 4


def test_a_connection_that_does_not_take_a_setting_is_not_used(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """For example WAL on a network file system, or a SQLite built without foreign keys."""
    monkeypatch.setitem(opening.SQLITE_PRAGMAS, "page_size", 12345)  # no power of two, so SQLite keeps its own

    engine = open_engine(sqlite_url(tmp_path / "unsafe.db"))
    with pytest.raises(UnsafeDatabase, match="SQLite answers page_size"):
        engine.connect()
    engine.dispose()


def test_what_fails_halfway_leaves_nothing(engine: Engine) -> None:
    def write_and_fail() -> None:
        with writing(engine) as connection:
            connection.execute(insert(numbers), {"number": "5724"})
            raise RuntimeError("halfway")

    with pytest.raises(RuntimeError, match="halfway"):
        write_and_fail()

    with reading(engine) as connection:
        assert connection.execute(select(func.count()).select_from(numbers)).scalar() == 0


def test_what_was_committed_is_seen_by_every_other_connection(engine: Engine) -> None:
    with writing(engine) as connection:
        connection.execute(insert(numbers), {"number": "5724"})

    with reading(engine) as first, reading(engine) as second:
        assert [view.execute(select(numbers.c.number)).scalar() for view in (first, second)] == ["5724", "5724"]


def test_a_reader_keeps_its_view_while_another_writes(sqlite_engine: Engine) -> None:
    with reading(sqlite_engine) as view:
        assert view.execute(select(func.count()).select_from(numbers)).scalar() == 0
        with writing(sqlite_engine) as connection:
            connection.execute(insert(numbers), {"number": "5724"})
        assert view.execute(select(func.count()).select_from(numbers)).scalar() == 0


def test_four_who_read_and_then_write_at_once_all_get_through_on_sqlite(sqlite_engine: Engine) -> None:
    """Each adds one to the same count, 25 times. Begun deferred, most would fail at once: see the next test."""
    with writing(sqlite_engine) as connection:
        values = {"key": "k", "tries": 0, "tried_at": MONDAY, "until": MONDAY}
        connection.execute(insert(throttles), values)
    together = Barrier(4)

    def add_one_25_times(_place: int) -> None:
        together.wait()
        for _ in range(25):
            with writing(sqlite_engine) as connection:
                tries = connection.execute(select(throttles.c.tries)).scalar_one()
                connection.execute(update(throttles).values(tries=tries + 1))

    with ThreadPoolExecutor(4) as pool:
        list(pool.map(add_one_25_times, range(4)))

    with reading(sqlite_engine) as connection:
        assert connection.execute(select(throttles.c.tries)).scalar_one() == 100


def test_one_who_reads_first_and_begins_to_write_later_fails_on_sqlite(sqlite_engine: Engine) -> None:
    """Why writing begins IMMEDIATE: no busy timeout helps a stale view (sqlite.org/rescode.html#busy_snapshot)."""
    with reading(sqlite_engine) as late:
        late.execute(select(numbers.c.number)).all()
        with writing(sqlite_engine) as connection:
            connection.execute(insert(numbers), {"number": "5724"})

        with pytest.raises(OperationalError, match="locked"):
            late.execute(insert(numbers), {"number": "0000"})
