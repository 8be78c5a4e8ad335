"""What the demo's stories ask about money, and how it is answered: through the same actions as at the real bench."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from portal.actions import answers, price_terms, questions
from portal.actions.answers import Answer
from portal.actions.cancelling import told
from portal.actions.desk import find
from portal.actions.price_terms import TypedTerms
from portal.rules.cancellation import Begin
from portal.rules.offers import TypedLine, TypedOffer, TypedOption
from portal.rules.price_terms import Way
from portal.rules.questions import YES, State
from portal.store import photos
from portal.store import questions as kept
from portal.store.questions import Kept
from seed.scene import Scene

# What is agreed at the counter, how often, and the amount.
_AT_THE_COUNTER = (
    (TypedTerms(), 30),
    (TypedTerms(Way.FIXED, "68"), 28),
    (TypedTerms(Way.LOOK_FIRST, "15"), 16),
    (TypedTerms(Way.LOOK_FIRST), 8),
    (TypedTerms(Way.NO_FIX_NO_FEE), 12),
    (TypedTerms(Way.LIMIT, "120"), 6),
)


def terms(scene: Scene) -> TypedTerms:
    """What this customer agrees to when handing it in."""
    return scene.house.chance.choices(
        [each for each, _share in _AT_THE_COUNTER], [each[1] for each in _AT_THE_COUNTER]
    )[0]


def ask(scene: Scene, *, choice: bool | None = None, at_once: bool = True, by_keeper: bool = True) -> None:
    """More work found; with `choice` there are alternatives, and by the bench a dear one goes to the keeper first."""
    house = scene.house
    extra = house.chance.choice(
        [each for each in house.extras if choice is None or (len(each["options"]) > 1) is choice]
    )
    by = house.keeper if by_keeper else house.bench
    questions.draft(house.desk, by, scene.number, _typed(scene, extra), put_at_once=at_once)


def sign_off(scene: Scene) -> None:
    """The keeper sends it on as it is."""
    asked = _newest(scene)
    questions.sign_off(scene.house.desk, scene.house.keeper, scene.number, asked.ref, asked.question.version)


def send_back(scene: Scene) -> None:
    """The keeper sends it back to the bench."""
    note = scene.house.words["sent_back"]
    questions.return_to_bench(scene.house.desk, scene.house.keeper, scene.number, _newest(scene).ref, note)


def withdraw(scene: Scene) -> None:
    """The bench finds another way."""
    questions.withdraw(scene.house.desk, scene.house.bench, scene.number, _newest(scene).ref)


def say_yes(scene: Scene, *, by_telephone: bool = False) -> None:
    """The customer agrees to the first option, on their page or by telephone; at a distance it is begun at once."""
    asked, desk = _newest(scene), scene.house.desk
    if by_telephone:
        who = scene.house.words["by_telephone"]
        answers.record(desk, scene.house.bench, scene.number, asked.ref, "a", "telephone", who, begin=Begin.EARLY)
    else:
        given = Answer(
            asked.question.version,
            scene.language,
            "a",
            YES[scene.language],
            begin=Begin.EARLY,
            told=_told(scene, asked),
        )
        answers.answer(desk, scene.number, asked.ref, given)


def _told(scene: Scene, asked: Kept) -> str:
    """The mark of what the customer reads of cancelling, where that is told."""
    with scene.house.desk.reading() as connection:
        words = told(scene.house.desk.policy(connection), scene.language, at_distance=asked.at_distance)
    return words.mark if words else ""


def say_no(scene: Scene) -> None:
    """The customer leaves it."""
    asked = _newest(scene)
    answers.answer(scene.house.desk, scene.number, asked.ref, Answer(asked.question.version, scene.language))


def begin(scene: Scene) -> None:
    """The work that was agreed to begins."""
    questions.start_work(scene.house.desk, scene.house.bench, scene.number, _newest(scene).ref)


def begin_what_was_agreed(scene: Scene) -> None:
    """It is opened: what was agreed to at the counter, to be looked at first, has begun."""
    with scene.house.desk.reading() as connection:
        agreed = kept.of_ticket(connection, find(connection, scene.number).id)
    if agreed and agreed[-1].question.state is State.AGREED:
        begin(scene)


def go_ahead(scene: Scene) -> None:
    """Work within the customer's limit."""
    extra = next(each for each in scene.house.extras if len(each["options"]) == 1)
    price_terms.go_ahead(scene.house.desk, scene.house.keeper, scene.number, _typed(scene, extra))


def time_runs_out(scene: Scene) -> None:
    """Reminders go out, and what nobody answered lapses."""
    desk = scene.house.desk
    answers.remind(desk, desk.clock.now())
    answers.lapse(desk, desk.clock.now())


def is_waiting(scene: Scene) -> bool:
    """Whether the newest question still waits for its customer."""
    return _newest(scene).question.state is State.PUT


def _newest(scene: Scene) -> Kept:
    with scene.house.desk.reading() as connection:
        return kept.of_ticket(connection, find(connection, scene.number).id)[-1]


def _typed(scene: Scene, extra: Mapping[str, Any]) -> TypedOffer:
    with scene.house.desk.reading() as connection:
        taken = photos.of_ticket(connection, find(connection, scene.number).id)
    nothing = {scene.language: ""}
    return TypedOffer(
        found=scene.text(extra["found"]),
        why=scene.text(extra.get("why", nothing)),
        if_not=scene.text(extra.get("if_not", nothing)),
        meanwhile=scene.text(extra.get("meanwhile", nothing)),
        options=[
            TypedOption(
                scene.text(option["proposal"]),
                [TypedLine(scene.text(what), count, price) for what, count, price in option["lines"]],
            )
            for option in extra["options"]
        ],
        photos=[photo.ref for photo in taken if photo.audience == "customer"][:2],
    )
