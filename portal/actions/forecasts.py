"""Ready windows by command: reckoned from the whole past as it is this moment, and how true such windows have been."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta

from portal.actions.desk import Desk
from portal.rules.backtest import Case, replay, trust
from portal.rules.forecast import Course, Thin, Window, calendar_of, forecast, learn, spells
from portal.rules.open_time import calendar_around
from portal.rules.policy import Policy
from portal.store import courses

USUAL_DAYS = 8  # open days that the flat rival tells everybody where the policy does not say
AHEAD = timedelta(days=400)  # a day promised lies no further ahead


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
    past_calendar = calendar_of(policy, ways, now + AHEAD)
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
    ways = list(found.values())
    calendar = calendar_of(policy, ways, now + AHEAD)
    days = policy.forecast.usual_days or USUAL_DAYS
    return replay(ways, calendar, days * calendar.usual_day())


def _read(desk: Desk) -> tuple[Policy, dict[str, Course]]:
    with desk.reading() as connection:
        policy = desk.policy(connection)
        return policy, courses.all_courses(connection, [stage.key for stage in policy.stages])
