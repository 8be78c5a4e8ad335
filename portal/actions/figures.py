"""Counting what has ended, before its data goes; and the shop's figures of the last year, what is open included."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

from sqlalchemy import Connection

from notifications.outbox import TROUBLE
from portal.actions.desk import Desk
from portal.rules.figures import Asking, Figure, Measure, Weeks, askings, presence, promise, stays
from portal.rules.forecast import Course, calendar_of
from portal.rules.policy import Policy
from portal.store import courses
from portal.store import figures as store

SETTLED = timedelta(hours=2)  # an ending can be undone within an hour
A_BATCH = 100
WEEKS = 52


@dataclass(frozen=True)
class Year:
    """The figures of the last year.

    `counts` by week (None for what is summed up), measure, name and bucket; `open`: the ways of what is here, by its
    number.
    """

    weeks: Sequence[date]  # their Mondays, the oldest first, the present one last
    counts: Mapping[tuple[date | None, Measure, str, int], int]
    open: Mapping[str, Course]


def count_ended(desk: Desk, now: datetime) -> int:
    """Count what ended and can no longer be undone, in batches of one transaction each; tells how many repairs."""
    counted = 0
    while ids := _uncounted(desk, now):
        with desk.writing() as connection:
            marked = store.mark(connection, ids, now)
            store.add(connection, _counts(desk, connection, marked, now))
        counted += len(marked)
    return counted


def year(desk: Desk, connection: Connection, policy: Policy) -> Year:
    """The last year, in three statements whatever the shop's past: its counts, and what is open."""
    now = desk.clock.now()
    here = courses.open_courses(connection, [stage.key for stage in policy.stages])
    reckoned = Weeks(ZoneInfo(policy.shop.zone))
    this_week = reckoned.of(now)
    weeks = [this_week - timedelta(weeks=ago) for ago in reversed(range(WEEKS))]
    counts = Counter(store.year(connection, weeks[0]))
    for figure, more in _of_open(here.values(), store.asked_open(connection), reckoned, now).items():
        if figure.week >= weeks[0]:
            week = figure.week if figure.measure in store.WEEKLY else None
            counts[(week, figure.measure, figure.name, figure.bucket)] += more
    return Year(weeks, counts, here)


def _uncounted(desk: Desk, now: datetime) -> Sequence[int]:
    with desk.reading() as connection:
        return store.uncounted(connection, now - SETTLED, A_BATCH)


def _of_open(ways: Iterable[Course], asked: Sequence[Asking], weeks: Weeks, now: datetime) -> Counter[Figure]:
    found = askings(asked, weeks)
    for way in ways:
        found += presence(way, weeks, now)
    return found


def _counts(desk: Desk, connection: Connection, ids: Sequence[int], now: datetime) -> Counter[Figure]:
    policy = desk.policy(connection)
    ways = courses.courses_of(connection, ids, [stage.key for stage in policy.stages]).values()
    open_time = calendar_of(policy, ways, now)
    weeks = Weeks(open_time.zone)
    found = askings(store.asked(connection, ids), weeks)
    for way in ways:
        found += stays(way, weeks, open_time)
        found += presence(way, weeks, now)
        found += promise(way.promises[-1].day if way.promises else None, way.ready_at, weeks)
    for at, state in store.told(connection, ids):
        if state == "sent" or state in TROUBLE:
            outcome = "arrived" if state == "sent" else "failed"
            found[Figure(weeks.of(at), Measure.TOLD, outcome)] += 1
    return found
