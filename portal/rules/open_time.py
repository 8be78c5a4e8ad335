"""Time as the shop counts it: open seconds, from one moment to another and back to the calendar.

One calendar serves many questions: the spans are laid out once and asked by bisection, so that nights, closed days and
clock changes cost nothing more.
"""

from __future__ import annotations

from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np

from portal.rules.hours import open_spans
from portal.rules.policy import Policy


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

    def between(self, start: datetime, end: datetime) -> float:
        """Open seconds between two moments; never less than nothing."""
        return max(self.until(end) - self.until(start), 0.0)

    def after(self, start: datetime, seconds: float) -> datetime:
        """The first moment by which so many open seconds have passed; the calendar's end at the latest."""
        wanted = self.until(start) + seconds
        place = min(int(np.searchsorted(self._before, wanted, side="left")), len(self._opens)) - 1
        place = max(place, 0)
        at = min(self._opens[place] + (wanted - self._before[place]), self._closes[-1])
        return max(datetime.fromtimestamp(float(at), self.zone), start.astimezone(self.zone))
