"""The clock process: APScheduler ticks, the sweeps ask what is due. The due times live in our tables, not in it.

UTC and interval triggers only, so that clock-change nights are nothing special; a job store in memory, since two clocks
may run at once and each sweep claims its rows.
"""

from __future__ import annotations

import logging
import signal
import time
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from threading import Event, Thread

from apscheduler.jobstores.memory import MemoryJobStore
from apscheduler.schedulers.blocking import BlockingScheduler
from apscheduler.triggers.interval import IntervalTrigger

from notifications.instants import Clock
from notifications.sweeps import Registry, Sweep

log = logging.getLogger(__name__)
DEFAULTS = {"misfire_grace_time": None, "coalesce": True, "max_instances": 1}
LOOK_SECONDS = 5.0
_NOTICEABLE = timedelta(seconds=30)


def scheduler(registry: Registry, clock: Clock) -> BlockingScheduler:
    """A scheduler with one job a sweep, each due at once; nothing runs before it is started."""
    made = BlockingScheduler(timezone=UTC, jobstores={"default": MemoryJobStore()}, job_defaults=DEFAULTS)
    for sweep in registry.sweeps:
        trigger = IntervalTrigger(seconds=int(sweep.every.total_seconds()), timezone=UTC)
        made.add_job(_tick, trigger, args=(registry, sweep, clock), id=sweep.name, next_run_time=datetime.now(UTC))
    return made


def run(registry: Registry, clock: Clock, stopping: Event) -> None:
    """Tick until a SIGTERM or Ctrl-C; what is being sent at that moment is sent, and nothing after it."""
    for sign in (signal.SIGTERM, signal.SIGINT):
        signal.signal(sign, lambda _sign, _frame: stopping.set())
    tick(registry, clock, stopping)


def tick(registry: Registry, clock: Clock, stopping: Event) -> None:
    """Tick until `stopping` is set, and whatever was under way then is done."""
    made = scheduler(registry, clock)
    watching = Thread(target=_watch, args=(made, registry, Watch(clock.now, steady), stopping), daemon=True)
    watching.start()
    made.start()
    watching.join()  # the scheduler may return before its jobs do, where one fell due at that very moment


class Watch:
    """Compares the clock on the wall with one that only ever goes forward."""

    def __init__(self, wall: Callable[[], datetime], steady: Callable[[], float]) -> None:
        self._wall, self._steady = wall, steady
        self._seen = wall(), steady()

    def jump(self) -> timedelta:
        """How far the wall clock jumped since the last look; backwards is negative."""
        wall, steady = self._wall(), self._steady()
        by = (wall - self._seen[0]) - timedelta(seconds=steady - self._seen[1])
        self._seen = wall, steady
        return by


def steady() -> float:
    """Seconds that only go forward, and go on while the machine sleeps."""
    return time.clock_gettime(time.CLOCK_BOOTTIME) if hasattr(time, "CLOCK_BOOTTIME") else time.monotonic()


def look(made: BlockingScheduler, registry: Registry, watch: Watch) -> None:
    """Look whether the clock jumped. Set back, APScheduler would wait until the old time has come again."""
    by = watch.jump()
    if abs(by) < _NOTICEABLE:
        return
    log.warning("The clock jumped by %s.", by)
    registry.jumped(by)
    for job in made.get_jobs():
        job.modify(next_run_time=datetime.now(UTC))


def _watch(made: BlockingScheduler, registry: Registry, watch: Watch, stopping: Event) -> None:
    while not stopping.wait(LOOK_SECONDS):
        look(made, registry, watch)
    while not made.running:  # asked to stop before it had started
        time.sleep(0.01)
    made.shutdown(wait=True)


def _tick(registry: Registry, sweep: Sweep, clock: Clock) -> None:
    registry.once(sweep, clock.now())
