"""When a device will probably be ready: a window of days with its chance, from the shop's own past.

A device stands in a state: its stage, and the hold it waits in. For every state the past tells how long devices stayed
in it, and how much open time went by from leaving it until they were ready, however they got there: by every stage,
past some, back again, waiting. So skipping, going back and holds are in the figure without being reckoned one by one.
What is still open enters as censored (Kaplan–Meier). What remains is the rest of the stay, given the time already
spent, and then the rest of the way: the sum of both, each with each. Never a promise.

The newest spells speak, so that a shop whose pace has changed is believed soon; and where windows lay lately is put
right by how their forecasts came out (`put_right`).
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from itertools import zip_longest
from typing import Any

import numpy as np

from portal.rules.open_time import OpenTime
from portal.rules.policy import Policy
from portal.rules.stages import Ending, Event
from portal.rules.survival import Survival, product_limit

LEAST = 20  # finished devices of a state, before its past says anything
ENOUGH_OF_A_KIND = 60  # finished devices of a kind in a state, before a kind speaks for itself
NEWEST = 400  # finished spells of a state that speak; older ones are forgotten
PUT_RIGHT_BY = 200  # the forecasts that came out last, by which windows are put right
FEW = 40  # fewer of those put nothing right
GRAIN = 64  # lengths that stand for a curve where two are summed, each with each;
FINE = 16  # of the sums every so manieth is kept: 256
CHANCES = (0.5, 0.8)
REPAIRED = (Ending.COLLECTED, Ending.POSTED)


@dataclass(frozen=True)
class Step:
    """That a device entered a state at a moment: a stage, with the hold it waited in, or "" for none."""

    at: datetime
    stage: str
    hold: str = ""

    @property
    def state(self) -> str:
        """The state's name."""
        return f"{self.stage} {self.hold}".strip()


@dataclass(frozen=True)
class Promise:
    """That the shop promised by hand, at a moment, to be ready on a day."""

    at: datetime
    day: date


@dataclass(frozen=True)
class Course:
    """One device's way through the shop. `ready_at`: first in the last stage; `ended_at`: when it left."""

    kind: str
    steps: tuple[Step, ...]
    ready_at: datetime | None
    ended_at: datetime | None
    promises: tuple[Promise, ...] = ()


@dataclass(frozen=True)
class Spells:
    """Enterings of states, one a place in each array, the newest last; lengths in open seconds.

    `stay` and `rest` lasted at least so long where `left` and `ready` are False; there is no rest before it left.
    """

    states: np.ndarray  # names
    kinds: np.ndarray  # names
    stay: np.ndarray  # in the state
    left: np.ndarray  # whether it went on to another state
    rest: np.ndarray  # from then until it was ready
    ready: np.ndarray  # whether it became ready


