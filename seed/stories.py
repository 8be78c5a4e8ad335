"""The demo's stories: ordinary generators. Each does deeds on its scene and yields how long until it goes on.

What a story waits is working life as people feel it: whoever plays it moves the next deed into opening hours.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from datetime import timedelta

from seed import asking, leaving, paying, showing
from seed.scene import Scene

Waits = Iterator[timedelta]
Story = Callable[[Scene], Waits]


def mended(scene: Scene) -> Waits:
    """The usual way: in, looked over, mended, tested, ready, collected."""
    yield from arrives(scene)
    yield from is_repaired(scene)
    yield from is_tested(scene)
    yield from is_collected(scene)


def came_by_post(scene: Scene) -> Waits:
    """Announced by its owner, then as usual."""
    scene.announce()
    yield days(scene, 2, 4)
    scene.parcel_comes()
    yield minutes(10)
    scene.record()
    yield from is_repaired(scene)
    yield from is_tested(scene)
    yield from is_collected(scene)


def beyond_repair(scene: Scene) -> Waits:
    """Looked at, and given back as it came."""
    yield from arrives(scene)
    yield days(scene, 1, 3)
    scene.move("board_work")
    asking.begin_what_was_agreed(scene)
    yield hours(scene, 1, 3)
    scene.note(scene.tale["bench"][0])
    reason = scene.text(scene.one_of("beyond_repair"))
    yield hours(scene, 1, 20)
    scene.tell(reason)
    yield days(scene, 1, 6)
    paying.pays(scene, as_it_came=True)
    scene.give_back(reason)


def posted_back(scene: Scene) -> Waits:
    """Mended as usual, and sent to its owner."""
    yield from arrives(scene)
    yield from is_repaired(scene)
    yield from is_tested(scene)
    yield hours(scene, 1, 30)
    leaving.wants_it_posted(scene)
    yield days(scene, 1, 2)
    leaving.posted(scene)
    yield days(scene, 2, 3)
    leaving.arrived(scene)


def given_up(scene: Scene) -> Waits:
    """Beyond repair, and its owner does not want it back."""
    yield from arrives(scene)
    yield days(scene, 1, 3)
    scene.move("board_work")
    asking.begin_what_was_agreed(scene)
    yield hours(scene, 1, 20)
    scene.tell(scene.text(scene.one_of("beyond_repair")))
    yield days(scene, 1, 4)
    leaving.gives_it_up(scene)
    yield days(scene, 1, 2)
    leaving.is_given_up(scene)


def asked_back(scene: Scene) -> Waits:
    """The customer changes their mind before anything was done."""
    yield from arrives(scene)
    yield hours(scene, 3, 8)
    scene.hold("customer", scene.one_of("customer_asks"))
    yield days(scene, 2, 7)
    paying.pays(scene, as_it_came=True)
    scene.give_back(scene.text(scene.one_of("asked_back")))


def with_a_damaged_battery(scene: Scene) -> Waits:
    """A swollen cell is noticed at the counter; nothing goes on until somebody qualified has dealt with it."""
    scene.take_in()
    yield minutes(4)
    scene.record(battery=("swollen",))
    yield days(scene, 1, 3)
    scene.battery_made_safe()
    yield from is_repaired(scene)
    yield from is_tested(scene)
    yield from is_collected(scene)


def with_a_dispute(scene: Scene) -> Waits:
    """The customer says that a scratch is new; both look at the record, and it is settled."""
    yield from arrives(scene, agrees=False)
    yield hours(scene, 2, 6)
    scene.customer_objects()
    yield hours(scene, 1, 3)
    scene.hold("dispute", scene.house.words["objection"])
    yield days(scene, 1, 3)
    scene.note(scene.house.words["dispute_settled"])
    scene.hold("none")
    yield from is_repaired(scene)
    yield from is_tested(scene)
    yield from is_collected(scene)


def arrives(scene: Scene, *, agrees: bool = True) -> Waits:
    """Over the counter, unless a companion's hand-in brought it already; some customers agree to the record."""
    if not scene.number:
        scene.take_in()
        if scene.chance_of(0.85 if scene.is_still_here else 0.3):
            scene.accept_terms()
        if scene.is_still_here and scene.chance_of(0.25):
            showing.lets_publish(scene)
    yield minutes(6)
    scene.record()
    if scene.is_still_here and scene.chance_of(0.5):
        scene.photograph("before")
    if scene.chance_of(0.3):
        scene.lay(scene.one_of("bench_places"))
    if agrees and scene.chance_of(0.1):
        yield hours(scene, 1, 20)
        scene.customer_answers_record()


