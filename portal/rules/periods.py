"""How long something is kept: days, months or years, reckoned by the calendar of the shop.

A period begins with the day of its event and ends with the last hour of its last day; what is kept goes at the midnight
after it. Months run to the corresponding date (Regulation (EEC, Euratom) 1182/71 Art. 3(2)(c)).
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from typing import Literal
from zoneinfo import ZoneInfo

from portal.rules.deadlines import months_after
from portal.rules.sentences import Sentence, say

Unit = Literal["day", "month", "year"]
_TEXT = re.compile(r"([0-9]{1,4}) (day|month|year)s?")
_LONGEST_DAYS = 40_000  # more than a hundred years, and still a date
_ROUGHLY = {"day": 1.0, "month": 30.436875, "year": 365.2425}  # mean Gregorian lengths, to compare two periods


@dataclass(frozen=True)
class Period:
    """So many days, months or years; 0 days ends with the day of the event."""

    number: int
    unit: Unit

    def __str__(self) -> str:
        return f"{self.number} {self.unit}{'' if self.number == 1 else 's'}"

    def words(self) -> Sentence:
        """The period in words."""
        if self.number == 1:
            return {"day": say("1 day"), "month": say("1 month"), "year": say("1 year")}[self.unit]
        return {
            "day": say("{number} days", number=self.number),
            "month": say("{number} months", number=self.number),
            "year": say("{number} years", number=self.number),
        }[self.unit]

    def longer_than(self, other: Period) -> bool:
        """Whether it is longer; a month and thirty days compare by the mean length of a month."""
        return self.number * _ROUGHLY[self.unit] > other.number * _ROUGHLY[other.unit]

    def last_day(self, first: date) -> date:
        """The last day of the period that begins with `first`."""
        if self.unit == "day":
            return first + timedelta(days=self.number)
        return months_after(first, self.number * (12 if self.unit == "year" else 1))


def read_period(text: str) -> Period | None:
    """A period as written in the policy, “30 days”, or None for what is none, or has no end."""
    found = _TEXT.fullmatch(text.strip())
    if found is None:
        return None
    period = Period(int(found[1]), found[2])  # type: ignore[arg-type]
    return period if period.number * _ROUGHLY[period.unit] <= _LONGEST_DAYS else None


def goes_at(start: datetime, period: Period, zone: ZoneInfo) -> datetime:
    """When something goes whose period began at `start`: the midnight after its last day, in UTC."""
    last = period.last_day(start.astimezone(zone).date())
    return _midnight(last + timedelta(days=1), zone)


def due_before(now: datetime, period: Period, zone: ZoneInfo) -> datetime:
    """The moment before which a period must have begun for its time to be over by `now`, in UTC.

    `start < due_before(now, …)` holds exactly where `goes_at(start, …) <= now`, so that a database can be asked.
    """
    today = now.astimezone(zone).date()
    days = int(period.number * _ROUGHLY[period.unit])
    first = today - timedelta(days=max(days - 4, 0))
    while _midnight(period.last_day(first) + timedelta(days=1), zone) > now:
        first -= timedelta(days=1)
    return _midnight(first + timedelta(days=1), zone)


def _midnight(day: date, zone: ZoneInfo) -> datetime:
    return datetime.combine(day, time(), zone).astimezone(UTC)
