"""The clock process: APScheduler ticks, the sweeps ask what is due. The due times live in our tables, not in it.

UTC and interval triggers only, so that clock-change nights are nothing special; a job store in memory, since two clocks
may run at once and each sweep claims its rows.
"""

from __future__ import annotations

import logging
import signal
from datetime import UTC
from types import FrameType

from apscheduler.jobstores.memory import MemoryJobStore
from apscheduler.schedulers.blocking import BlockingScheduler
from apscheduler.triggers.interval import IntervalTrigger

from notifications.instants import Clock
from notifications.sweeps import Registry, Sweep

log = logging.getLogger(__name__)
DEFAULTS = {"misfire_grace_time": None, "coalesce": True, "max_instances": 1}


def scheduler(registry: Registry, clock: Clock) -> BlockingScheduler:
    """A scheduler with one job a sweep; nothing runs before it is started."""
    made = BlockingScheduler(timezone=UTC, jobstores={"default": MemoryJobStore()}, job_defaults=DEFAULTS)
    for sweep in registry.sweeps:
        trigger = IntervalTrigger(seconds=int(sweep.every.total_seconds()), timezone=UTC)
        made.add_job(_tick, trigger, args=(registry, sweep, clock), id=sweep.name, replace_existing=True)
    return made


def run(registry: Registry, clock: Clock) -> None:
    """Tick until a SIGTERM or Ctrl-C; a sweep that is under way is finished first."""
    made = scheduler(registry, clock)

    def stop(_sign: int, _frame: FrameType | None) -> None:
        made.shutdown(wait=False)

    for sign in (signal.SIGTERM, signal.SIGINT):
        signal.signal(sign, stop)
    for sweep in registry.sweeps:
        _tick(registry, sweep, clock)
    made.start()


def _tick(registry: Registry, sweep: Sweep, clock: Clock) -> None:
    registry.once(sweep, clock.now())