def is_repaired(scene: Scene) -> Waits:
    """Cleaning where there is dust, board work, the tray, notes, a part if the tale needs one."""
    yield days(scene, 1, 4)
    if scene.stops_at == "cleaning" or scene.chance_of(0.4):
        scene.move("cleaning")
        yield hours(scene, 2, 20)
    scene.move("board_work")
    asking.begin_what_was_agreed(scene)
    scene.promise()
    opened = scene.chance_of(0.6)
    if opened:
        yield minutes(20)
        scene.open_up()
        if scene.is_still_here and scene.chance_of(0.4):
            scene.photograph("tray")
    yield hours(scene, 1, 2)
    noted = scene.note(scene.house.chance.choice(scene.tale["bench"]))
    if scene.chance_of(0.05):
        yield minutes(9)
        scene.correct(noted.revision, scene.one_of("corrections"))
    yield from waits(scene)
    if "free" in scene.tale and scene.chance_of(0.6):
        scene.give(scene.text(scene.tale["free"]))
    yield hours(scene, 2, 9)
    scene.tell(scene.text(scene.tale["told"]))
    if scene.view:
        yield minutes(10)
        scene.photograph("after")
        scene.pair()
        if scene.chance_of(0.5):
            showing.points_out(scene)
    if opened:
        yield minutes(30)
        scene.close_up()


def waits(scene: Scene) -> Waits:
    """For a part or for the customer, where it comes to that."""
    if "part" in scene.tale and scene.chance_of(0.5):
        expected = scene.house.chance.randrange(2, 8)
        scene.order(expected)
        yield days(scene, expected, expected + 2)
        scene.part_comes()
    elif scene.chance_of(0.1):
        scene.hold("customer", scene.one_of("customer_asks"))
        yield days(scene, 1, 4)
        scene.hold("none")
    elif scene.chance_of(0.15):
        yield from more_work_is_found(scene)


def more_work_is_found(scene: Scene) -> Waits:
    """The customer is asked before it costs, and mostly agrees."""
    asking.ask(scene)
    yield customers_days(scene, 0, 2)
    if scene.chance_of(0.2):
        asking.say_no(scene)
        return
    asking.say_yes(scene, by_telephone=scene.chance_of(0.2))
    yield hours(scene, 1, 3)
    asking.begin(scene)


def is_tested(scene: Scene) -> Waits:
    """Into testing, sometimes back once, and the test sheet."""
    yield minutes(20)
    scene.move("testing")
    if "mistake" in scene.tale and scene.chance_of(0.4):
        yield hours(scene, 1, 3)
        scene.move("board_work", why=scene.tale["mistake"])
        yield days(scene, 1, 2)
        scene.move("testing")
    yield hours(scene, 2, 5)
    scene.test(failing=scene.tale["kind"] == "laptop" and scene.chance_of(0.1))
    if scene.has_mains and scene.chance_of(0.5):
        scene.test_mains()
    yield hours(scene, 1, 4)
    scene.move("ready")
    if scene.chance_of(0.4):
        scene.lay(scene.one_of("ready_places"))


def is_collected(scene: Scene) -> Waits:
    """The next day, or when they find the time; a few say so before, and a few have forgotten the code."""
    yield customers_days(scene, 0, 2)
    if scene.chance_of(0.15):
        leaving.chooses_a_day(scene)
    yield customers_days(scene, 1, 7)
    if scene.chance_of(0.08):
        leaving.collected_without_code(scene)
    else:
        leaving.collected(scene)


def stopped(story: Story, stage: str | None, then: Callable[[Scene], object] | None = None) -> Story:
    """The story, left off when the device comes to a stage (None: announced), and perhaps one more deed there."""

    def shortened(scene: Scene) -> Waits:
        scene.stops_at = stage
        for wait in story(scene):
            if scene.stage == stage:
                break
            yield wait
        if then:
            yield hours(scene, 1, 4)
            then(scene)

    return shortened


def minutes(number: int) -> timedelta:
    """So many minutes."""
    return timedelta(minutes=number)


def hours(scene: Scene, least: int, most: int) -> timedelta:
    """Some hours at the scene's pace."""
    return timedelta(hours=scene.house.chance.uniform(least, most) * scene.pace)


def days(scene: Scene, least: int, most: int) -> timedelta:
    """Some days at the scene's pace."""
    return timedelta(days=scene.house.chance.uniform(least, most) * scene.pace)


def customers_days(scene: Scene, least: int, most: int) -> timedelta:
    """Some days of the customer's, whom a busy bench does not slow down."""
    return timedelta(days=scene.house.chance.uniform(least, most) * min(scene.pace, 1.0))
