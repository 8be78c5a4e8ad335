"""When a device will probably be ready: a window of days with its chance, from the shop's own past.

A device stands in a state: its stage, and the hold it waits in. For every state the past tells how much open time went
by from entering it until the device was ready, however it got there: by every stage, past some, back again, waiting.
So skipping, going back and holds are in the figure without being reckoned one by one. What is still open enters as
censored (Kaplan–Meier), and the time already spent in the state is taken into account. Never a promise.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime

import numpy as np

from portal.rules.open_time import OpenTime
from portal.rules.stages import Event
from portal.rules.survival import Survival, product_limit

LEAST = 20  # finished devices of a state, before its past says anything
ENOUGH_OF_A_KIND = 60  # finished devices of a kind in a state, before a kind speaks for itself
CALIBRATED_BY = 200  # the most recent forecasts that the width is put right by
CHANCES = (0.5, 0.8)


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
class Course:
    """One device's way through the shop. `ready_at`: first in the last stage; `ended_at`: when it left."""

    kind: str
    steps: tuple[Step, ...]
    ready_at: datetime | None
    ended_at: datetime | None


@dataclass(frozen=True)
class Spell:
    """From entering a state until ready, in open seconds; censored where it is not known to have become ready."""

    state: str
    kind: str
    began: datetime
    seconds: float
    ready: bool


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
    """What the past tells, by state; and by state and kind where there is enough of it."""

    curves: dict[tuple[str, str], Survival] = field(default_factory=dict)
    counts: dict[str, int] = field(default_factory=dict)
    stretch: dict[float, float] = field(default_factory=dict)  # chance asked for → chance to read off, put right

    def curve(self, state: str, kind: str) -> Survival | None:
        """The curve of a state for a kind, or of all kinds, or of the state's stage without the hold."""
        stage = state.split(" ")[0]
        for key in ((state, kind), (state, ""), (stage, kind), (stage, "")):
            if key in self.curves:
                return self.curves[key]
        return None


def course(kind: str, events: Iterable[tuple[datetime, Event]], last_stage: str) -> Course | None:
    """A device's way, from its journal; None where it never arrived, or where only its ends are known."""
    steps: list[Step] = []
    stage, hold, ready_at, ended_at = "", "", None, None
    for at, event in events:
        match event.name:
            case "taken_over" if event.data.get("known") == "ends":
                return None
            case "arrived" | "moved":
                stage = event.data["stage"]
                if stage == last_stage and ready_at is None:
                    ready_at = at
            case "held":
                hold = event.data["hold"]
            case "released":
                hold = ""
            case "ended":
                ended_at = at
            case "reopened":
                ended_at = None
            case _:
                continue
        if stage and event.name in ("arrived", "moved", "held", "released"):
            steps.append(Step(at, stage, hold))
    return Course(kind, tuple(steps), ready_at, ended_at) if steps else None


def spells(courses: Iterable[Course], now: datetime, calendar: OpenTime) -> list[Spell]:
    """Every entering of a state that was known at a moment, with how long it took from there until ready."""
    found = []
    for each in courses:
        ready = each.ready_at is not None and each.ready_at <= now
        left = each.ended_at if each.ended_at is not None and each.ended_at <= now else None
        end = each.ready_at if ready and each.ready_at else left or now
        for step in each.steps:
            if step.at < end:
                found.append(Spell(step.state, each.kind, step.at, calendar.between(step.at, end), ready))
    return found


def learn(found: Sequence[Spell]) -> Past:
    """The curves of a past; a state with too little of it has none."""
    past = Past()
    groups: dict[tuple[str, str], list[Spell]] = {}
    for spell in found:
        stage = spell.state.split(" ")[0]
        for state in {spell.state, stage}:
            groups.setdefault((state, ""), []).append(spell)
            groups.setdefault((state, spell.kind), []).append(spell)
    for (state, kind), members in groups.items():
        finished = sum(spell.ready for spell in members)
        if not kind:
            past.counts[state] = finished
        if finished >= (ENOUGH_OF_A_KIND if kind else LEAST):
            past.curves[state, kind] = product_limit([s.seconds for s in members], [s.ready for s in members])
    return past


def forecast(
    past: Past, step: Step, kind: str, now: datetime, calendar: OpenTime, chance: float = 0.8
) -> Window | Thin:
    """The window for a device that has been in a state since `step`, as it looks now."""
    curve = past.curve(step.state, kind)
    if curve is None:
        return Thin(past.counts.get(step.state, 0))
    spent = calendar.between(step.at, now)
    wide = past.stretch.get(chance, chance)
    quantiles = [curve.remaining(point, spent) for point in ((1 - wide) / 2, 0.5, (1 + wide) / 2)]
    known = [each for each in quantiles if each is not None]
    if len(known) < 2:
        return Thin(past.counts.get(step.state, 0))
    low, middle = known[0], known[1]
    # Where the past does not reach so far, the longest that anything took is all that can be said.
    high = known[2] if len(known) == 3 else max(float(curve.times[-1]) - spent, middle)
    days = [calendar.after(now, seconds).date() for seconds in (low, middle, high)]
    return Window(days[0], days[2], days[1], chance)


def put_right(chance: float, ranks: Sequence[float]) -> float:
    """The chance to read off so that windows held as often as they said, lately.

    `ranks` are the chances at which recent windows would just have held (split conformal prediction: the smallest that
    covers ceil((n + 1) × chance) of n; Vovk, Gammerman, Shafer, Algorithmic Learning in a Random World, 2005).
    """
    recent = np.sort(np.asarray(ranks[-CALIBRATED_BY:], dtype=float))
    if recent.size == 0:
        return chance
    place = int(np.ceil((recent.size + 1) * chance))
    return float(recent[place - 1]) if place <= recent.size else 1.0


def rank_of(curve: Survival, spent: float, took: float) -> float:
    """The chance of the narrowest central window that would have held what came out."""
    alive = curve.at(spent)
    if alive <= 0:
        return 1.0
    longer = curve.at(spent + took) / alive
    return abs(2 * (1 - longer) - 1)
