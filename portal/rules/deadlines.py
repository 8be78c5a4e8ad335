"""Deadlines in calendar months: to the corresponding date, and on to the next working day where the law says so.

Not legal advice; local law decides. Sources are named at each function.
"""

from __future__ import annotations

from collections.abc import Callable
from datetime import date, datetime, timedelta

from dateutil.relativedelta import relativedelta

BREACH = timedelta(hours=72)  # GDPR Art. 33(1), reckoned as elapsed hours: the cautious reading


def months_after(day: date, months: int) -> date:
    """The corresponding date so many calendar months on, or that month's last day where there is no such date.

    Regulation (EEC, Euratom) 1182/71 Art. 3(2)(c); Dodds v Walker [1981] 1 WLR 1027 (House of Lords).
    """
    return day + relativedelta(months=months)


def working_day_from(day: date, is_holiday: Callable[[date], bool]) -> date:
    """The day itself, or the next that is neither Saturday, Sunday nor a public holiday (Reg. 1182/71 Art. 3(4))."""
    while day.weekday() >= 5 or is_holiday(day):
        day += timedelta(days=1)
    return day


def answer_due(
    received: date, is_holiday: Callable[[date], bool], *, extended: bool = False, paused_days: int = 0
) -> date:
    """The last day to answer a request about personal data (GDPR Art. 12(3)): one month, three where extended.

    Days on which the clock stood still are added (UK GDPR Art. 12A).
    """
    last = months_after(received, 3 if extended else 1) + timedelta(days=paused_days)
    return working_day_from(last, is_holiday)


def notice_of_breach_due(aware_at: datetime) -> datetime:
    """Until when the authority is told of a breach, in UTC (GDPR Art. 33(1))."""
    return aware_at + BREACH