@dataclass(frozen=True)
class Ahead:
    """What lies ahead of whoever enters a state: the stay in it, and the rest of the way until ready."""

    stay: Survival
    rest: Survival

    def remaining(self, spent: float) -> np.ndarray:
        """How much longer it takes, given the time already spent: lengths equally likely, the shortest first.

        Empty where nothing in the past stayed so long.
        """
        stay = self.stay.equally_likely(GRAIN, spent)
        rest = self.rest.equally_likely(GRAIN)
        sums = np.sort(np.add.outer(stay, rest), axis=None)
        return sums[FINE // 2 :: FINE]


@dataclass(frozen=True)
class Window:
    """First and last day (both included) with the chance that the device is ready within, and the median day."""

    first: date
    last: date
    median: date
    chance: float


@dataclass(frozen=True)
class Thin:
    """The past says nothing: too few finished, of those that are needed; or none that lasted as long as this."""

    found: int
    needed: int = LEAST


@dataclass
class Past:
    """What the past tells, by state; and by state and kind where there is enough of it.

    A stage with whatever hold is the state “<stage> *”. `came_out`: at which chance the forecasts that came out last
    had seen what came (0 at once, 1 never), sorted.
    """

    curves: dict[tuple[str, str], Ahead] = field(default_factory=dict)
    counts: dict[str, int] = field(default_factory=dict)
    came_out: Sequence[float] = ()

    def remaining(self, state: str, kind: str, spent: float) -> np.ndarray:
        """How much longer it takes in a state, as the fittest curve tells in which anything stayed so long.

        First for the kind, then for all kinds, then for the stage whatever the hold. Empty where none tells anything.
        """
        curves = (self.curves[key] for key in lookups(state, kind) if key in self.curves)
        return next((found for each in curves if (found := each.remaining(spent)).size), np.array([]))


def lookups(state: str, kind: str) -> list[tuple[str, str]]:
    """Where to look for the curve of a state and kind, the fittest first."""
    whole = any_hold(state)
    return [(state, kind), (state, ""), (whole, kind), (whole, "")]


def any_hold(state: str) -> str:
    """A state's stage with whatever hold."""
    return f"{state.split(' ')[0]} *"


def course(kind: str, events: Iterable[tuple[datetime, Event]], stages: Sequence[str]) -> Course | None:
    """A device's way, from its journal; None where it never arrived, or where only its ends are known.

    `stages` are the shop's, in order. One that it renamed or has no more is as good as any other; what was handed over
    from such a one was ready there, since nothing else is handed over.
    """
    steps: list[Step] = []
    promises: list[Promise] = []
    stage, hold, ready_at, ended_at = "", "", None, None
    for at, event in events:
        match event.name:
            case "taken_over" if event.data.get("known") == "ends":
                return None
            case "arrived" | "moved":
                stage = event.data["stage"]
                if stage == stages[-1] and ready_at is None:
                    ready_at = at
            case "held":
                hold = event.data["hold"]
            case "released":
                hold = ""
            case "ended":
                ended_at = at
                if ready_at is None and stage not in stages and event.data.get("ending") in REPAIRED:
                    ready_at = next(step.at for step in steps if step.stage == stage)
            case "reopened":
                ended_at = None
            case "promised":
                promises.append(Promise(at, date.fromisoformat(event.data["day"])))
            case _:
                continue
        if stage and event.name in ("arrived", "moved", "held", "released"):
            steps.append(Step(at, stage, hold))
    return Course(kind, tuple(steps), ready_at, ended_at, tuple(promises)) if steps else None


def calendar_of(policy: Policy, ways: Iterable[Course], until: datetime) -> OpenTime:
    """The open time from before the first of them came until a moment, whatever day that is in the shop's zone."""
    first = min((way.steps[0].at for way in ways), default=until)
    a_day = timedelta(days=1)
    return OpenTime(policy, first.date() - a_day, until.date() + a_day)


class Laid:
    """Courses laid on the calendar: an entry each time a device entered a state before it was ready, oldest first.

    Moments are POSIX seconds (`…_at`) and open seconds of the calendar; what has not happened is infinite.
    """

    def __init__(self, courses: Sequence[Course], calendar: OpenTime) -> None:
        rows = [
            (_seconds(step.at), place, number, step.state, each.kind, _seconds(after.at if after else each.ready_at))
            for number, each in enumerate(courses)
            for place, (step, after) in enumerate(zip_longest(each.steps, each.steps[1:]))
            if each.ready_at is None or step.at < each.ready_at
        ]
        rows.sort(key=lambda row: row[:2])
        self.at = np.array([row[0] for row in rows])
        self.device = np.array([row[2] for row in rows], dtype=int)
        self.states = np.array([row[3] for row in rows], dtype=object)
        self.kinds = np.array([row[4] for row in rows], dtype=object)
        self.left_at = np.array([row[5] for row in rows])
        came_at = np.array([_seconds(each.steps[0].at) for each in courses])
        ready_at = np.array([_seconds(each.ready_at) for each in courses])
        ended_at = np.array([_seconds(each.ended_at) for each in courses])
        self.ready_at, self.ended_at = ready_at[self.device], ended_at[self.device]
        self.began, self.left = calendar.until_all(self.at), calendar.until_all(self.left_at)
        self.came, self.ready, self.ended = (
            calendar.until_all(each)[self.device] for each in (came_at, ready_at, ended_at)
        )

    def known(self, now: float, open_now: float) -> Spells:
        """The spells as they looked at a moment: what came later is not known yet."""
        many = int(np.searchsorted(self.at, now, side="left"))
        left, ready = self.left_at[:many] <= now, self.ready_at[:many] <= now
        gone = ~ready & (self.ended_at[:many] <= now)
        until = np.where(gone, self.ended[:many], open_now)
        stay = np.where(left, self.left[:many], until) - self.began[:many]
        with np.errstate(invalid="ignore"):  # there is no rest before it left
            rest = np.where(ready, self.ready[:many], until) - self.left[:many]
        # Impossible dates say nothing.
        fit = (stay >= 0) & (~left | (rest >= 0))
        states, kinds = self.states[:many], self.kinds[:many]
        return Spells(states[fit], kinds[fit], stay[fit], left[fit], rest[fit], ready[fit])


def spells(courses: Sequence[Course], now: datetime, calendar: OpenTime) -> Spells:
    """Every entering of a state that was known at a moment, with how long everything took from there."""
    return Laid(courses, calendar).known(now.timestamp(), calendar.until(now))


def learn(found: Spells) -> Past:
    """What the past tells; of a state with too little of it nothing."""
    past = Past()
    states = {state: np.flatnonzero(found.states == state) for state in dict.fromkeys(found.states)}
    wholes: dict[str, list[np.ndarray]] = {}
    for state, places in states.items():
        wholes.setdefault(any_hold(state), []).append(places)
    everything = states | {whole: np.sort(np.concatenate(parts)) for whole, parts in wholes.items()}
    for state, places in everything.items():
        past.counts[state] = int(np.count_nonzero(found.ready[places]))
        kinds = found.kinds[places]
        groups = [("", LEAST, places)]
        groups += [(kind, ENOUGH_OF_A_KIND, places[kinds == kind]) for kind in dict.fromkeys(kinds)]
        for kind, needed, members in groups:
            if np.count_nonzero(found.ready[members]) >= needed:
                past.curves[state, kind] = _ahead(found, _newest(found.ready[members], members))
    return past


def forecast(
    past: Past, step: Step, kind: str, now: datetime, calendar: OpenTime, chance: float = 0.8
) -> Window | Thin:
    """The window for a device that has been in a state since `step`, as it looks now."""
    return forecasts(past, step, kind, now, calendar, (chance,))[0]


def forecasts(
    past: Past, step: Step, kind: str, now: datetime, calendar: OpenTime, chances: Sequence[float]
) -> list[Window | Thin]:
    """The same for several chances at once."""
    lengths = past.remaining(step.state, kind, calendar.between(step.at, now))
    if lengths.size == 0:
        return [Thin(past.counts.get(step.state, 0)) for _ in chances]
    told: list[Window | Thin] = []
    for chance in chances:
        first, median, last = (calendar.after(now, end).date() for end in ends(lengths, chance, past.came_out))
        told.append(Window(first, last, median, chance))
    return told


def ends(lengths: np.ndarray, chance: float, came_out: Sequence[float]) -> tuple[float, float, float]:
    """A window's ends with the median between, in open seconds, from lengths that are equally likely."""
    points = ((1 - chance) / 2, 0.5, (1 + chance) / 2)
    places = [put_right(point, came_out) * lengths.size for point in points]
    low, middle, high = (float(lengths[min(int(place), lengths.size - 1)]) for place in places)
    return low, max(middle, low), max(high, middle, low)


def put_right(point: float, came_out: Sequence[float]) -> float:
    """The chance to read off so that what comes lies below as often as `point` says, judged by what came lately.

    Split conformal prediction, each side for itself: above the middle the smallest that covers ceil((n + 1) × point)
    of n, below it the greatest that floor((n + 1) × point) do not reach (Vovk, Gammerman, Shafer, Algorithmic Learning
    in a Random World, 2005). `came_out` is sorted.
    """
    many = len(came_out)
    if many == 0:
        return point
    if point == 0.5:
        return float(np.quantile(np.asarray(came_out), 0.5))
    place = (many + 1) * point
    whole = int(np.ceil(place - 1e-9)) if point > 0.5 else int(np.floor(place + 1e-9))
    if whole < 1:
        return 0.0
    return float(came_out[whole - 1]) if whole <= many else 1.0


def latest(came_out: Sequence[float]) -> list[float]:
    """What windows are put right by: the last that came out, sorted; nothing while they are few."""
    recent = sorted(came_out[-PUT_RIGHT_BY:])
    return recent if len(recent) >= FEW else []


def seen_at(lengths: np.ndarray, took: float) -> float:
    """The chance, as the forecast saw it, that what came would have come by then."""
    below, up_to = (np.searchsorted(lengths, took, side=side) for side in ("left", "right"))
    return float(below + up_to) / 2 / lengths.size


def as_data(ahead: Ahead) -> Mapping[str, Any]:
    """What lies ahead, as it is stored."""
    return {"stay": _stored(ahead.stay), "rest": _stored(ahead.rest)}


def from_data(data: Mapping[str, Any]) -> Ahead:
    """What lies ahead, as it was stored."""
    return Ahead(_restored(data["stay"]), _restored(data["rest"]))


def _ahead(found: Spells, members: np.ndarray) -> Ahead:
    gone_on = members[found.left[members]]
    return Ahead(
        product_limit(found.stay[members], found.left[members]),
        product_limit(found.rest[gone_on], found.ready[gone_on]),
    )


def _stored(curve: Survival) -> Mapping[str, Any]:
    return {"times": curve.times.round(0).tolist(), "longer": curve.longer.round(6).tolist()}


def _restored(data: Mapping[str, Any]) -> Survival:
    return Survival(np.array(data["times"], dtype=float), np.array(data["longer"], dtype=float))


def _newest(ready: np.ndarray, members: np.ndarray) -> np.ndarray:
    """The newest of the members, the oldest first, among which `NEWEST` became ready."""
    finished = np.cumsum(ready[::-1])
    many = int(np.searchsorted(finished, NEWEST, side="left")) + 1
    return members[-many:]


def _seconds(at: datetime | None) -> float:
    return np.inf if at is None else at.timestamp()
