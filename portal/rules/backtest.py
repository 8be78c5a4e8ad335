"""How true forecasts have been: the past is gone through again, each forecast made with what was known then.

The interval score and the pinball loss are those of Gneiting and Raftery, Journal of the American Statistical
Association 102 (2007) 359–378; smaller is better.
"""

from __future__ import annotations

import math
from bisect import bisect_right
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from functools import partial

import numpy as np

from portal.rules.forecast import CHANCES, LEAST, Course, Laid, Past, ends, latest, learn, seen_at
from portal.rules.open_time import OpenTime

RELEARN = timedelta(days=7)
LATELY = timedelta(days=120)  # windows are trusted by the devices that were ready in this time,
AT_LEAST, AT_MOST = 150, 400  # so many of them
BY_HAND = "by hand"  # what was promised, as a method among the others
Range = tuple[float, float]
Quantiles = Callable[[float], float]


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
    device: int = 0  # its place among the courses

    @property
    def held(self) -> bool:
        """Whether what came lies in the window."""
        return self.window[0] <= self.came <= self.window[1]


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


@dataclass(frozen=True)
class Trust:
    """How the shop's windows of 80 % did lately, and how the last forecasts came out, sorted.

    Forecasts of one device hang together, so that the band counts `devices`.
    """

    cases: int
    devices: int
    coverage: float
    came_out: Sequence[float]

    @property
    def held(self) -> bool:
        """Whether windows held as often as they said; that they held more often makes them no lie."""
        return self.devices >= LEAST and self.coverage >= binomial_band(0.8, self.devices)[0]


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
class Moment:
    """A moment at which a forecast could be made, what it would have said, and what came."""

    now: float  # POSIX seconds
    device: int  # its place among the courses
    kind: str
    age: float  # open seconds since it came
    lengths: np.ndarray  # how much longer it takes, equally likely
    finished: np.ndarray  # how long devices took that were ready by then
    came_at: float  # when it was ready, POSIX seconds
    came: float  # how long that took from now, open seconds


def replay(courses: Sequence[Course], calendar: OpenTime, usual_seconds: float) -> list[Case]:
    """Every forecast that could have been made when a device entered a state, by every method; and every promise.

    Rivals: the shop's flat usual time, mean and spread of the finished, quantiles of the finished. `usual_seconds` is
    the open time that the shop tells everybody.
    """
    cases: list[Case] = []
    for moment, came_out in told(list(moments(courses, calendar))):
        for chance in CHANCES:
            cases.append(own_case(moment, chance, came_out))
            cases.extend(rivals(moment, chance, usual_seconds))
    return [*cases, *promised(courses, calendar)]


def promised(courses: Sequence[Course], calendar: OpenTime) -> list[Case]:
    """What was promised by hand, as a window from that moment until the day is over; judged as one of 80 %."""
    found = []
    for number, each in enumerate(courses):
        for promise in each.promises if each.ready_at else ():
            if each.ready_at is None or promise.at >= each.ready_at:
                continue
            allowed = calendar.between(promise.at, calendar.midnight_after(promise.day))
            came = calendar.between(promise.at, each.ready_at)
            age = calendar.between(each.steps[0].at, promise.at)
            found.append(Case(BY_HAND, each.kind, age, 0.8, (0.0, allowed), allowed, came, number))
    return found


def own_case(moment: Moment, chance: float, came_out: Sequence[float]) -> Case:
    """What the shop's own method said at a moment."""
    low, middle, high = ends(moment.lengths, chance, came_out)
    return Case("shop", moment.kind, moment.age, chance, (low, high), middle, moment.came, moment.device)


def rivals(moment: Moment, chance: float, usual_seconds: float) -> Iterator[Case]:
    """What simple methods would have said at a moment."""
    methods: dict[str, Quantiles] = {
        "usual": partial(_usual, usual_seconds, moment.age),
        "mean and spread": partial(_normal, moment.finished, moment.age),
        "finished only": partial(_finished, moment.finished, moment.age),
    }
    for method, quantile in methods.items():
        low, middle, high = (quantile(point) for point in ((1 - chance) / 2, 0.5, (1 + chance) / 2))
        window = (low, max(high, low))
        yield Case(method, moment.kind, moment.age, chance, window, middle, moment.came, moment.device)


def told(found: Sequence[Moment]) -> Iterator[tuple[Moment, list[float]]]:
    """Each moment with how the forecasts before it had come out by then, as `quantiles` wants it."""
    out = sorted((moment.came_at, seen_at(moment.lengths, moment.came)) for moment in found)
    times, seen = [at for at, _ in out], [chance for _, chance in out]
    for moment in found:
        yield moment, latest(seen[: bisect_right(times, moment.now)])


