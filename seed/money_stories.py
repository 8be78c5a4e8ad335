"""What becomes of money in the demo: a price let off in part, a cancellation with what goes back, storage charged."""

from __future__ import annotations

from portal.actions.price_terms import TypedTerms
from portal.rules.price_terms import Way
from seed import asking, paying
from seed.scene import Scene
from seed.stories import Waits, came_by_post, days, hours, mended, stopped

_FIXED = TypedTerms(Way.FIXED, "68")


def took_too_long(scene: Scene) -> Waits:
    """Ready: cleaned free of charge, and the keeper lets a part of the price off."""
    scene.price = _FIXED
    yield from stopped(mended, "ready")(scene)
    yield hours(scene, 1, 4)
    scene.give(scene.text(scene.house.words["cleaned_free"]))
    paying.lets_off(scene, "10")


def cancelled(scene: Scene) -> Waits:
    """Came by post, agreed to at a distance and begun at once; then a letter: a part is owed, the rest goes back."""
    yield from stopped(came_by_post, "board_work")(scene)
    yield hours(scene, 1, 4)
    asking.ask(scene, choice=False)
    yield hours(scene, 4, 30)
    asking.say_yes(scene)
    paying.pays_a_deposit(scene, "60")
    yield hours(scene, 1, 3)
    asking.begin(scene)
    yield hours(scene, 10, 20)
    paying.cancels(scene, percent="40")


def cancelled_and_paid_back(scene: Scene) -> Waits:
    """The same, and what was owed back was given back; the device has left as it is."""
    yield from cancelled(scene)
    yield days(scene, 1, 3)
    paying.is_paid_back(scene)
    yield days(scene, 1, 3)
    scene.give_back(scene.text(scene.house.words["called_back"]))


def stored(scene: Scene) -> Waits:
    """Ready for five weeks: what storage costs stood in the accepted terms, was told before, and is stated."""
    scene.price = _FIXED
    scene.take_in()
    scene.accept_terms()
    yield from stopped(mended, "ready")(scene)
    yield days(scene, 90, 95)  # at the pace of those who are still here, five weeks
    paying.storage_is_stated(scene)
