"""A year of the demo shop, lived through by a clock that walks: who comes when, and all stories side by side.

Deterministic: the same seed and the same present moment tell the same year.
"""

from __future__ import annotations

import heapq
import tomllib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path
from random import Random
from typing import Any

from notifications.instants import FixedClock
from portal.actions.desk import By, Desk
from portal.rules.hours import next_open
from portal.rules.policy import Policy
from portal.store.photo_files import PhotoFiles
from seed import afterwards, asking, leaving, saying, talking, their_data
from seed.asking_stories import (
    agreed,
    asked,
    asked_with_a_choice,
    begun,
    declined,
    drafted,
    lapsed,
    sent_back_by_the_keeper,
    waits_for_the_keeper,
    withdrawn,
    within_a_limit,
)
from seed.money_stories import cancelled, cancelled_and_paid_back, stored, took_too_long
from seed.pictures import Album
from seed.scene import Scene, Stage
from seed.stories import (
    Story,
    asked_back,
    beyond_repair,
    came_by_post,
    given_up,
    mended,
    posted_back,
    stopped,
    with_a_damaged_battery,
    with_a_dispute,
)

# How often each story is told among those that end.
_ENDING = (
    (mended, 80),
    (came_by_post, 4),
    (posted_back, 3),
    (given_up, 1),
    (beyond_repair, 6),
    (asked_back, 3),
    (with_a_damaged_battery, 1),
    (with_a_dispute, 2),
)
# The devices that are still here: story, how many, and between how many days ago they came.
_STILL_HERE: tuple[tuple[Story, int, int, int], ...] = (
    (stopped(came_by_post, None), 3, 1, 3),
    (stopped(mended, "received"), 7, 1, 4),
    (stopped(mended, "received", lambda scene: scene.hold("customer", scene.one_of("customer_asks"))), 2, 3, 9),
    (stopped(with_a_damaged_battery, "received", lambda scene: scene.record(battery=("swollen",))), 1, 3, 6),
    (stopped(mended, "cleaning"), 6, 3, 5),
    (stopped(mended, "board_work"), 6, 3, 6),
    (stopped(mended, "board_work", lambda scene: scene.hold("part")), 3, 6, 14),
    (drafted, 1, 4, 9),
    (waits_for_the_keeper, 2, 4, 9),
    (sent_back_by_the_keeper, 1, 4, 9),
    (asked, 2, 4, 6),
    (asked_with_a_choice, 1, 4, 6),
    (agreed, 1, 4, 9),
    (begun, 1, 4, 9),
    (declined, 1, 4, 9),
    (withdrawn, 1, 4, 9),
    (lapsed, 1, 16, 20),
    (within_a_limit, 1, 4, 9),
    (stopped(mended, "cleaning", talking.wonders), 1, 3, 5),
    (stopped(mended, "board_work", talking.shows), 1, 3, 6),
    (talking.answered, 1, 4, 9),
    (talking.rung, 1, 6, 9),
    (stopped(mended, "cleaning", talking.asks_for_less), 1, 3, 5),
    (stopped(talking.would_rather_be_rung, "ready"), 3, 9, 14),
    (stopped(mended, "testing"), 4, 5, 9),
    (stopped(mended, "testing", their_data.asks_for_their_data), 1, 5, 9),
    (their_data.asked_weeks_ago, 1, 34, 35),
    (their_data.had_it_erased, 1, 20, 22),
    (stopped(mended, "testing", their_data.objects), 1, 5, 9),
    (stopped(mended, "board_work", their_data.only_stored), 1, 4, 9),
    (stopped(mended, "received", their_data.goes_into_the_wrong_bag), 1, 1, 2),
    (stopped(mended, "testing", lambda scene: scene.hold("dispute", scene.house.words["objection"])), 1, 9, 14),
    (stopped(mended, "ready"), 6, 12, 30),
    (stopped(mended, "ready", leaving.chooses_a_day), 1, 9, 12),
    (stopped(mended, "ready", leaving.sends_somebody), 1, 9, 12),
    (stopped(mended, "ready", leaving.wants_it_posted), 1, 9, 12),
    (stopped(mended, "ready", leaving.is_claimed), 1, 12, 20),
    (stopped(given_up, "board_work", leaving.gives_it_up), 1, 4, 9),
    (stopped(mended, "ready", afterwards.is_not_satisfied), 1, 9, 14),
    (afterwards.comes_back, 1, 25, 30),
    (afterwards.nobody_collects, 1, 70, 75),
    (took_too_long, 1, 9, 14),
    (cancelled, 1, 10, 12),
    (cancelled_and_paid_back, 1, 14, 18),
    (stored, 1, 70, 75),
)

