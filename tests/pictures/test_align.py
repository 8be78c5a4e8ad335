"""Pairs whose movement is known are laid over one another exactly; unrelated pictures never are."""

from __future__ import annotations

import io
import sys

import numpy as np
import pytest
from PIL import Image

from portal.pictures import worker
from portal.pictures.align import PAPER, align, estimate
from portal.rules.aligning import is_good
from tests.pictures.samples import as_bytes, opened
from tests.pictures.scenes import SIZE, Array, corners_error, movement, scene, seen

PIXELS_AT_MOST = 2.0  # at 1600 pixels, on average over the corners


def as_sent(picture: Array, quality: int = 80) -> bytes:
    return as_bytes(Image.fromarray(picture), quality=quality)


def jpeg(picture: Array, quality: int) -> Array:
    """What is left of it after JPEG."""
    return np.asarray(Image.open(io.BytesIO(as_sent(picture, quality))))


@pytest.fixture(scope="module")
def board() -> Array:
    return scene(1)


@pytest.mark.parametrize(
    ("degrees", "scale", "tilt", "shift", "light", "noise", "quality"),
    [
        (0, 1, (0, 0), (0, 0), 1, 0, 90),
        (15, 1, (0, 0), (0, 0), 1, 0, 80),
        (-15, 1, (0, 0), (0, 0), 1, 4, 80),
        (0, 0.8, (0, 0), (0, 0), 1, 4, 80),
        (0, 1.25, (0, 0), (0, 0), 1, 4, 80),
        (3, 1.02, (0.05, 0), (40, -30), 1, 4, 80),
        (-4, 0.97, (-0.03, 0.05), (-80, 60), 1, 4, 80),
        (10, 1.1, (0.02, -0.02), (20, 20), 0.75, 8, 60),
        (-12, 1.2, (0.03, 0.03), (0, 50), 1.2, 10, 50),
    ],
    ids=["still", "right", "left", "away", "near", "tilted", "all a little", "darker", "bad light"],
)
def test_a_movement_that_is_known_is_found_again(
    board: Array,
    degrees: float,
    scale: float,
    tilt: tuple[float, float],
    shift: tuple[float, float],
    light: float,
    noise: float,
    quality: int,
) -> None:
    moved = movement(degrees, scale, tilt, shift)
    after = jpeg(seen(board, moved, light=light, noise=noise), quality)

    found = estimate(jpeg(board, 80), after)

    assert found is not None
    assert is_good(found[1])
    assert corners_error(found[0], moved) < PIXELS_AT_MOST


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_a_movement_is_found_where_the_repair_changed_a_third_of_what_is_seen(seed: int) -> None:
    moved = movement(5, 1.08, (0.02, 0.01), (30, -20))

    found = estimate(jpeg(scene(seed), 80), jpeg(seen(scene(seed, mended=True), moved, noise=4), 80))

    assert found is not None
    assert is_good(found[1])
    assert corners_error(found[0], moved) < PIXELS_AT_MOST


def test_the_after_picture_comes_out_as_large_as_the_before_picture_and_lies_over_it(board: Array) -> None:
    after = seen(board, movement(8, 1.1, shift=(40, 0)))

    found = align(as_sent(board), as_sent(after))

    assert found is not None
    laid = np.asarray(opened(found.large), float)
    assert opened(found.large).size == SIZE == (found.width, found.height)
    assert max(opened(found.small).size) == 320
    middle = (slice(400, 800), slice(500, 1100))
    assert np.abs(laid[middle] - board[middle]).mean() < 12
    assert np.abs(after[middle].astype(float) - board[middle]).mean() > 20


def test_where_the_after_picture_shows_nothing_is_paper(board: Array) -> None:
    found = align(as_sent(board), as_sent(seen(board, movement(0, 1.25))))

    assert found is not None
    corner = opened(found.large).getpixel((3, 3))
    assert np.abs(np.subtract(corner, PAPER)).max() < 12


@pytest.mark.slow
@pytest.mark.parametrize("seed", range(30))
def test_unrelated_pictures_are_never_laid_over_one_another(seed: int) -> None:
    found = estimate(scene(1000 + seed), scene(2000 + seed))

    assert found is None or not is_good(found[1])


@pytest.mark.parametrize(
    "blank",
    [np.full((1200, 1600, 3), 128, np.uint8), np.zeros((1, 1, 3), np.uint8), np.full((40, 60, 3), 255, np.uint8)],
    ids=["grey", "a dot", "small"],
)
def test_a_picture_in_which_there_is_nothing_to_hold_on_to_is_left_as_taken(board: Array, blank: Array) -> None:
    assert align(as_sent(board), as_sent(blank)) is None
    assert align(as_sent(blank), as_sent(board)) is None


def test_a_child_does_it_and_says_nothing_where_the_fit_is_in_doubt(board: Array) -> None:
    after = as_sent(seen(board, movement(4, 1.05)))

    found = worker.align_in_child(as_sent(board), after)

    assert found is not None
    assert found == align(as_sent(board), after)
    assert worker.align_in_child(as_sent(board), as_sent(scene(2))) is None


def test_a_child_that_breaks_leaves_the_pair_as_it_was_taken(board: Array) -> None:
    assert worker.align_in_child(as_sent(board), b"no picture") is None


def test_without_the_extra_pairs_stay_as_they_were_taken(board: Array, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "cv2", None)

    assert worker.align_in_child(as_sent(board), as_sent(board)) is None
