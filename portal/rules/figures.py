"""What a shop counts of itself: plain counts a week, of nobody. Taken once a repair has ended, they outlive its data.

A figure is a week (its Monday, in the shop's time), a measure, a name within the measure, a bucket, and how many.
Times are sorted into buckets by EDGES, so that what is kept is a distribution, and no single repair's time.
"""

from __future__ import annotations

from bisect import bisect_right
from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from enum import StrEnum
from zoneinfo import ZoneInfo

from portal.rules.forecast import Course, Step
from portal.rules.open_time import OpenTime
from portal.rules.questions import State

HOUR = 3600.0


class Measure(StrEnum):
    """What is counted, and what its names are."""

    STAY = "stay"  # how long a device was in a stage ("stage") or a hold ("hold:…"), in open hours
    HERE = "here"  # how many devices were in a stage when the week began
    ASKED = "asked"  # questions about money, by how they ended
    ANSWER = "answer"  # how long a customer took to answer one, in hours
    TOLD = "told"  # messages, by whether they arrived ("arrived", "failed")
    KEPT = "kept"  # the day that was promised by hand, against the day it was ready


# The upper edges of all buckets but the last; a value on an edge belongs to the bucket above.
EDGES: Mapping[Measure, tuple[float, ...]] = {
    Measure.STAY: (1, 2, 4, 8, 16, 40, 80, 160),  # open hours
    Measure.ANSWER: (0.25, 1, 3, 8, 24, 48, 96),  # hours
    Measure.KEPT: (-6, -1, 0, 1, 2, 7),  # days late: a week early and more, 2–6, one, on the day, one late, …
}
AGE_EDGES = (1, 3, 7, 14, 28, 56)  # days that an open repair is old


@dataclass(frozen=True, order=True)
class Figure:
    """What is counted together."""

    week: date
    measure: Measure
    name: str
    bucket: int = 0


@dataclass(frozen=True)
class Asking:
    """A question about money that was put: when, how it stands, and when that was settled."""

    put_at: datetime
    state: State
    settled_at: datetime | None


@dataclass(frozen=True)
class Weeks:
    """The weeks of a shop, which begin on a Monday in its own time."""

    zone: ZoneInfo

    def of(self, moment: datetime) -> date:
        """The Monday of the week that a moment lies in."""
        day = moment.astimezone(self.zone).date()
        return day - timedelta(days=day.weekday())

    def begins(self, week: date) -> datetime:
        """The moment at which a week begins."""
        return datetime.combine(week, time(), self.zone)


def bucket(measure: Measure, value: float) -> int:
    """The bucket of a value, from 0."""
    return bisect_right(EDGES[measure], value)


def age_bucket(days: float) -> int:
    """The bucket of an open repair's age."""
    return bisect_right(AGE_EDGES, days)


def stays(way: Course, weeks: Weeks, open_time: OpenTime) -> Counter[Figure]:
    """How long the device was in each stage and hold, counted in the week in which it left that.

    Time on hold counts for the hold, not for the stage. What has not ended is not counted.
    """
    found: Counter[Figure] = Counter()
    for step, until in _spells(way):
        if until is not None and until > step.at:
            hours = open_time.between(step.at, until) / HOUR
            name = f"hold:{step.hold}" if step.hold else step.stage
            found[Figure(weeks.of(until), Measure.STAY, name, bucket(Measure.STAY, hours))] += 1
    return found


def presence(way: Course, weeks: Weeks, now: datetime) -> Counter[Figure]:
    """In which stage the device was at the beginning of each week, until it left, or until now."""
    found: Counter[Figure] = Counter()
    for step, until in _spells(way):
        end = min(until or now, now)
        week = weeks.of(step.at)
        while weeks.begins(week) < end:
            if weeks.begins(week) >= step.at:
                found[Figure(week, Measure.HERE, step.stage)] += 1
            week += timedelta(days=7)
    return found


def askings(asked: Iterable[Asking], weeks: Weeks) -> Counter[Figure]:
    """How questions ended, in the week in which they were put; and how long an answer took."""
    found: Counter[Figure] = Counter()
    for each in asked:
        week = weeks.of(each.put_at)
        found[Figure(week, Measure.ASKED, each.state.value)] += 1
        if each.state in (State.AGREED, State.DECLINED) and each.settled_at is not None:
            hours = (each.settled_at - each.put_at).total_seconds() / HOUR
            found[Figure(week, Measure.ANSWER, "", bucket(Measure.ANSWER, hours))] += 1
    return found


def promise(promised_on: date | None, ready_at: datetime | None, weeks: Weeks) -> Counter[Figure]:
    """How many days after the promised day it was ready; nothing where nothing was promised, or it never was."""
    if promised_on is None or ready_at is None:
        return Counter()
    late = (ready_at.astimezone(weeks.zone).date() - promised_on).days
    return Counter({Figure(weeks.of(ready_at), Measure.KEPT, "", bucket(Measure.KEPT, late)): 1})


def _spells(way: Course) -> Iterable[tuple[Step, datetime | None]]:
    """Each unbroken time in one stage and hold, and when it ended; None where it has not."""
    merged: list[Step] = []
    for step in way.steps:
        if not merged or (merged[-1].stage, merged[-1].hold) != (step.stage, step.hold):
            merged.append(step)
    ends = [*(step.at for step in merged[1:]), way.ended_at]
    return zip(merged, ends, strict=True)
