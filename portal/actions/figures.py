"""Counting what has ended, before its data goes; and the shop's figures of the last year, what is open included."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

from sqlalchemy import Connection

from notifications.outbox import TROUBLE
from portal.actions.desk import Desk
from portal.rules.figures import Asking, Calendar, Figure, Measure, askings, presence, promise, stays
from portal.rules.forecast import Course
from portal.rules.open_time import OpenTime
from portal.rules.policy import Policy
from portal.store import figures as store
from portal.store.figures import Open

SETTLED = timedelta(hours=2)  # an ending can be undone within an hour
A_BATCH = 100
WEEKS = 52


@dataclass(frozen=True)
class Year:
    """The figures of the last year. `counts` by week (None for what is summed up), measure, name and bucket."""

    weeks: Sequence[date]  # their Mondays, the oldest first, the present one last
    counts: Mapping[tuple[date | None, Measure, str, int], int]
    open: Sequence[Open]


def count_ended(desk: Desk, now: datetime) -> int:
    """Count what ended and can no longer be undone, in batches of one transaction each; tells how many repairs."""
    counted = 0
    while True:
        with desk.writing() as connection:
            ids = store.mark(connection, store.uncounted(connection, now - SETTLED, A_BATCH), now)
            if not ids:
                return counted
            store.add(connection, _counts(desk, connection, ids, now))
        counted += len(ids)


def year(desk: Desk, connection: Connection, policy: Policy) -> Year:
    """The last year, in three statements whatever the shop's past: its counts, and what is open."""
    now = desk.clock.now()
    here = store.open_ways(connection, [stage.key for stage in policy.stages])
    ways = [each.way for each in here if each.way]
    calendar = _calendar(policy, ways, now)
    this_week = calendar.week(now)
    weeks = [this_week - timedelta(weeks=ago) for ago in reversed(range(WEEKS))]
    counts = Counter(store.year(connection, weeks[0]))
    for figure, more in _of_open(ways, store.asked_open(connection), calendar, now).items():
        if figure.week >= weeks[0]:
            week = figure.week if figure.measure in store.WEEKLY else None
            counts[(week, figure.measure, figure.name, figure.bucket)] += more
    return Year(weeks, counts, here)


def _of_open(ways: Sequence[Course], asked: Sequence[Asking], calendar: Calendar, now: datetime) -> Counter[Figure]:
    found = askings(asked, calendar)
    for way in ways:
        found += presence(way, calendar, now)
    return found


def _counts(desk: Desk, connection: Connection, ids: Sequence[int], now: datetime) -> Counter[Figure]:
    policy = desk.policy(connection)
    ways = store.ways(connection, ids, [stage.key for stage in policy.stages])
    calendar = _calendar(policy, ways, now)
    found = askings(store.asked(connection, ids), calendar)
    for way in ways:
        found += stays(way, calendar)
        found += presence(way, calendar, now)
        found += promise(way.promises[-1].day if way.promises else None, way.ready_at, calendar)
    for at, state in store.told(connection, ids):
        if state == "sent" or state in TROUBLE:
            outcome = "arrived" if state == "sent" else "failed"
            found[Figure(calendar.week(at), Measure.TOLD, outcome)] += 1
    return found


def _calendar(policy: Policy, ways: Sequence[Course], now: datetime) -> Calendar:
    first = min((way.steps[0].at for way in ways), default=now)
    open_time = OpenTime(policy, first.date() - timedelta(days=1), now.date() + timedelta(days=1))
    return Calendar(open_time, ZoneInfo(policy.shop.zone))
