"""When messages may go out: by day, in the shop's own time, and not on days on which it is closed.

A day's window is two wall times turned into UTC, as opening hours are: on clock-change nights a time in the gap is read
with the offset before it, and one that happens twice as the first.
"""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

from portal.rules.hours import LOOK_AHEAD_DAYS, at_wall_time, closed_on, holiday_on
from portal.rules.policy import DAYS, Hours, Policy


def may_go_from(moment: datetime, policy: Policy) -> datetime:
    """The first moment from this one on at which a message may go out that is not urgent, in UTC.

    A shop that is closed for longer than can be foreseen silences nobody: then it is the moment itself.
    """
    zone, messages = ZoneInfo(policy.shop.zone), policy.messages
    today = moment.astimezone(zone).date()
    for ahead in range(LOOK_AHEAD_DAYS):
        day = today + timedelta(days=ahead)
        begins, ends = at_wall_time(day, messages.day_begins, zone), at_wall_time(day, messages.day_ends, zone)
        may_go = messages.on_closed_days or not _closed(day, policy.hours)
        if may_go and begins < ends and moment < ends:
            return max(begins, moment.astimezone(UTC))
    return moment.astimezone(UTC)


def _closed(day: date, hours: Hours) -> bool:
    """Whether the shop does not open on a day. One that has written down no hours at all closes on no weekday."""
    if closed_on(day, hours) or holiday_on(day, hours):
        return True
    return not hours.on(day.weekday()) and any(hours.on(weekday) for weekday in range(len(DAYS)))
