"""Time as the shop counts it: open seconds, from one moment to another and back to the calendar.

One calendar serves many questions: the spans are laid out once and asked by bisection, so that nights, closed days and
clock changes cost nothing more.
"""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from functools import lru_cache
from zoneinfo import ZoneInfo

import numpy as np

from portal.rules.hours import open_spans
from portal.rules.policy import Policy

LOOK_BACK, LOOK_AHEAD = 2, 2  # years, for a calendar around a moment


class OpenTime:
    """The open spans of a shop between two days, both included; outside them nothing is open."""

    def __init__(self, policy: Policy, first: date, last: date) -> None:
        self.zone = ZoneInfo(policy.shop.zone)
        days = [first + timedelta(days=each) for each in range((last - first).days + 1)]
        spans = [span for day in days for span in open_spans(day, policy.hours, self.zone)]
        if not spans:  # a shop that wrote down no hours: every second counts
            midnights = [datetime(day.year, day.month, day.day, tzinfo=self.zone).timestamp() for day in days]
            self._opens = np.array(midnights[:-1] or midnights)
            self._closes = np.array(midnights[1:] or midnights)
        else:
            self._opens = np.array([span.opens.timestamp() for span in spans])
            self._closes = np.array([span.closes.timestamp() for span in spans])
        self._before = np.concatenate([[0.0], np.cumsum(self._closes - self._opens)])

    def until(self, moment: datetime) -> float:
        """Open seconds from the first day's beginning until a moment."""
        at = moment.timestamp()
        place = int(np.searchsorted(self._opens, at, side="right")) - 1
        if place < 0:
            return 0.0
        return float(self._before[place] + min(at, self._closes[place]) - self._opens[place])

    def until_all(self, moments: np.ndarray) -> np.ndarray:
        """The same for many moments at once, as POSIX seconds; an infinite one stays so."""
        places = np.searchsorted(self._opens, moments, side="right") - 1
        at = np.maximum(places, 0)
        passed = self._before[at] + np.minimum(moments, self._closes[at]) - self._opens[at]
        return np.where(np.isinf(moments), np.inf, np.where(places < 0, 0.0, passed))

    def between(self, start: datetime, end: datetime) -> float:
        """Open seconds between two moments; never less than nothing."""
        return max(self.until(end) - self.until(start), 0.0)

    def usual_day(self) -> float:
        """The open seconds of a day on which the shop is open at all, on average."""
        days = {datetime.fromtimestamp(at, self.zone).date() for at in self._opens.tolist()}
        return float(self._before[-1]) / max(len(days), 1)

    def midnight_after(self, day: date) -> datetime:
        """When a day is over."""
        end = day + timedelta(days=1)
        return datetime(end.year, end.month, end.day, tzinfo=self.zone)

    def after(self, start: datetime, seconds: float) -> datetime:
        """The first moment by which so many open seconds have passed; the calendar's end at the latest."""
        wanted = self.until(start) + seconds
        place = min(int(np.searchsorted(self._before, wanted, side="left")), len(self._opens)) - 1
        place = max(place, 0)
        at = min(self._opens[place] + (wanted - self._before[place]), self._closes[-1])
        return max(datetime.fromtimestamp(float(at), self.zone), start.astimezone(self.zone))


def calendar_around(policy: Policy, now: datetime) -> OpenTime:
    """A calendar for what is in the shop now, and for what is to come; laid out once a year and policy."""
    return _around(_Hours(policy), now.astimezone(UTC).year)


class _Hours:
    """A policy's hours and zone, as the key of a cache: policies cannot be hashed."""

    def __init__(self, policy: Policy) -> None:
        self.policy = policy
        self._key = (policy.shop.zone, policy.hours.model_dump_json())

    def __eq__(self, other: object) -> bool:
        return isinstance(other, _Hours) and self._key == other._key

    def __hash__(self) -> int:
        return hash(self._key)


@lru_cache(8)
def _around(hours: _Hours, year: int) -> OpenTime:
    return OpenTime(hours.policy, date(year - LOOK_BACK, 1, 1), date(year + LOOK_AHEAD, 12, 31))
