"""Sweeps: repeatable passes of the clock, in a fixed order, each with a heartbeat, so that a silent stop is seen.

A sweep asks "what is due?", so a missed tick costs only delay. A clock that jumped holds the destructive ones, since
what they delete would be gone though its time has not come.
"""

from __future__ import annotations

import logging
from collections.abc import Callable, Iterator, Sequence
from contextlib import AbstractContextManager
from dataclasses import dataclass
from datetime import datetime, timedelta

from sqlalchemy import Connection, bindparam, case, func, insert, select, update

from notifications.faults import log_fault
from notifications.tables import heartbeats

log = logging.getLogger(__name__)

A_JUMP = timedelta(minutes=5)
Opening = Callable[[], AbstractContextManager[Connection]]  # of a transaction, to write or to read in
_NEWEST = select(func.max(heartbeats.c.newest_at))
_ALL = select(heartbeats.c.sweep, heartbeats.c.at)
_BEAT = (
    update(heartbeats)
    .where(heartbeats.c.sweep == bindparam("name"))
    .values(newest_at=case((heartbeats.c.newest_at < bindparam("now"), bindparam("now")), else_=heartbeats.c.newest_at))
)
_TRUST = update(heartbeats).where(heartbeats.c.newest_at > bindparam("now")).values(newest_at=bindparam("now"))


@dataclass(frozen=True)
class Tally:
    """What a sweep did: what it looked at, what it changed, what did not work."""

    looked_at: int = 0
    done: int = 0
    failed: int = 0
    held: str = ""  # why it was not done at all, where a clock that jumped holds it


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

    def __init__(self, sweeps: Sequence[Sweep], writing: Opening, reading: Opening) -> None:
        self.sweeps = tuple(sweeps)
        self._writing, self._reading = writing, reading
        self._jump = timedelta(0)

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
            if sweep.destroys and not explicit and (why := self.held(now)):
                log.error("%s Nothing is deleted: %s is held.", why, sweep.name)
                return Tally(failed=1, held=why)
            tally = sweep.run(now)
            if not explicit:
                self._beat(sweep.name, now, tally)
            if tally.done or tally.failed:
                counts = (sweep.name, tally.looked_at, tally.done, tally.failed)
                log.info("Sweep %s: looked at %s, done %s, failed %s.", *counts)
        except Exception as fault:
            log_fault(f"Sweep {sweep.name} broke off", fault)
            return Tally(failed=1)
        return tally

    def jumped(self, by: timedelta) -> None:
        """Hear of a jump of this process's clock: the destructive sweeps are held until it is started anew."""
        self._jump = by

    def trust_the_clock(self, now: datetime) -> None:
        """Somebody looked: the clock is right now, whatever it said before. Held sweeps go on.

        A clock process that saw the jump itself holds them until it is started again.
        """
        self._jump = timedelta(0)
        with self._writing() as connection:
            connection.execute(_TRUST, {"now": now})

    def beats(self) -> dict[str, datetime]:
        """When each sweep was last done."""
        with self._reading() as connection:
            return {row.sweep: row.at for row in connection.execute(_ALL)}

    def held(self, now: datetime) -> str:
        """Why nothing may be deleted now, or ""."""
        if abs(self._jump) > A_JUMP:
            return f"The clock jumped by {self._jump}. If it is right now, start the clock again."
        with self._reading() as connection:
            newest = connection.execute(_NEWEST).scalar()
        if newest is not None and now < newest - A_JUMP:
            return (
                f"The clock says {now:%Y-%m-%d %H:%M}Z, but it said {newest:%Y-%m-%d %H:%M}Z before. "
                "If it is right now, run `benchwindow clock --trust`."
            )
        return ""

    def _beat(self, name: str, now: datetime, tally: Tally) -> None:
        values = {"at": now, "looked_at": tally.looked_at, "done": tally.done, "failed": tally.failed}
        with self._writing() as connection:
            if connection.execute(_BEAT.values(**values), {"name": name, "now": now}).rowcount == 0:
                connection.execute(insert(heartbeats), values | {"sweep": name, "newest_at": now})
