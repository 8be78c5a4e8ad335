"""What is not right yet, and what nobody collects: a complaint, a device that comes back, a notice to collect."""

from __future__ import annotations

from portal.actions import complaints, formal_notices, formal_path, warranty
from portal.actions.desk import find
from portal.actions.formal_notices import Typed
from seed.scene import Scene
from seed.stories import Waits, days, mended


def is_not_satisfied(scene: Scene) -> None:
    """The owner says so on their page."""
    complaints.complain(scene.house.desk, scene.number, scene.text(scene.house.words["not_satisfied"]))


def comes_back(scene: Scene) -> Waits:
    """Mended, collected, and here again within the warranty; the bench has looked."""
    yield from mended(scene)
    yield days(scene, 4, 6)
    words, house = scene.house.words, scene.house
    taken = warranty.take_back_in(house.desk, house.bench, scene.number, scene.text(words["fault_again"]))
    yield days(scene, 1, 2)
    said = scene.text(words["fault_compared"])
    warranty.decide(house.desk, house.bench, taken.numbers[0], "same", "shop", said)


def nobody_collects(scene: Scene) -> Waits:
    """Ready, and silence; after the last reminder the keeper posts a notice to collect."""
    scene.stops_at = "ready"
    for wait in mended(scene):
        if scene.stage == "ready":
            break
        yield wait
    yield days(scene, 90, 95)  # at the pace of those who are still here, five weeks
    house = scene.house
    with house.desk.reading() as connection:
        known = formal_path.path(house.desk, connection, find(connection, scene.number)).suggested
    letter = Typed(
        recipient=known.recipient,
        address=f"{scene.one_of('streets')}\nQuayhaven",
        goods=known.goods,
        held_at=known.held_at,
        owed="" if known.owed_minor is not None else "48.50",
        owed_for="The repair, as agreed",
        was_due=True,
        checked=True,
    )
    formal_notices.make(house.desk, house.keeper, scene.number, "collect", letter)
    with house.desk.reading() as connection:
        notice = formal_path.path(house.desk, connection, find(connection, scene.number)).standing.letters[0]
    posted_on, reference = notice.made_on.isoformat(), f"QH {house.chance.randrange(10_000):04} R"
    formal_notices.post(house.desk, house.files, house.keeper, scene.number, notice.id, posted_on, reference)
