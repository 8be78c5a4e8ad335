"""What ten thousand devices on the shelf cost one sweep: `python -m tests.bench.ready`. Read the ratios, not seconds.

1. The sweep's memory with 10,000 ready against 1,000 ready, as many due in both (aim: at most 1.2 times).
2. The time of a sweep with as many due, 10,000 ready against 1,000 ready (aim: at most 2 times).
3. The time for each that is due, when all 10,000 are due against when 1,000 of them are (aim: at most 1.5 times).
"""

from __future__ import annotations

import argparse
import statistics
import sys
import tempfile
import time
import tracemalloc
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime, timedelta
from pathlib import Path
from random import Random

from sqlalchemy import insert, update

from notifications.instants import FixedClock
from portal import resources
from portal.actions.collection import remind
from portal.actions.desk import Desk
from portal.links import Links
from portal.store import policies
from portal.store.engine import open_engine, sqlite_url
from portal.store.tables import contacts, numbers, tickets, visits
from tests.databases import make_sqlite_template

READY = datetime(2026, 3, 2, 9, 0, tzinfo=UTC)
NOW = datetime(2026, 3, 5, 12, 0, tzinfo=UTC)  # when the first reminder is due
LATER = NOW + timedelta(days=200)
CHUNK = 2_000


@contextmanager
def shelf(ready: int) -> Iterator[Desk]:
    """A desk on a SQLite file, every commit synced, with so many devices ready and none due."""
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "bench.db"
        make_sqlite_template(file)
        desk = Desk(open_engine(sqlite_url(file)), FixedClock(NOW), Links("http://bench.test", bytes(32)), Random(1))
        with desk.writing() as connection:
            document = resources.default_policy().read_text(encoding="utf-8")
            policies.add(connection, document, READY, None)
        for start in range(0, ready, CHUNK):
            fill(desk, range(start, min(start + CHUNK, ready)))
        yield desk
        desk.engine.dispose()


def fill(desk: Desk, places: range) -> None:
    """Write tickets that are ready, each of a visit of its own with a contact; none is due for long."""
    each = [(place + 1, f"{place:010}", f"{place + 10_000}0") for place in places]
    with desk.writing() as connection:
        connection.execute(insert(numbers), [{"number": number} for _id, _ref, number in each])
        connection.execute(
            insert(visits), [{"id": id_, "ref": ref, "language": "en", "made_at": READY} for id_, ref, _number in each]
        )
        may = {"may_be_told": True, "may_agree": True, "may_collect": True}
        connection.execute(
            insert(contacts),
            [
                may | {"ref": ref, "visit_id": id_, "role": "owner", "email": f"{ref}@example.org"}
                for id_, ref, _number in each
            ],
        )
        same = {"kind": "other", "device": "Radio", "fault": "Hums", "stage": "ready", "revision": 1}
        moments = {"stage_since": READY, "made_at": READY, "remind_at": LATER}
        connection.execute(
            insert(tickets),
            [same | moments | {"ref": ref, "visit_id": id_, "number": number} for id_, ref, number in each],
        )


def make_due(desk: Desk, count: int) -> None:
    """Make the next reminder of the first so many due, as if none had gone out yet."""
    with desk.writing() as connection:
        first = tickets.c.id <= count
        connection.execute(update(tickets).values(remind_at=LATER, reminded=0))
        # Another moment of being ready for each round: a reminder of the same cause would not be put again.
        connection.execute(
            update(tickets)
            .where(first)
            .values(remind_at=NOW, stage_since=READY - timedelta(minutes=desk.chooser.randrange(1, 500)))
        )


def sweep(desk: Desk, due: int) -> float:
    """How long a sweep takes with so many due, in seconds."""
    make_due(desk, due)
    begun = time.perf_counter()
    _looked_at, put = remind(desk, NOW)
    took = time.perf_counter() - begun
    assert put == due, (put, due)
    return took


def peak(desk: Desk, due: int) -> int:
    """The most memory that a sweep holds at once, in bytes, as far as Python counts it; the steadier of two sweeps."""
    found = []
    for _sweep in range(2):
        make_due(desk, due)
        tracemalloc.start()
        remind(desk, NOW)
        found.append(tracemalloc.get_traced_memory()[1])
        tracemalloc.stop()
    return min(found)


def say(line: str) -> None:
    """Print a line at once."""
    sys.stdout.write(line + "\n")
    sys.stdout.flush()


def main() -> None:
    """Measure, and print the ratios."""
    options = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    options.add_argument("--ready", type=int, default=10_000)
    options.add_argument("--rounds", type=int, default=5)
    chosen = options.parse_args()
    many, few, due = chosen.ready, chosen.ready // 10, 100
    with shelf(few) as small, shelf(many) as large:
        sweep(small, due), sweep(large, due)  # the first ones compile their statements
        memory = peak(large, due) / peak(small, due)
        say(f"memory, {due} due: {many:,} ready against {few:,}: {memory:.2f} x")
        all_due = peak(large, many) / peak(large, due)
        say(f"memory, {many:,} ready: {many:,} due against {due} due: {all_due:.2f} x")
        times = [(sweep(small, due), sweep(large, due)) for _round in range(chosen.rounds)]
        shelf_costs = statistics.median(large_time / small_time for small_time, large_time in times)
        say(f"time, {due} due: {many:,} ready against {few:,}: {shelf_costs:.2f} x")
        part, whole = sweep(large, few), sweep(large, many)
        each = (whole / many) / (part / few)
        say(f"time for each due: {many:,} due against {few:,}: {each:.2f} x ({whole / many * 1000:.2f} ms each)")
    say(
        f"aims: memory at most 1.2 x, time at most 2 x, each at most 1.5 x; {memory:.2f}, {shelf_costs:.2f}, {each:.2f}"
    )


if __name__ == "__main__":
    main()
