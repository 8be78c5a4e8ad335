"""A year of an invented shop, told through the same deeds as the real thing, so that it obeys every rule.

Deterministic: one seed tells one year. Time is a clock that walks; each deed is done when it would have been.
"""

from __future__ import annotations

import tomllib
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime, time, timedelta
from pathlib import Path
from random import Random
from typing import Any
from zoneinfo import ZoneInfo

from notifications.instants import FixedClock
from portal.actions import handover, moves, notes, record, sheet, shelf, tray
from portal.actions.desk import By, Desk
from portal.actions.intake import NewDevice, NewVisit, take_in
from portal.actions.sheet import Typed
from portal.rules.intake_record import Item, Liquid, Mark, Record, Seal
from portal.rules.limits import parse_limits
from portal.rules.policy import Policy
from portal.rules.tray import NewLine

FINISHED, OPEN = 320, 46
_ZONE = ZoneInfo("Europe/London")
Deed = Callable[[str], object]


@dataclass(order=True)
class Step:
    """One deed of one story, when it is done."""

    at: datetime
    order: int
    do: Deed = field(compare=False)


@dataclass
class Story:
    """One device's way through the shop: who brings what, and the steps after taking in."""

    begins: datetime
    arrival: NewVisit
    steps: list[Step] = field(default_factory=list)
    number: str = ""


@dataclass
class Teller:
    """Makes up stories. `by` are the two people of the shop."""

    chance: Random
    policy: Policy
    desk: Desk
    bench: By
    keeper: By
    words: dict[str, Any]

    def finished(self, begins: datetime) -> Story:
        """A device that came, was mended (or not), and went."""
        story, device = self._begin(begins)
        at = self._work(story, device, begins)
        if self.chance.random() < 0.08:
            reason = self.chance.choice(self.words["reasons_return"])
            self._step(story, at, lambda number: tray.end_all(self.desk, self.bench, number, "put back"))
            self._step(story, at, lambda number: handover.return_unrepaired(self.desk, self.bench, number, reason))
            return story
        at = self._test_and_ready(story, device, at)
        fetched = at + timedelta(days=self.chance.choice((1, 1, 2, 3, 5, 9)))
        self._step(story, fetched, lambda number: handover.hand_over(self.desk, self.keeper, number))
        return story

    def open(self, begins: datetime, depth: int) -> Story:
        """A device that is still here, stopped somewhere on its way: 0 just received, 4 ready."""
        story, device = self._begin(begins)
        if depth == 0:
            return story
        at = self._work(story, device, begins)
        if depth >= 3:
            self._test_and_ready(story, device, at, ready=depth >= 4)
        elif self.chance.random() < 0.6:
            kind = self.chance.choice(("part", "customer", "approval", "dispute"))
            self._step(story, at, lambda number: moves.hold(self.desk, self.bench, number, kind))
        return story

    def _begin(self, begins: datetime) -> tuple[Story, dict[str, Any]]:
        device = self.chance.choice(self.words["devices"])
        name = self.chance.choice(self.words["names"])
        mail = "" if self.chance.random() < 0.2 else f"{name.lower().replace(' ', '.')}@example.org"
        phone = f"07700 900{self.chance.randrange(1000):03}" if self.chance.random() < 0.8 else ""
        fault = self.chance.choice(device["faults"])
        needed = begins.date() + timedelta(days=self.chance.randrange(7, 40)) if self.chance.random() < 0.15 else None
        new = NewDevice(device["name"], fault, device["kind"], needed_by=needed, express=self.chance.random() < 0.06)
        language = "de" if name in self.words["german"] else "en"
        visit = NewVisit(
            [new],
            name=name,
            email=mail,
            phone=phone,
            language=language,
            phone_is_on_bench=device["kind"] == "phone" and bool(phone),
        )
        story = Story(begins, visit)
        if self.chance.random() < 0.85:
            written = self._record(device)
            later = begins + timedelta(minutes=self.chance.randrange(3, 20))
            self._step(story, later, lambda number: record.record(self.desk, self.bench, number, written))
        place = self.chance.choice(self.words["places"])
        self._step(
            story, begins + timedelta(minutes=25),
            lambda number: shelf.put(self.desk, self.bench, number, place=place, express=new.express,
                                     needed_by=needed.isoformat() if needed else ""),
        )  # fmt: skip
        return story, device

    def _record(self, device: dict[str, Any]) -> Record:
        kind = self.policy.kind(device["kind"])
        marks = list(kind.marks[:4]) if kind else []
        marks = [mark for mark in marks if "swollen" not in mark]
        seen = [Mark(mark, place=self.chance.choice(("front", "back", "left edge"))) for mark in marks[:2]]
        items = [Item("power supply")] if self.chance.random() < 0.5 else []
        return Record(
            shop_sees=device["found"],
            marks=seen,
            seal=self.chance.choice(list(Seal)).value,
            liquid=Liquid.NONE_SEEN.value,
            items=items,
        )

    def _work(self, story: Story, device: dict[str, Any], begins: datetime) -> datetime:
        """Cleaning or not, board work, the tray; with waits, notes and mistakes. Tells when it is done."""
        at = begins + timedelta(days=self.chance.choice((1, 1, 2, 3, 4)), hours=self.chance.randrange(3))
        if self.chance.random() < 0.6:
            self._step(story, at, lambda number: moves.move(self.desk, self.bench, number, "cleaning"))
            at += timedelta(hours=self.chance.randrange(2, 30))
        self._step(story, at, lambda number: moves.move(self.desk, self.bench, number, "board_work"))
        lines = [NewLine("case screws", str(self.chance.randrange(4, 12))), NewLine("metal shield")]
        self._step(
            story, at + timedelta(minutes=30), lambda number: tray.take_out(self.desk, self.bench, number, lines)
        )
        said = self.chance.choice(self.words["bench_notes"])
        self._step(story, at + timedelta(hours=1), lambda number: notes.note(self.desk, self.bench, number, said))
        if self.chance.random() < 0.25:
            at = self._wait(story, at + timedelta(hours=2))
        told = self.chance.choice(device["notes"])
        at += timedelta(days=self.chance.choice((0, 1, 1, 2)), hours=2)
        self._step(story, at, lambda number: notes.note(self.desk, self.bench, number, told, audience="customer"))
        if self.chance.random() < 0.05:
            right = self.chance.choice(self.words["corrections"])
            self._step(
                story, at + timedelta(minutes=9), lambda number: notes.correct(self.desk, self.bench, number, 1, right)
            )
        return at + timedelta(hours=1)

    def _wait(self, story: Story, at: datetime) -> datetime:
        kind = self.chance.choice(("part", "part", "approval", "customer"))
        self._step(story, at, lambda number: moves.hold(self.desk, self.bench, number, kind))
        over = at + timedelta(days=self.chance.choice((1, 2, 4, 8)))
        self._step(story, over, lambda number: moves.hold(self.desk, self.bench, number, "none"))
        return over

    def _test_and_ready(self, story: Story, device: dict[str, Any], at: datetime, *, ready: bool = True) -> datetime:
        kind = self.policy.kind(device["kind"])
        passed = [
            Typed(check.key, "after", "" if check.limits else "pass", value=_middle(check.limits))
            for check in (kind.checks if kind else [])
            if check.needed and check.when != "before" and not check.soak_minutes
        ]
        self._step(story, at, lambda number: tray.end_all(self.desk, self.bench, number, "put back"))
        at += timedelta(minutes=20)
        self._step(story, at, lambda number: moves.move(self.desk, self.bench, number, "testing", confirmed=True))
        if self.chance.random() < 0.12:
            why = self.chance.choice(self.words["reasons_back"])
            self._step(
                story,
                at + timedelta(hours=1),
                lambda number: moves.move(self.desk, self.bench, number, "board_work", why=why),
            )
            at += timedelta(days=1)
            self._step(story, at, lambda number: moves.move(self.desk, self.bench, number, "testing", confirmed=True))
        if passed:
            self._step(
                story, at + timedelta(hours=2), lambda number: sheet.fill_in(self.desk, self.bench, number, passed)
            )
        if ready:
            at += timedelta(hours=self.chance.randrange(3, 20))
            self._step(story, at, lambda number: moves.move(self.desk, self.bench, number, "ready", confirmed=True))
        return at

    def _step(self, story: Story, at: datetime, deed: Deed) -> None:
        story.steps.append(Step(at, len(story.steps), deed))


