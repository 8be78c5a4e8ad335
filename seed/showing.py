"""What the demo shop does with photos beside taking them: points out what was wrong, and may publish them or not."""

from __future__ import annotations

from portal.actions import photo_copies, publication
from portal.actions.desk import CUSTOMER, find
from portal.rules.picture_parts import Drawn, Part
from portal.store import photos
from seed.drawing import fault_of
from seed.scene import Scene

AROUND = 9.0  # per cent of the picture, to each side of what was wrong


def points_out(scene: Scene) -> None:
    """Where something was wrong with a board, on a copy of the photo from before."""
    what, which = scene.view or ("", "")
    if what != "board":
        return
    across, down = fault_of(int(which))
    part = Part(max(0.0, across - AROUND), max(0.0, down - AROUND), 2 * AROUND, 2 * AROUND)
    with scene.house.desk.reading() as connection:
        taken = photos.of_ticket(connection, find(connection, scene.number).id)
    before = next(photo.ref for photo in taken if photo.moment == "before")
    photo_copies.point_out(
        scene.house.desk,
        scene.house.files,
        scene.house.bench,
        scene.number,
        before,
        Drawn.RING,
        [part],
        caption=scene.text(scene.house.words["pointed_out"]),
    )


def lets_publish(scene: Scene) -> None:
    """The customer allows on their page that pictures of it are published."""
    publication.allow(scene.house.desk, CUSTOMER, scene.number, scene.language)
