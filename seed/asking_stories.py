"""Devices that are still here while something is asked of their customers: a story for each way it can stand."""

from __future__ import annotations

from collections.abc import Callable
from datetime import timedelta

from portal.actions.price_terms import TypedTerms
from portal.rules.price_terms import Way
from seed import asking, paying
from seed.scene import Scene
from seed.stories import Story, Waits, hours, mended, stopped


def _on_the_bench(then: Callable[[Scene], Waits]) -> Story:
    """It is on the bench, where more work is found."""

    def told(scene: Scene) -> Waits:
        yield from stopped(mended, "board_work")(scene)
        yield hours(scene, 1, 4)
        yield from then(scene)

    return told


def _asked_then(answer: Callable[[Scene], None]) -> Story:
    def told(scene: Scene) -> Waits:
        asking.ask(scene)
        yield hours(scene, 4, 30)
        answer(scene)

    return _on_the_bench(told)


@_on_the_bench
def drafted(scene: Scene) -> Waits:
    """Written down, and not asked yet."""
    asking.ask(scene, at_once=False)
    yield timedelta()


@_on_the_bench
def waits_for_the_keeper(scene: Scene) -> Waits:
    """Dear enough for the keeper to look first."""
    asking.ask(scene, choice=True, by_keeper=False)
    yield timedelta()


@_on_the_bench
def sent_back_by_the_keeper(scene: Scene) -> Waits:
    """The keeper wants it different."""
    asking.ask(scene, choice=True, by_keeper=False)
    yield hours(scene, 3, 9)
    asking.send_back(scene)


@_on_the_bench
def asked(scene: Scene) -> Waits:
    """Put to the customer, who has not answered."""
    asking.ask(scene, choice=False)
    yield timedelta()


@_on_the_bench
def asked_with_a_choice(scene: Scene) -> Waits:
    """One or the other, or neither; by way of the keeper."""
    asking.ask(scene, choice=True, by_keeper=False)
    yield hours(scene, 1, 3)
    asking.sign_off(scene)


@_on_the_bench
def lapsed(scene: Scene) -> Waits:
    """Reminded of, and never answered."""
    asking.ask(scene, choice=False)
    for _day in range(12):
        yield timedelta(days=1)
        asking.time_runs_out(scene)


@_on_the_bench
def begun(scene: Scene) -> Waits:
    """Agreed to, begun, and a part of it paid."""
    asking.ask(scene)
    yield hours(scene, 4, 30)
    asking.say_yes(scene)
    yield hours(scene, 1, 4)
    asking.begin(scene)
    paying.pays_a_deposit(scene, "10")


def within_a_limit(scene: Scene) -> Waits:
    """The customer said at the counter how far the shop may go without asking."""
    scene.price = TypedTerms(Way.LIMIT, "120")
    yield from stopped(mended, "board_work")(scene)
    yield hours(scene, 1, 4)
    asking.go_ahead(scene)


agreed = _asked_then(asking.say_yes)
declined = _asked_then(asking.say_no)
withdrawn = _asked_then(asking.withdraw)
