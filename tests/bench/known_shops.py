"""Shops whose law is known: how long each stage and hold takes, drawn; and what the law itself would say of a device.

Open time only matters, so that laws are in open days of the default shop. The figures are made up.
"""

from __future__ import annotations

import tomllib
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta

import numpy as np

from portal import resources
from portal.rules.forecast import Course, Step
from portal.rules.open_time import OpenTime
from portal.rules.policy import Policy

POLICY = Policy.model_validate(tomllib.loads(resources.default_policy().read_text(encoding="utf-8")))
CALENDAR = OpenTime(POLICY, date(2024, 12, 1), date(2028, 12, 31))
START = datetime(2025, 1, 6, 9, tzinfo=UTC)
DAY = 8.5 * 3600  # open seconds
LONGEST = 120 * DAY
ABANDONED = 0.05
DAYS = 250  # open days in which devices come

Draw = Callable[[np.random.Generator, float], float]  # of a mean, roughly
State = tuple[str, str]


def _log_normal(random: np.random.Generator, days: float) -> float:
    return days * float(np.exp(0.6 * random.standard_normal()))


def _gamma(random: np.random.Generator, days: float) -> float:
    return float(random.gamma(2.0, days / 2.0))


def _heavy(random: np.random.Generator, days: float) -> float:
    return days * float(random.pareto(1.8) + 0.2)


@dataclass(frozen=True)
class Law:
    """How long stages and holds take. From mid-year on everything takes `pace` times as long."""

    name: str
    stage: Draw
    hold: Draw
    pace: float = 1.0


LAWS = (
    Law("log-normal", _log_normal, _log_normal),
    Law("gamma", _gamma, _gamma),
    Law("heavy holds", _log_normal, _heavy),
    Law("slower", _log_normal, _log_normal, 1.5),
    Law("faster", _gamma, _heavy, 0.7),
)


def way(law: Law, random: np.random.Generator) -> list[tuple[State, float]]:
    """One device's states with open seconds in each."""

    def stays(stage: str, days: float, hold: str = "") -> None:
        draw = law.hold if hold else law.stage
        found.append(((stage, hold), min(draw(random, days) * DAY, LONGEST)))

    found: list[tuple[State, float]] = []
    stays("received", 2)
    if random.random() < 0.4:
        stays("cleaning", 0.7)
    stays("board_work", 2)
    if random.random() < 0.3:
        stays("board_work", 3, "part")
        stays("board_work", 0.5)
    stays("testing", 1)
    if random.random() < 0.1:
        stays("board_work", 1)
        stays("testing", 0.7)
    return found


def shop(law: Law, seed: int, many: int) -> list[Course]:
    """A year of a shop: devices come evenly; five of a hundred are abandoned, whenever that happens."""
    random = np.random.default_rng(seed)
    first = CALENDAR.until(START)
    patience = _patience(law)
    courses = []
    for came in np.sort(random.uniform(0, DAYS * DAY, many)):
        at, steps = first + float(came), []
        gives_up = at + float(random.exponential(patience))
        for (stage, hold), stay in way(law, random):
            steps.append(Step(_moment(at), stage, hold))
            at += stay * _pace(law, at - first)
            if at > gives_up:
                break
        if at > gives_up:
            courses.append(Course("console", tuple(steps), None, _moment(gives_up)))
        else:
            ready = _moment(at)
            courses.append(Course("console", (*steps, Step(ready, "ready")), ready, ready + timedelta(days=3)))
    return courses


class Oracle:
    """What the law itself would say: what remains from every state, from many devices that were drawn."""

    def __init__(self, law: Law, seed: int = 0, many: int = 100_000) -> None:
        random = np.random.default_rng(seed)
        stays: dict[State, list[tuple[float, float]]] = {}
        for _ in range(many):
            drawn = way(law, random)
            rest = sum(stay for _state, stay in drawn)
            for state, stay in drawn:
                rest -= stay
                stays.setdefault(state, []).append((stay, rest))
        self._stays: Mapping[State, np.ndarray] = {state: np.array(sorted(found)) for state, found in stays.items()}

    def width(self, state: State, spent: float, pace: float, chance: float = 0.8) -> float:
        """How wide the law's own window is for a device that has been in a state so long, in open seconds."""
        found = self._stays[state]
        longer = found[np.searchsorted(found[:, 0], spent / pace, side="right") :]
        if len(longer) < 200:
            return float("nan")
        remains = longer.sum(axis=1)
        low, high = np.quantile(remains, ((1 - chance) / 2, (1 + chance) / 2))
        return float(high - low) * pace


def pace_at(law: Law, moment: datetime) -> float:
    """How much longer than at first everything takes."""
    return _pace(law, CALENDAR.until(moment) - CALENDAR.until(START))


def _pace(law: Law, passed: float) -> float:
    return law.pace if passed > DAYS * DAY / 2 else 1.0


def _patience(law: Law) -> float:
    """The mean patience by which so many give up: the chance to outlast it is e^(−length / patience), about."""
    random = np.random.default_rng(1)
    lengths = [sum(stay for _state, stay in way(law, random)) for _ in range(4000)]
    return float(np.mean(lengths)) / ABANDONED


def _moment(open_seconds: float) -> datetime:
    return CALENDAR.after(datetime(2024, 12, 1, tzinfo=UTC), open_seconds)
