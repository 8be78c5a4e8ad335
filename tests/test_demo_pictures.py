"""The demo's album: drawn by itself, believable in that a pair of it aligns as a real one would."""

from __future__ import annotations

from random import Random

import pytest

from portal.pictures.align import align
from seed.pictures import BOARDS, TRAYS, Album, View
from tests.pictures.samples import opened

CASES = ["phone blue", "handheld red", "laptop grey", "synthesizer black", "amplifier silver", "console white"]
VIEWS: list[View] = [*(("board", str(which)) for which in range(BOARDS)), *(("case", which) for which in CASES)]


@pytest.fixture(scope="module")
def album() -> Album:
    """One album for all: drawing takes time."""
    return Album(Random("tests"))


@pytest.mark.parametrize("view", VIEWS, ids=" ".join)
def test_before_and_after_are_two_pictures_of_one_thing_that_can_be_laid_over_one_another(
    album: Album, view: View
) -> None:
    before, after = album.photo(view, "before"), album.photo(view, "after")

    assert before.large != after.large
    assert not any(photo.seems_blurred or photo.seems_dark for photo in (before, after))
    assert align(before.large, after.large) is not None


def test_no_two_views_look_alike(album: Album) -> None:
    trays: list[View] = [("tray", str(which)) for which in range(TRAYS)]
    small = [opened(album.photo(view, "before").small).tobytes() for view in VIEWS + trays]

    assert len(set(small)) == len(small)


def test_two_boards_are_never_taken_for_one(album: Album) -> None:
    first, second = (album.photo(("board", which), "before").large for which in "01")

    assert align(first, second) is None


def test_a_photo_is_made_once(album: Album) -> None:
    assert album.photo(("board", "0"), "before") is album.photo(("board", "0"), "before")


def test_the_same_dice_draw_the_same_album() -> None:
    first, second = (Album(Random(4)).photo(("board", "2"), "after") for _ in range(2))

    assert first == second


def test_a_device_whose_colour_is_told_may_be_shown_in_it(album: Album) -> None:
    views = {album.view_of("handheld", "Handheld console, blue") for _ in range(60)}

    assert ("case", "handheld blue") in views
    assert any(what == "board" for what, _which in views)
    assert {what for what, _which in {album.view_of("phone", "Phone") for _ in range(30)}} == {"board"}
