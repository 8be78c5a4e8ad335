"""Sweeps: repeatable passes of the clock, in a fixed order, each with a heartbeat, so that a silent stop is seen.

A sweep asks "what is due?", so a missed tick costs only delay. A clock that jumped back holds the destructive ones.
"""

from __future__ import annotations

import logging
from collections.abc import Callable, Iterator, Sequence
from contextlib import AbstractContextManager
from dataclasses import dataclass
from datetime import datetime, timedelta

from sqlalchemy import Connection, bindparam, func, insert, select, update

from notifications.tables import heartbeats

log = logging.getLogger(__name__)

_BACK_IS_A_JUMP = timedelta(minutes=5)
_NEWEST = select(func.max(heartbeats.c.at))
_ALL = select(heartbeats.c.sweep, heartbeats.c.at)
_BEAT = update(heartbeats).where(heartbeats.c.sweep == bindparam("name"))


@dataclass(frozen=True)
class Tally:
    """What a sweep did: what it looked at, what it changed, what did not work."""

    looked_at: int = 0
    done: int = 0
    failed: int = 0


@dataclass(frozen=True)
class Sweep:
    """A named pass. `every` is how often the clock does it; `destroys` is set where it deletes."""

    name: str
    run: Callable[[datetime], Tally]
    every: timedelta = timedelta(minutes=1)
    destroys: bool = False


class NoSuchSweep(ValueError):
    """A sweep was asked for that there is not."""

    def __init__(self, name: str, known: Sequence[str]) -> None:
        super().__init__(f"There is no sweep {name!r}. Allowed: {', '.join(known)}.")


class Registry:
    """The sweeps of an installation, in their order."""

    def __init__(self, sweeps: Sequence[Sweep], writing: Callable[[], AbstractContextManager[Connection]]) -> None:
        self.sweeps = tuple(sweeps)
        self._writing = writing

    def run(self, now: datetime, names: Sequence[str] = (), *, explicit: bool = False) -> Iterator[tuple[str, Tally]]:
        """Do each sweep (or those named) once, in their order.

        With `explicit`, `now` is somebody's choice: no heartbeat is written, a jump is no matter. Raises NoSuchSweep.
        """
        known = [sweep.name for sweep in self.sweeps]
        for name in names:
            if name not in known:
                raise NoSuchSweep(name, known)
        for sweep in self.sweeps:
            if not names or sweep.name in names:
                yield sweep.name, self.once(sweep, now, explicit=explicit)

    def once(self, sweep: Sweep, now: datetime, *, explicit: bool = False) -> Tally:
        """Do one sweep. What breaks in it is counted as failed and logged; the next ones go on."""
        try:
            if sweep.destroys and not explicit and self._jumped(now):
                log.error(
                    "The clock stands before the newest heartbeat: %s is held until it has caught up.", sweep.name
                )
                return Tally(failed=1)
            tally = sweep.run(now)
        except Exception as fault:
            log.error("Sweep %s broke off: %s", sweep.name, type(fault).__name__)
            return Tally(failed=1)
        if not explicit:
            self._beat(sweep.name, now, tally)
        return tally

    def beats(self) -> dict[str, datetime]:
        """When each sweep was last done."""
        with self._writing() as connection:
            return {row.sweep: row.at for row in connection.execute(_ALL)}

    def _jumped(self, now: datetime) -> bool:
        with self._writing() as connection:
            newest = connection.execute(_NEWEST).scalar()
        return newest is not None and now < newest - _BACK_IS_A_JUMP

    def _beat(self, name: str, now: datetime, tally: Tally) -> None:
        values = {"at": now, "looked_at": tally.looked_at, "done": tally.done, "failed": tally.failed}
        with self._writing() as connection:
            if connection.execute(_BEAT.values(**values), {"name": name}).rowcount == 0:
                connection.execute(insert(heartbeats), values | {"sweep": name})
