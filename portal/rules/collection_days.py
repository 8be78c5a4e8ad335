"""The days on which somebody may come for a device: open days, from today on, within the policy's weeks."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

from portal.rules.days import local_day, read_day
from portal.rules.hours import open_spans
from portal.rules.policy import Policy
from portal.rules.refusals import Unfit, needs
from portal.rules.sentences import say


@dataclass(frozen=True)
class Open:
    """A day with its first opening and its last closing, in UTC."""

    day: date
    opens: datetime
    closes: datetime


def open_days(now: datetime, policy: Policy) -> Sequence[Open]:
    """The days to choose from, the earliest first; today while the shop has not closed for the day."""
    today = local_day(now, policy)
    ahead = range(policy.handover.weeks_ahead * 7 + 1)
    days = [open_on(today + timedelta(days=days), policy) for days in ahead]
    return [day for day in days if day and now < day.closes]


def open_on(day: date, policy: Policy) -> Open | None:
    """When the shop opens and closes on a day, or None where it does not open."""
    spans = open_spans(day, policy.hours, ZoneInfo(policy.shop.zone))
    return Open(day, spans[0].opens, max(span.closes for span in spans)) if spans else None


def fit_day(typed: str, now: datetime, policy: Policy) -> date:
    """The day that was chosen. Raises Unfit (field "day") for none, the past, a closed day, or one too far ahead."""
    if not typed.strip():
        raise needs("day", say("The day"))
    day = read_day("day", typed)
    offered = [each.day for each in open_days(now, policy)]
    if day in offered:
        return day
    if offered and day > offered[-1]:
        raise Unfit("day", say("That is too far ahead. Please choose a day until {day}.", day=offered[-1]))
    if not offered or day < offered[0]:
        raise Unfit("day", say("That day is over, or we close before you could come. Please choose another."))
    raise Unfit("day", say("We are closed on {day}. Please choose another day.", day=day))
