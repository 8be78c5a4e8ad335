"""The clock: it ticks in UTC, misses nothing, survives what its sweeps do, hears of jumps, and stops when asked."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path
from threading import Event, Thread

import pytest
from apscheduler.jobstores.memory import MemoryJobStore
from apscheduler.triggers.interval import IntervalTrigger
from sqlalchemy import Engine, text
from sqlalchemy.exc import DBAPIError

from notifications import clock as ticking
from notifications.clock import Watch
from notifications.instants import FixedClock, SystemClock
from notifications.sweeps import Registry, Sweep, Tally
from portal.store.engine import open_engine, reading, sqlite_url, writing

SOON = timedelta(seconds=1)
PATIENCE = 30.0  # seconds until a test gives up; what it waits for comes far sooner


def ticking_until(registry: Registry, done: Event) -> None:
    """Let a clock tick until `done` is set; then stop it."""
    stopping = Event()
    thread = Thread(target=ticking.tick, args=(registry, SystemClock(), stopping))
    thread.start()
    came = done.wait(PATIENCE)
    stopping.set()
    thread.join(PATIENCE)
    assert came
    assert not thread.is_alive()


def test_every_sweep_is_one_job_in_memory_by_interval_in_utc(engine: Engine):
    registry = Registry(
        [Sweep("send", lambda _now: Tally(), every=timedelta(seconds=5))],
        lambda: writing(engine),
        lambda: reading(engine),
    )
    made = ticking.scheduler(registry, SystemClock())

    (job,) = made.get_jobs()
    assert made.timezone is UTC
    assert isinstance(job.trigger, IntervalTrigger)
    assert job.trigger.interval == timedelta(seconds=5)
    made._configure({})
    assert ticking.DEFAULTS == {"misfire_grace_time": None, "coalesce": True, "max_instances": 1}
    assert isinstance(made._create_default_jobstore(), MemoryJobStore)


def test_the_clock_ticks_at_once_and_leaves_a_heartbeat(engine: Engine):
    done = Event()
    registry = Registry(
        [Sweep("send", lambda _now: (done.set(), Tally())[1], every=SOON)],
        lambda: writing(engine),
        lambda: reading(engine),
    )

    ticking_until(registry, done)

    assert "send" in registry.beats()


def test_the_clock_goes_on_after_a_sweep_broke(engine: Engine):
    done, tries = Event(), []

    def breaks_first(_now: datetime) -> Tally:
        tries.append(1)
        if len(tries) == 1:
            raise RuntimeError
        done.set()
        return Tally()

    ticking_until(
        Registry([Sweep("send", breaks_first, every=SOON)], lambda: writing(engine), lambda: reading(engine)), done
    )


def test_the_clock_survives_a_database_that_goes_away_and_comes_back(tmp_path: Path):
    engine = open_engine(sqlite_url(tmp_path / "shop.db"))
    ticking_through_an_outage(
        engine,
        away=lambda connection: connection.execute(text("ALTER TABLE heartbeats RENAME TO gone")),
        back=lambda connection: connection.execute(text("ALTER TABLE gone RENAME TO heartbeats")),
    )


@pytest.mark.postgres
def test_the_clock_survives_a_postgresql_that_ends_all_its_connections(postgres_database: str):
    engine = open_engine(postgres_database)
    others = text(
        "SELECT pg_terminate_backend(pid) FROM pg_stat_activity WHERE pid <> pg_backend_pid()"
        " AND datname = current_database()"
    )
    ticking_through_an_outage(engine, away=lambda connection: connection.execute(others), back=lambda _connection: None)


def ticking_through_an_outage(engine: Engine, away: Callable, back: Callable) -> None:
    """Take the database away in the first tick; it comes back in the second; the third finds all well."""
    from notifications.tables import metadata

    metadata.create_all(engine)
    ticks, done = [], Event()

    def sweep(_now: datetime) -> Tally:
        ticks.append(1)
        if len(ticks) <= 2:
            with writing(engine) as connection:
                (away if len(ticks) == 1 else back)(connection)
        return Tally(looked_at=len(ticks))

    registry = Registry([Sweep("send", sweep, every=SOON)], lambda: writing(engine), lambda: reading(engine))

    def beat(now: datetime) -> Tally:
        try:
            if len(ticks) > 2 and "send" in registry.beats():
                done.set()
        except DBAPIError:
            pass
        return Tally()

    registry.sweeps = (*registry.sweeps, Sweep("look", beat, every=SOON))
    ticking_until(registry, done)
    engine.dispose()


# Jumps


class Steady:
    """A clock that only goes forward."""

    def __init__(self) -> None:
        self.seconds = 1000.0

    def __call__(self) -> float:
        return self.seconds


@pytest.mark.parametrize("hours", [-1, 1, 24 * 3650])
def test_a_jump_is_the_difference_between_the_wall_and_a_steady_clock(clock: FixedClock, hours: int):
    steady = Steady()
    watch = Watch(clock.now, steady)
    clock.at += timedelta(hours=hours, seconds=5)
    steady.seconds += 5

    assert watch.jump() == timedelta(hours=hours)
    assert watch.jump() == timedelta(0)


@pytest.mark.parametrize("night", ["2026-03-29", "2026-10-25"])
def test_a_clock_change_night_is_no_jump(night: str):
    clock, steady = FixedClock(datetime.fromisoformat(f"{night}T00:59:58+00:00")), Steady()
    watch = Watch(clock.now, steady)
    clock.at += timedelta(seconds=5)
    steady.seconds += 5

    assert watch.jump() == timedelta(0)


def test_after_a_clock_was_set_back_the_sweeps_run_at_once_not_when_the_old_time_comes_again(
    engine: Engine, clock: FixedClock
):
    registry = Registry([Sweep("send", lambda _now: Tally())], lambda: writing(engine), lambda: reading(engine))
    made = ticking.scheduler(registry, SystemClock())
    made.get_jobs()[0].modify(next_run_time=datetime.now(UTC) + timedelta(hours=1))
    watch = Watch(clock.now, Steady())
    clock.at -= timedelta(hours=1)

    ticking.look(made, registry, watch)

    assert made.get_jobs()[0].next_run_time <= datetime.now(UTC)


# Signals


@pytest.mark.parametrize("sign", [signal.SIGTERM, signal.SIGINT])
def test_the_clock_process_stops_cleanly_when_told_to(tmp_path: Path, sign: signal.Signals):
    environment = os.environ | {"BENCHWINDOW_DATA": str(tmp_path)}
    command = [sys.executable, "-m", "portal"]
    subprocess.run([*command, "init"], env=environment, check=True, capture_output=True)
    process = subprocess.Popen([*command, "clock"], env=environment, stderr=subprocess.PIPE, text=True)
    try:
        engine = open_engine(sqlite_url(tmp_path / "benchwindow.db"))
        beating = Registry([], lambda: writing(engine), lambda: reading(engine))
        wait, tries = Event(), 0
        while "send" not in beating.beats():
            tries += 1
            assert tries < 300, "the clock never ticked"
            assert process.poll() is None
            wait.wait(0.1)
        engine.dispose()
        process.send_signal(sign)
        assert process.wait(PATIENCE) == 0
        assert "Traceback" not in process.stderr.read()
    finally:
        process.kill()
        process.stderr.close()