def trust(courses: Sequence[Course], calendar: OpenTime, now: datetime) -> Trust:
    """How the forecasts that came out lately did, and by what the next ones are put right."""
    found = list(moments(courses, calendar, _lately(courses, now)))
    cases = [own_case(moment, 0.8, came_out) for moment, came_out in told(found) if came_out]
    seen = [chance for _, chance in sorted((each.came_at, seen_at(each.lengths, each.came)) for each in found)]
    hits = sum(case.held for case in cases)
    devices = len({case.device for case in cases})
    return Trust(len(cases), devices, hits / len(cases) if cases else 0.0, latest(seen))


def _lately(courses: Sequence[Course], now: datetime) -> list[int]:
    """The places of devices that were ready lately: all of a small shop's, some of a large one's, evenly spread."""
    done = sorted(
        (each.ready_at, place) for place, each in enumerate(courses) if each.ready_at and each.ready_at <= now
    )
    since = now - LATELY
    chosen = [place for at, place in done if at >= since]
    if len(chosen) < AT_LEAST:
        chosen = [place for _, place in done[-AT_LEAST:]]
    return chosen[:: -max(len(chosen) // AT_MOST, 1)]


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


def moments(courses: Sequence[Course], calendar: OpenTime, devices: Sequence[int] | None = None) -> Iterator[Moment]:
    """Every entering of a state before ready, in order, of all devices or of those at these places."""
    laid = Laid(courses, calendar)
    asked = np.isin(laid.device, np.asarray(devices)) if devices is not None else np.ones(laid.at.size, dtype=bool)
    places = np.flatnonzero(asked)
    return _as_known_then(courses, calendar, laid, zip(laid.at[places], laid.began[places], places, strict=True))


def moments_at(
    courses: Sequence[Course], calendar: OpenTime, asked: Iterable[tuple[datetime, int]]
) -> Iterator[Moment]:
    """The same at chosen moments of the devices at these places; those at which a device is not here are left out."""
    laid = Laid(courses, calendar)
    entries: dict[int, list[int]] = {}
    for place, device in enumerate(laid.device.tolist()):
        entries.setdefault(device, []).append(place)
    chosen = []
    for at, device in sorted(asked):
        here = [place for place in entries.get(device, []) if laid.at[place] <= at.timestamp() < laid.left_at[place]]
        chosen += [(at.timestamp(), calendar.until(at), place) for place in here[-1:]]
    return _as_known_then(courses, calendar, laid, chosen)


def _as_known_then(
    courses: Sequence[Course], calendar: OpenTime, laid: Laid, asked: Iterable[tuple[float, float, int]]
) -> Iterator[Moment]:
    """Forecasts at moments in order (POSIX seconds, open seconds, entry); what is known is learned once a week."""
    took = laid_out_durations(courses, calendar)
    past, learned_at, finished = Past(), -math.inf, np.array([])
    for now, open_now, place in asked:
        if not math.isfinite(laid.ready_at[place]) or laid.ready[place] <= open_now:
            continue
        if now - learned_at >= RELEARN.total_seconds():
            past = learn(laid.known(now, open_now))
            finished = took[1][: int(np.searchsorted(took[0], now, side="right"))]
            learned_at = now
        lengths = past.remaining(laid.states[place], laid.kinds[place], open_now - float(laid.began[place]))
        if lengths.size and len(finished) >= LEAST:
            yield Moment(
                float(now),
                int(laid.device[place]),
                laid.kinds[place],
                float(open_now - laid.came[place]),
                lengths,
                finished,
                float(laid.ready_at[place]),
                float(laid.ready[place] - open_now),
            )


def laid_out_durations(courses: Sequence[Course], calendar: OpenTime) -> tuple[np.ndarray, np.ndarray]:
    """When each finished device was ready (POSIX seconds, in order), and the open seconds since it came."""
    done = [each for each in courses if each.ready_at and each.ready_at > each.steps[0].at]
    ready_at = np.array([each.ready_at.timestamp() for each in done if each.ready_at])
    came_at = np.array([each.steps[0].at.timestamp() for each in done])
    order = np.argsort(ready_at, kind="stable")
    return ready_at[order], (calendar.until_all(ready_at) - calendar.until_all(came_at))[order]


def _usual(seconds: float, age: float, point: float) -> float:
    """The time that the shop tells everybody, give or take a half."""
    return max(seconds - age, 0.0) * (0.5 + point)


def _finished(finished: np.ndarray, age: float, point: float) -> float:
    return max(float(np.quantile(finished, point)) - age, 0.0)


def _normal(finished: np.ndarray, age: float, point: float) -> float:
    spread = {0.1: -1.2816, 0.25: -0.6745, 0.5: 0.0, 0.75: 0.6745, 0.9: 1.2816}[round(point, 4)]
    return max(float(np.mean(finished)) + spread * float(np.std(finished)) - age, 0.0)


def _verdict(method: str, chance: float, cases: Sequence[Case]) -> Verdict:
    hits = sum(case.held for case in cases)
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
