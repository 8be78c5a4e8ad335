"""How true forecasts have been: the past is gone through again, each forecast made with what was known then.

The interval score and the pinball loss are those of Gneiting and Raftery, Journal of the American Statistical
Association 102 (2007) 359–378; smaller is better.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from functools import partial

import numpy as np

from portal.rules.forecast import CHANCES, LEAST, Course, Past, learn, put_right, rank_of, spells
from portal.rules.open_time import OpenTime
from portal.rules.survival import Survival

RELEARN = timedelta(days=7)
Range = tuple[float, float]
Quantiles = Callable[[float], float | None]


@dataclass(frozen=True)
class Case:
    """One forecast that can be judged: which method, its window in open seconds from then, and what came."""

    method: str
    kind: str
    age: float  # open seconds since the device came
    chance: float
    window: Range
    middle: float
    came: float


@dataclass(frozen=True)
class Verdict:
    """How a method did at a chance: coverage with the band that a true one lies in nineteen times of twenty."""

    method: str
    chance: float
    cases: int
    coverage: float
    band: Range
    width: float
    interval_score: float
    pinball: float

    @property
    def within(self) -> bool:
        """Whether the coverage lies in its band."""
        return self.band[0] <= self.coverage <= self.band[1]


def interval_score(window: Range, came: float, chance: float) -> float:
    """The width, and for what fell outside its distance, weighed by 2 / (1 − chance)."""
    low, high = window
    outside = max(low - came, 0.0) + max(came - high, 0.0)
    return (high - low) + 2.0 / (1.0 - chance) * outside


def pinball(guess: float, came: float, point: float) -> float:
    """The loss of a quantile: `point` of what it fell short, 1 − `point` of what it went too far."""
    return point * (came - guess) if came >= guess else (1.0 - point) * (guess - came)


def binomial_band(chance: float, cases: int) -> Range:
    """Where the share of hits of a true forecast lies with 95 %: the normal approximation, within 0 and 1."""
    reach = 1.96 * math.sqrt(chance * (1 - chance) / cases) if cases else 1.0
    return max(chance - reach, 0.0), min(chance + reach, 1.0)


@dataclass(frozen=True)
class _Moment:
    """A device entered a state, and what was known by then: the state's curve, and how long finished ones took."""

    now: datetime
    each: Course
    curve: Survival
    finished: Sequence[float]
    came: float


def replay(courses: Sequence[Course], calendar: OpenTime, usual_seconds: float) -> list[Case]:
    """Every forecast that could have been made when a device entered a state, by every method.

    Rivals: the shop's flat usual time, mean and spread of the finished, quantiles of the finished. `usual_seconds` is
    the open time that the shop tells everybody.
    """
    cases: list[Case] = []
    ranks: list[tuple[datetime, float]] = []
    for moment in _moments(courses, calendar):
        age = calendar.between(moment.each.steps[0].at, moment.now)
        lately = known_ranks(ranks, moment.now)
        methods: dict[str, Quantiles] = {
            "shop": partial(moment.curve.remaining, spent=0.0),
            "usual": partial(_usual, usual_seconds, age),
            "mean and spread": partial(_normal, moment.finished, age),
            "finished only": partial(_finished, moment.finished, age),
        }
        for method, quantile in methods.items():
            for chance in CHANCES:
                wide = put_right(chance, lately) if method == "shop" else chance
                found = [quantile(point) for point in ((1 - wide) / 2, 0.5, (1 + wide) / 2)]
                longest = float(moment.curve.times[-1])
                low, middle, high = (longest if each is None else each for each in found)
                window = (low, max(high, low))
                cases.append(Case(method, moment.each.kind, age, chance, window, middle, moment.came))
        ranks.append(_rank(moment))
    return cases


def past_ranks(courses: Sequence[Course], calendar: OpenTime) -> list[tuple[datetime, float]]:
    """For every forecast that could have been made: when it was known how it came out, and at which chance it held."""
    return [_rank(moment) for moment in _moments(courses, calendar)]


