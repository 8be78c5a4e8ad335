"""Until when an answer is wanted, and when to remind of one: in working days, in the shop's own time."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date, datetime, time, timedelta
from zoneinfo import ZoneInfo

from portal.rules.days import local_day
from portal.rules.hours import LOOK_AHEAD_DAYS, Span, at_wall_time, open_spans
from portal.rules.policy import Policy

WITHOUT_HOURS = (time(9), time(18))  # when a day opens and closes for a shop that says no hours


def answer_by(now: datetime, policy: Policy) -> datetime:
    """The closing time, in UTC, of the last of the policy's working days after today."""
    return _working_day(now, policy.approvals.answer_within_days, policy).closes


def remind_at(put_at: datetime, policy: Policy) -> datetime | None:
    """When the working day opens on which to remind of a question that was put then; None: never."""
    days = policy.approvals.remind_after_days
    return _working_day(put_at, days, policy).opens if days else None


def _working_day(after: datetime, count: int, policy: Policy) -> Span:
    today = local_day(after, policy)
    days = _working_days(today + timedelta(days=1), policy)
    for _passed in range(count - 1):
        next(days)
    return next(days)


def _working_days(first: date, policy: Policy) -> Iterator[Span]:
    """The days from one on that the shop works, each from its opening to its closing. One without hours works daily."""
    zone = ZoneInfo(policy.shop.zone)
    found = False
    for ahead in range(LOOK_AHEAD_DAYS):
        if spans := open_spans(first + timedelta(days=ahead), policy.hours, zone):
            found = True
            yield Span(spans[0].opens, max(span.closes for span in spans))
    opens, closes = WITHOUT_HOURS
    start = first + timedelta(days=LOOK_AHEAD_DAYS if found else 0)
    for ahead in range(LOOK_AHEAD_DAYS):
        day = start + timedelta(days=ahead)
        yield Span(at_wall_time(day, opens, zone), at_wall_time(day, closes, zone))
