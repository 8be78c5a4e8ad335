"""A pair is aligned only where the fit is beyond doubt; the rule knows nothing of pictures."""

from __future__ import annotations

from dataclasses import replace
from math import cos, radians, sin

import pytest
from hypothesis import given
from hypothesis import strategies as st

from portal.rules.aligning import Fit, Point, is_good

WIDTH, HEIGHT = 1600, 1200
GOOD = Fit((WIDTH, HEIGHT), (WIDTH, HEIGHT), 200, 120, 12, ((0, 0), (WIDTH, 0), (WIDTH, HEIGHT), (0, HEIGHT)))


def moved(degrees: float = 0.0, scale: float = 1.0, right: float = 0.0, down: float = 0.0) -> Fit:
    """The after picture turned about its middle, scaled and shifted."""
    turn = radians(degrees)

    def to(x: float, y: float) -> Point:
        x, y = (x - WIDTH / 2) * scale, (y - HEIGHT / 2) * scale
        return x * cos(turn) - y * sin(turn) + WIDTH / 2 + right, x * sin(turn) + y * cos(turn) + HEIGHT / 2 + down

    return replace(GOOD, corners=(to(0, 0), to(WIDTH, 0), to(WIDTH, HEIGHT), to(0, HEIGHT)))


def test_a_pair_that_agrees_in_many_points_is_good() -> None:
    assert is_good(GOOD)


@given(st.floats(-15, 15), st.floats(0.8, 1.25), st.floats(-200, 200), st.floats(-200, 200))
def test_what_a_hand_with_a_camera_does_is_good(degrees: float, scale: float, right: float, down: float) -> None:
    assert is_good(moved(degrees, scale, right, down))


@given(st.floats(-180, 180))
def test_a_picture_that_is_turned_any_way_can_be_good_while_enough_of_it_lies_over_the_other(degrees: float) -> None:
    assert is_good(moved(degrees))


@pytest.mark.parametrize(
    ("matches", "inliers", "cells"),
    [(30, 24, 12), (100, 37, 12), (1000, 300, 16), (200, 120, 3), (200, 0, 0)],
    ids=["too few", "no more than chance", "far too few of many", "all in one place", "none"],
)
def test_points_that_do_not_agree_enough_are_in_doubt(matches: int, inliers: int, cells: int) -> None:
    assert not is_good(replace(GOOD, matches=matches, inliers=inliers, cells=cells))


@pytest.mark.parametrize(
    "corners",
    [
        ((WIDTH, 0), (0, 0), (0, HEIGHT), (WIDTH, HEIGHT)),
        ((0, 0), (WIDTH, HEIGHT), (WIDTH, 0), (0, HEIGHT)),
        ((0, 0), (WIDTH, 0), (800, 20), (0, HEIGHT)),
        ((500, 0), (1100, 0), (WIDTH, HEIGHT), (0, HEIGHT)),
        ((0, 0), (0, 0), (0, 0), (0, 0)),
        ((0, 0), (WIDTH, 0), (WIDTH, 0), (0, 0)),
    ],
    ids=["mirror", "fold", "dent", "seen from the side", "a point", "a line"],
)
def test_what_no_camera_does_is_in_doubt(corners: tuple[Point, Point, Point, Point]) -> None:
    assert not is_good(replace(GOOD, corners=corners))


@pytest.mark.parametrize(
    "fit", [moved(scale=0.5), moved(scale=2), moved(right=1000), moved(down=-800), moved(right=5000)]
)
def test_a_picture_much_larger_or_smaller_or_elsewhere_is_in_doubt(fit: Fit) -> None:
    assert not is_good(fit)


@given(st.lists(st.tuples(st.floats(-1e4, 1e4), st.floats(-1e4, 1e4)), min_size=4, max_size=4))
def test_any_corners_get_an_answer(corners: list[Point]) -> None:
    first, second, third, fourth = corners

    assert is_good(replace(GOOD, corners=(first, second, third, fourth))) in (True, False)
