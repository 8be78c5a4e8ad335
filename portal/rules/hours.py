"""When the shop is open: weekly hours, public holidays and closed days, in the shop's own time.

Public holidays come from the `holidays` library, by country or region. Spans are wall time; on clock-change nights a
time that does not exist is read with the offset before the gap, and one that happens twice as the first (RFC 5545
3.3.5), which is what `zoneinfo` does with fold 0.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from functools import cache
from zoneinfo import ZoneInfo

import holidays as public

from portal.rules.policy import Closed, Hours, Opening, Policy

LOOK_AHEAD_DAYS = 400  # closed for longer than that is closed


@dataclass(frozen=True)
class Span:
    """Open from `opens` until just before `closes`, both in UTC: wall times of one zone compare wrongly at changes."""

    opens: datetime
    closes: datetime


def open_spans(day: date, hours: Hours, zone: ZoneInfo) -> list[Span]:
    """The spans in which the shop is open on a day, the earliest first; none when it is closed."""
    if closed_on(day, hours) or holiday_on(day, hours):
        return []
    spans = [
        Span(at_wall_time(day, opening.opens, zone), at_wall_time(day, opening.closes, zone))
        for opening in hours.on(day.weekday())
    ]
    # A span that lies wholly in a clock-change gap has no length.
    return sorted((span for span in spans if span.opens < span.closes), key=lambda span: span.opens)


def closed_on(day: date, hours: Hours) -> Closed | None:
    """The closed time of the policy that a day lies in, or None."""
    return next((closed for closed in hours.closed if closed.first <= day <= closed.last), None)


def holiday_on(day: date, hours: Hours) -> str:
    """The public holiday's name as its country calls it, or ""."""
    return _public_holidays(hours.public_holidays, day.year).get(day, "")


def is_open(moment: datetime, policy: Policy) -> bool:
    """Whether the shop is open at an aware moment."""
    zone = ZoneInfo(policy.shop.zone)
    day = moment.astimezone(zone).date()
    return any(span.opens <= moment < span.closes for span in open_spans(day, policy.hours, zone))


def next_open(moment: datetime, policy: Policy) -> datetime | None:
    """The first moment from this one on at which the shop is open: the moment itself, or the start of a span.

    In UTC. None when it does not open within `LOOK_AHEAD_DAYS`.
    """
    zone = ZoneInfo(policy.shop.zone)
    for span in _spans_from(moment.astimezone(zone).date(), policy.hours, zone):
        if moment < span.closes:
            return max(span.opens, moment.astimezone(UTC))
    return None


def next_working_day(day: date, policy: Policy) -> date | None:
    """The first day from this one on, this one included, on which the shop opens at all; None as for `next_open`."""
    zone = ZoneInfo(policy.shop.zone)
    return next((span.opens.astimezone(zone).date() for span in _spans_from(day, policy.hours, zone)), None)


def weekly(hours: Hours) -> list[tuple[int, int, list[Opening]]]:
    """The weekly hours as runs of days that are alike: first and last weekday (0 for Monday), and the spans."""
    runs: list[tuple[int, int, list[Opening]]] = []
    for weekday in range(7):
        spans = sorted(hours.on(weekday), key=lambda span: span.opens)
        if runs and runs[-1][1] == weekday - 1 and runs[-1][2] == spans:
            runs[-1] = (runs[-1][0], weekday, spans)
        elif spans:
            runs.append((weekday, weekday, spans))
    return runs


def coming_closures(today: date, hours: Hours, within_days: int = 14) -> list[Closed]:
    """The closed times that have not ended and begin within so many days, the earliest first: the customers' banner."""
    latest = today + timedelta(days=within_days)
    return sorted(
        (closed for closed in hours.closed if closed.last >= today and closed.first <= latest),
        key=lambda closed: closed.first,
    )


def _spans_from(day: date, hours: Hours, zone: ZoneInfo) -> Iterator[Span]:
    for ahead in range(LOOK_AHEAD_DAYS):
        yield from open_spans(day + timedelta(days=ahead), hours, zone)


def at_wall_time(day: date, wall: time, zone: ZoneInfo) -> datetime:
    """The moment in UTC at which a clock on the wall shows this on a day; of two the first, in a gap as before it."""
    return datetime.combine(day, wall.replace(tzinfo=None), zone).astimezone(UTC)


@cache
def _public_holidays(name: str, year: int) -> dict[date, str]:
    if not name:
        return {}
    country, _, region = name.partition("-")
    return dict(public.country_holidays(country, subdiv=region or None, years=year))
