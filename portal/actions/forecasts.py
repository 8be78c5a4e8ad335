"""Ready windows by command: reckoned from the whole past as it is this moment, and how true such windows have been."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta

from portal.actions.desk import Desk
from portal.rules.backtest import Case, replay, trust
from portal.rules.forecast import Course, Thin, Window, forecast, learn, spells
from portal.rules.open_time import OpenTime, calendar_around
from portal.rules.policy import Policy
from portal.store import courses

USUAL_DAYS = 8  # open days that the flat rival tells everybody where the policy does not say
AHEAD = timedelta(days=400)


@dataclass(frozen=True)
class Told:
    """What can be said of one device."""

    number: str
    answer: Window | Thin


def windows(desk: Desk, number: str | None = None, chance: float = 0.8) -> list[Told]:
    """What can be said of every device that is here and not ready yet, or of one."""
    now = desk.clock.now()
    policy, found = _read(desk)
    ways = list(found.values())
    past_calendar = _calendar(policy, ways, now)
    past = learn(spells(ways, now, past_calendar))
    past.came_out = trust(ways, past_calendar, now).came_out  # as the back-test judges it
    calendar = calendar_around(policy, now)
    return [
        Told(each, forecast(past, way.steps[-1], way.kind, now, calendar, chance))
        for each, way in found.items()
        if way.ready_at is None and way.ended_at is None and number in (None, each)
    ]


def backtest(desk: Desk) -> list[Case]:
    """The shop's past, gone through again."""
    now = desk.clock.now()
    policy, found = _read(desk)
    calendar = _calendar(policy, found.values(), now)
    days = policy.forecast.usual_days or USUAL_DAYS
    return replay(list(found.values()), calendar, days * calendar.usual_day())


def _read(desk: Desk) -> tuple[Policy, dict[str, Course]]:
    with desk.reading() as connection:
        policy = desk.policy(connection)
        return policy, courses.all_courses(connection, [stage.key for stage in policy.stages])


def _calendar(policy: Policy, found: Iterable[Course], now: datetime) -> OpenTime:
    first = min((way.steps[0].at for way in found), default=now)
    return OpenTime(policy, first.date() - timedelta(days=1), (now + AHEAD).date())
