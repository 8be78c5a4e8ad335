"""What people of the demo shop ask about their data, how it is answered, and what once went wrong with it."""

from __future__ import annotations

from datetime import timedelta

from portal.actions import breaches, erasure, links, own_data, restriction, rights
from portal.actions.breaches import Written
from portal.actions.rights import Asked
from portal.rules.restriction import Ground, Use
from portal.rules.retention import Kept
from portal.rules.rights import Right, State, Through
from seed.scene import Scene
from seed.stories import Waits, mended


def asks_for_their_data(scene: Scene) -> None:
    """A letter came: what is held of its writer? The keeper finds it in the list of requests."""
    _enters(scene, Right.ACCESS, Through.MAIL, "asks_for_data")


def asked_weeks_ago(scene: Scene) -> Waits:
    """The device went home, then its owner asked what is held of them; the month is almost over."""
    yield from _days_after_it_came(scene, 10)
    asks_for_their_data(scene)


def had_it_erased(scene: Scene) -> Waits:
    """Erased on request, but for what must stay: the answer names it with its ground, and goes out before."""
    yield from _days_after_it_came(scene, 15)
    ref = _enters(scene, Right.ERASURE, Through.COUNTER, "asks_to_erase")
    yield timedelta(days=1)
    house, answer = scene.house, scene.text(scene.house.words["erased_but"])
    rights.settle(house.desk, house.keeper, ref, State.DONE, answer)
    yield timedelta(days=1)
    erasure.erase(house.desk, house.files, house.keeper, scene.number, "A request about personal data.")


def objects(scene: Scene) -> None:
    """The customer objects on their page: reminders end at once, the keeper answers the rest."""
    own_data.objects(scene.house.desk, scene.number, scene.text(scene.house.words["objects"]))


def only_stored(scene: Scene) -> None:
    """The customer has their data only stored, but agreed at the counter to be written to."""
    house = scene.house
    own_data.restrict(house.desk, scene.number)
    why = house.words["agreed_at_counter"]
    restriction.allow_uses(house.desk, house.bench, scene.number, [Use.WRITE], Ground.CONSENT, why)


def goes_into_the_wrong_bag(scene: Scene) -> None:
    """A docket lay in a stranger's bag: written down at once, and the 72 hours run."""
    house, words = scene.house, scene.house.words["wrong_bag"]
    links.renew_docket(house.desk, house.keeper, scene.number)
    aware_at = house.desk.clock.now().replace(second=0, microsecond=0)
    written = Written(
        aware_at,
        words["happened"],
        [Kept.CONTACT, Kept.DEVICE],
        scene.number,
        consequences=words["consequences"],
        measures=words["measures"],
    )
    breaches.record(house.desk, house.keeper, written)


def _enters(scene: Scene, right: Right, through: Through, words: str) -> str:
    house = scene.house
    asked = Asked(right, through, number=scene.number, words=scene.text(house.words[words]))
    return rights.enter(house.desk, house.keeper, asked)


def _days_after_it_came(scene: Scene, days: int) -> Waits:
    """Mended and gone home, and so many days over since it came."""
    then = scene.house.desk.clock.now() + timedelta(days=days)
    yield from mended(scene)
    yield max(then - scene.house.desk.clock.now(), timedelta(hours=1))