# Most repairs go at their usual pace; some wait for days until somebody has time for them.
_PACES, _HOW_OFTEN = (1.0, 1.8, 3.0, 5.0), (78, 12, 7, 3)


@dataclass(frozen=True)
class Size:
    """How much happens: devices so long ago that all have left, those that came lately, copies of those still here."""

    gone: int = 306
    lately: int = 14
    here: int = 1


WHOLE = Size()


def live(
    desk: Desk,
    files: PhotoFiles,
    clock: FixedClock,
    now: datetime,
    bench: By,
    keeper: By,
    seed: int,
    size: Size = WHOLE,
) -> Iterator[datetime]:
    """Live through the year up to `now`; yields each evening, so that the caller can deliver the day's mail."""
    with desk.reading() as connection:
        policy = desk.policy(connection)
    words, extras = _toml("words.toml"), _toml("extras.toml")["extras"]
    chance = Random(f"stories {seed}")  # noqa: S311 (stories, not secrets)
    album = Album(Random(f"album {seed}"))  # noqa: S311
    saying.that_it_is_ready(desk, keeper, words["own_words"])
    house = Stage(desk, files, policy, bench, keeper, words, extras, album, chance)
    tales = _toml("tales.toml")["tales"]
    running: list[tuple[datetime, int, Iterator[timedelta]]] = []
    for begins, story, pace in _programme(chance, now, size):
        scene = cast(house, tales, pace)
        scene.price = asking.terms(scene)
        first = _in_opening_hours(begins, policy, chance, spread_minutes=420)
        _enter(running, first, story(scene))
        if story is mended and scene.chance_of(0.06):
            scene.companion = cast(house, tales, pace, beside=scene)
            _enter(running, _in_opening_hours(first + timedelta(minutes=15), policy, chance), mended(scene.companion))
    yield from _play(running, clock, now, policy, chance)
    clock.at = now


def cast(house: Stage, tales: list[Mapping[str, Any]], pace: float, beside: Scene | None = None) -> Scene:
    """Somebody with a device; `beside` is a scene whose customer brings this device too."""
    chance, words = house.chance, house.words
    tale = chance.choice(tales)
    device = chance.choice(tale["devices"])
    if beside:
        return Scene(house, tale, device, beside.language, beside.name, beside.email, beside.phone, pace)
    language = "de" if chance.random() < 0.15 else "en"
    name = chance.choice(words["german_names" if language == "de" else "names"])
    by_mail = chance.random() < 0.85
    email = f"{name.lower().replace(' ', '.')}@example.org" if by_mail else ""
    phone = f"07700 900{chance.randrange(1000):03}" if not by_mail or chance.random() < 0.7 else ""
    return Scene(house, tale, device, language, name, email, phone, pace, express=chance.random() < 0.06)


def _programme(chance: Random, now: datetime, size: Size) -> Iterator[tuple[datetime, Story, float]]:
    """When each story begins, and at what pace it goes. Of those that came lately, some slow ones are still here."""
    stories, shares = [story for story, _share in _ENDING], [share for _story, share in _ENDING]
    for ago in [chance.uniform(60, 365) for _ in range(size.gone)] + [
        chance.uniform(8, 60) for _ in range(size.lately)
    ]:
        yield now - timedelta(days=ago), chance.choices(stories, shares)[0], chance.choices(_PACES, _HOW_OFTEN)[0]
    for story, number, latest, earliest in _STILL_HERE * size.here:
        for _ in range(number):
            yield now - timedelta(days=chance.uniform(latest, earliest), hours=2), story, 0.4


def _play(
    running: list[tuple[datetime, int, Iterator[timedelta]]],
    clock: FixedClock,
    now: datetime,
    policy: Policy,
    chance: Random,
) -> Iterator[datetime]:
    while running and running[0][0] < now:
        at, place, story = heapq.heappop(running)
        if at.date() > clock.at.date():
            yield clock.at
        clock.at = at
        wait = next(story, None)
        if wait is not None:
            heapq.heappush(running, (_in_opening_hours(at + wait, policy, chance), place, story))
    yield clock.at


def _enter(running: list[tuple[datetime, int, Iterator[timedelta]]], at: datetime, story: Iterator[timedelta]) -> None:
    heapq.heappush(running, (at, len(running), story))


def _in_opening_hours(moment: datetime, policy: Policy, chance: Random, spread_minutes: int = 90) -> datetime:
    """The moment, or where the shop is closed then, some time after it opens: not all begin on the stroke."""
    opens = next_open(moment, policy) or moment
    return opens if opens == moment else opens + timedelta(minutes=chance.randrange(spread_minutes))


def _toml(name: str) -> Any:
    return tomllib.loads((Path(__file__).parent / name).read_text(encoding="utf-8"))