def known_ranks(ranks: Sequence[tuple[datetime, float]], now: datetime) -> list[float]:
    """The chances at which those forecasts held whose outcome is known by now."""
    return [rank for known_at, rank in ranks if known_at <= now]


def judged(cases: Sequence[Case]) -> list[Verdict]:
    """A verdict for each method and chance."""
    groups: dict[tuple[str, float], list[Case]] = {}
    for case in cases:
        groups.setdefault((case.method, case.chance), []).append(case)
    return [_verdict(method, chance, members) for (method, chance), members in groups.items()]


def by(cases: Sequence[Case], name: Callable[[Case], str]) -> Mapping[str, list[Verdict]]:
    """The verdicts for each group of cases, for example by kind."""
    groups: dict[str, list[Case]] = {}
    for case in cases:
        groups.setdefault(name(case), []).append(case)
    return {key: judged(members) for key, members in sorted(groups.items())}


def _moments(courses: Sequence[Course], calendar: OpenTime) -> Iterator[_Moment]:
    """Every entering of a state before ready, in order; what is known is learned anew once a week."""
    past, learned_at = Past(), None
    finished: list[float] = []
    entered = sorted(
        ((step.at, place, each) for each in courses if each.ready_at for place, step in enumerate(each.steps)),
        key=lambda found: (found[0], found[1]),
    )
    for now, place, each in entered:
        if each.ready_at is None or now >= each.ready_at:
            continue
        if learned_at is None or now - learned_at >= RELEARN:
            known = [_as_known(other, now) for other in courses if other.steps[0].at < now]
            past = learn(spells(known, now, calendar))
            finished = [calendar.between(other.steps[0].at, other.ready_at) for other in known if other.ready_at]
            learned_at = now
        curve = past.curve(each.steps[place].state, each.kind)
        if curve is not None and len(finished) >= LEAST:
            yield _Moment(now, each, curve, finished, calendar.between(now, each.ready_at))


def _rank(moment: _Moment) -> tuple[datetime, float]:
    return moment.each.ready_at or moment.now, rank_of(moment.curve, 0.0, moment.came)


def _as_known(each: Course, now: datetime) -> Course:
    """A course as it looked at a moment: what came later is not known yet."""
    steps = tuple(step for step in each.steps if step.at <= now)
    ready = each.ready_at if each.ready_at and each.ready_at <= now else None
    return Course(each.kind, steps, ready, each.ended_at if each.ended_at and each.ended_at <= now else None)


def _usual(seconds: float, age: float, point: float) -> float:
    """The time that the shop tells everybody, give or take a half."""
    return max(seconds - age, 0.0) * (0.5 + point)


def _finished(finished: Sequence[float], age: float, point: float) -> float:
    return max(float(np.quantile(finished, point)) - age, 0.0)


def _normal(finished: Sequence[float], age: float, point: float) -> float:
    spread = {0.1: -1.2816, 0.25: -0.6745, 0.5: 0.0, 0.75: 0.6745, 0.9: 1.2816}[round(point, 4)]
    return max(float(np.mean(finished)) + spread * float(np.std(finished)) - age, 0.0)


def _verdict(method: str, chance: float, cases: Sequence[Case]) -> Verdict:
    hits = sum(case.window[0] <= case.came <= case.window[1] for case in cases)
    edges = ((1 - chance) / 2, (1 + chance) / 2)
    losses = [
        pinball(guess, case.came, point) for case in cases for guess, point in zip(case.window, edges, strict=True)
    ]
    return Verdict(
        method,
        chance,
        len(cases),
        hits / len(cases),
        binomial_band(chance, len(cases)),
        float(np.mean([case.window[1] - case.window[0] for case in cases])),
        float(np.mean([interval_score(case.window, case.came, chance) for case in cases])),
        float(np.mean(losses)),
    )
