"""When an after picture may be laid over its before picture: only where the fit is beyond doubt.

What decides is how many points were found again, how well they agree, where they lie, and whether the movement is one
that a hand with a camera makes. A pair that does not pass is shown as it was taken, and nothing is said.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from math import acos, degrees, dist, sqrt

Point = tuple[float, float]

# Chance agreement grows with the matches; common practice in joining panoramas is to ask for 8 more than 0.3 of them.
_BY_CHANCE, _SHARE_BY_CHANCE = 8.0, 0.3
LEAST_INLIERS = 25  # found by trying on drawn scenes, as are the next
LEAST_CELLS = 4  # of the 16 that the before picture is cut into
SCALE = (0.6, 1.7)
CORNER_DEGREES = (60.0, 120.0)
SIDES_AT_MOST = 1.5  # one side of the picture against its opposite
LEAST_OVERLAP = 0.4  # of the before picture


@dataclass(frozen=True)
class Fit:
    """How the after picture was found to lie over the before picture, in the before picture's pixels.

    `matches` points look alike in both; `inliers` of them agree on one movement, and lie in so many `cells` of 16.
    `corners` are the after picture's, as moved: top left, top right, bottom right, bottom left.
    """

    before_size: tuple[int, int]
    after_size: tuple[int, int]
    matches: int
    inliers: int
    cells: int
    corners: tuple[Point, Point, Point, Point]


def is_good(fit: Fit) -> bool:
    """Whether the after picture may be shown as moved."""
    return _is_agreed(fit) and _is_sane(fit.corners, fit.after_size) and _overlap(fit) >= LEAST_OVERLAP


def _is_agreed(fit: Fit) -> bool:
    enough = max(LEAST_INLIERS, _BY_CHANCE + _SHARE_BY_CHANCE * fit.matches)
    return fit.inliers >= enough and fit.cells >= LEAST_CELLS


def _is_sane(corners: Sequence[Point], size: tuple[int, int]) -> bool:
    """No mirror, no fold, no view from the side, about as large as it was."""
    area = _area(corners)
    if area <= 0 or not all(CORNER_DEGREES[0] <= angle <= CORNER_DEGREES[1] for angle in _angles(corners)):
        return False
    top, right, bottom, left = (dist(one, other) for one, other in pairwise([*corners, corners[0]]))
    even = all(max(pair) <= SIDES_AT_MOST * min(pair) for pair in ((top, bottom), (left, right)))
    return even and SCALE[0] <= sqrt(area / (size[0] * size[1])) <= SCALE[1]


def _area(corners: Sequence[Point]) -> float:
    """With its sign: below nought where the corners run the other way round, as in a mirror (y grows downwards)."""
    return sum(x * next_y - next_x * y for (x, y), (next_x, next_y) in pairwise([*corners, corners[0]])) / 2


def _angles(corners: Sequence[Point]) -> list[float]:
    """In degrees at each corner; nought where two corners coincide."""
    found = []
    for place, (x, y) in enumerate(corners):
        (ax, ay), (bx, by) = corners[place - 1], corners[(place + 1) % 4]
        sides = dist((x, y), (ax, ay)) * dist((x, y), (bx, by))
        cosine = ((ax - x) * (bx - x) + (ay - y) * (by - y)) / sides if sides else 1.0
        found.append(degrees(acos(max(-1.0, min(1.0, cosine)))))
    return found


def _overlap(fit: Fit) -> float:
    """The share of the before picture that the moved after picture covers."""
    width, height = fit.before_size
    corners: list[Point] = list(fit.corners)
    for axis, limit, sign in ((0, 0.0, 1), (0, float(width), -1), (1, 0.0, 1), (1, float(height), -1)):
        corners = _cut(corners, axis, limit, sign)
    return _area(corners) / (width * height) if corners else 0.0


def _cut(corners: list[Point], axis: int, limit: float, sign: int) -> list[Point]:
    """The part of a convex shape on one side of an upright or level line (Sutherland and Hodgman)."""
    kept: list[Point] = []
    for place, point in enumerate(corners):
        before = corners[place - 1]
        inside, was_inside = (sign * (each[axis] - limit) >= 0 for each in (point, before))
        if inside != was_inside:
            share = (limit - before[axis]) / (point[axis] - before[axis])
            kept.append((before[0] + share * (point[0] - before[0]), before[1] + share * (point[1] - before[1])))
        if inside:
            kept.append(point)
    return kept