def tell(desk: Desk, clock: FixedClock, now: datetime, bench: By, keeper: By, seed: int) -> Iterator[datetime]:
    """Live through the year up to `now`; yields each evening, so that the caller can send the day's mail."""
    chance = Random(f"stories {seed}")  # noqa: S311 (stories, not secrets)
    words = tomllib.loads((Path(__file__).parent / "words.toml").read_text(encoding="utf-8"))
    with desk.reading() as connection:
        policy = desk.policy(connection)
    teller = Teller(chance, policy, desk, bench, keeper, words)
    stories = _stories(teller, now)
    events: list[tuple[datetime, int, int, Story, Step | None]] = []
    for place, story in enumerate(stories):
        events.append((story.begins, place, -1, story, None))
        events += [(step.at, place, step.order, story, step) for step in story.steps if step.at < now]
    yield from _live(desk, clock, bench, sorted(events, key=lambda event: event[:3]))
    clock.at = now


def _live(
    desk: Desk, clock: FixedClock, bench: By, events: Sequence[tuple[datetime, int, int, Story, Step | None]]
) -> Iterator[datetime]:
    day = events[0][0].date()
    for at, _place, _order, story, step in events:
        if at.date() != day:
            yield clock.now()
            day = at.date()
        clock.at = at
        if step is None:
            story.number = take_in(desk, bench, story.arrival).numbers[0]
        else:
            step.do(story.number)
    yield clock.now()


def _stories(teller: Teller, now: datetime) -> list[Story]:
    stories: list[Story] = []
    while len(stories) < FINISHED:
        begins = _opening(teller.chance, now, 35, 365)
        story = teller.finished(begins)
        if story.steps[-1].at < now - timedelta(hours=1):
            stories.append(story)
    for place in range(OPEN):
        depth = place % 5
        latest = {0: (0, 6), 1: (4, 16), 2: (5, 20), 3: (14, 30), 4: (20, 60)}[depth]
        stories.append(teller.open(_opening(teller.chance, now, *latest), depth))
    return stories


def _opening(chance: Random, now: datetime, least_days: int, most_days: int) -> datetime:
    """A moment in opening hours, so many days ago."""
    while True:
        day = now.astimezone(_ZONE).date() - timedelta(days=chance.randint(least_days, most_days))
        local = datetime.combine(day, time(9 + chance.randrange(8), chance.randrange(60)), _ZONE)
        moment = local.astimezone(UTC)
        if day.weekday() < 5 and moment < now - timedelta(hours=1):
            return moment


def _middle(limits: str) -> str:
    """A good measured value: the middle of the limits, or the one limit there is."""
    found = parse_limits(limits)
    if found is None:
        return ""
    low, high = found.low, found.high
    value = (low + high) / 2 if low is not None and high is not None else (low if low is not None else high)
    return f"{value} {found.unit}"
