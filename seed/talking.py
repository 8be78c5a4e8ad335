"""What customers of the demo shop write, what is answered, and who rings: deeds, and the stories that end in them."""

from __future__ import annotations

from portal.actions import choices, conversation
from portal.actions.choices import Chosen
from portal.actions.desk import By, Desk
from portal.rules.conversation import Writer
from portal.rules.messages import Channel
from portal.store import visits
from portal.store.visits import Contact
from seed.scene import Scene
from seed.stories import Waits, arrives, hours, is_repaired, is_tested, mended, minutes, stopped

WAYS = (Channel.MAIL, Channel.RING)  # that the demo's shop has


def wonders(scene: Scene) -> None:
    """The customer asks something on their page."""
    _write(scene, scene.text(scene.one_of("customer_writes")))


def shows(scene: Scene) -> None:
    """The customer sends a photo of what they mean."""
    view = scene.view or scene.house.album.view_of(scene.tale["kind"], scene.device)
    photo = scene.house.album.photo(view, "before").large
    _write(scene, scene.text(scene.house.words["customer_shows"]), photo)


def answered(scene: Scene) -> Waits:
    """A question that got its answer."""
    yield from stopped(mended, "board_work")(scene)
    yield hours(scene, 1, 4)
    wonders(scene)
    yield hours(scene, 1, 3)
    conversation.answer(*_here(scene), scene.text(scene.house.words["bench_answers"]))


def rung(scene: Scene) -> Waits:
    """Rung in vain, then reached; and what they said at the counter is written down as theirs."""
    yield from stopped(mended, "board_work", lambda scene: scene.hold("customer", scene.one_of("customer_asks")))(scene)
    yield hours(scene, 2, 6)
    conversation.rang(*_here(scene), "not_reached")
    yield hours(scene, 4, 9)
    conversation.rang(*_here(scene), "reached", scene.one_of("on_the_telephone"))
    yield hours(scene, 1, 4)
    conversation.said(*_here(scene), "counter", scene.text(scene.house.words["customer_says"]))


def would_rather_be_rung(scene: Scene) -> Waits:
    """A customer who chose on their page to be rung; by the end their device is ready, and somebody must ring."""
    yield from arrives(scene)
    yield minutes(30)
    owner = _owner(scene)
    if Channel.RING in choices.open_ways(owner, WAYS):
        choices.choose(scene.house.desk, owner.ref, Chosen("few", [Channel.RING]), WAYS)
    yield from is_repaired(scene)
    yield from is_tested(scene)


def asks_for_less(scene: Scene) -> None:
    """The customer asks on the telephone to be told less; the bench writes it down for them."""
    if open_now := choices.open_ways(_owner(scene), WAYS):
        choices.choose_for(*_here(scene), "owner", Chosen("few", open_now, no_reminders=True), WAYS)


def _owner(scene: Scene) -> Contact:
    with scene.house.desk.reading() as connection:
        visit = visits.by_ref(connection, scene.visit_ref)
        found = visits.contacts_of(connection, visit.id) if visit else []
    return found[0]


def _write(scene: Scene, text: str, photo: bytes = b"") -> None:
    conversation.write(
        scene.house.desk, scene.house.files, scene.number, Writer.OWNER, text, photo=photo, confirmed=True
    )


def _here(scene: Scene) -> tuple[Desk, By, str]:
    return scene.house.desk, scene.house.bench, scene.number
