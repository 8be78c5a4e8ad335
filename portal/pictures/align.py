"""Lays an after picture over its before picture, as if the camera had not moved in between.

Points that look alike in both are found (SIFT), and the one movement that explains most of them (a homography by
MAGSAC++, which needs no exact threshold). Only ever runs in a child process; needs the extra `align` (OpenCV).
"""

from __future__ import annotations

import io
from typing import Any

import cv2
import numpy as np
from PIL import Image

from portal.pictures.clean import both_sizes
from portal.pictures.limits import Clean
from portal.rules.aligning import Fit, is_good

PAPER = (246, 243, 236)  # where the after picture shows nothing
_LOOKED_AT = 1000  # pixels of the long edge: enough for a tenth of a pixel, at a third of the time and memory
_POINTS = 3000
_RATIO = 0.8  # how much better the best likeness must be than the next (Lowe 2004 suggests 0.8)
_PIXELS = 3.0  # how far off a point may be at most
_NEAR = 6.0  # pixels in which a point is looked for again
_LIKE_ENOUGH = 0.8  # of 1 for the very same description
_CELLS = 4  # across and down
_ROUNDS = 10_000

Array = np.ndarray[Any, Any]


def align(before: bytes, after: bytes) -> Clean | None:
    """The after picture moved over the before picture and as large, in both sizes; None where the fit is in doubt."""
    below, above = _opened(before), _opened(after)
    found = estimate(below, above)
    if found is None or not is_good(found[1]):
        return None
    moved = cv2.warpPerspective(
        above, found[0], (below.shape[1], below.shape[0]), flags=cv2.INTER_CUBIC, borderValue=PAPER
    )
    return both_sizes(Image.fromarray(moved))


def estimate(before: Array, after: Array) -> tuple[Array, Fit] | None:
    """The movement from the after to the before picture's pixels (3 × 3) and how well it fits; None where none is."""
    cv2.setRNGSeed(1)  # the same pictures give the same answer
    cv2.setNumThreads(1)
    (after_places, after_told), (before_places, before_told) = _features(after), _features(before)
    likeness = after_told @ before_told.T
    chosen = _alike(likeness)
    found = _movement(after_places[chosen[:, 0]], before_places[chosen[:, 1]])
    if found is None:
        return None
    movement, inside = found
    fit = _fit(before, after, movement, len(chosen), before_places[chosen[inside, 1]])
    return _refined(movement, after_places, before_places, likeness), fit


def _opened(data: bytes) -> Array:
    return np.asarray(Image.open(io.BytesIO(data), formats=("JPEG",)).convert("RGB"))


def _features(picture: Array) -> tuple[Array, Array]:
    """Places and descriptions of the most telling points; descriptions as their roots, which compare better."""
    grey = cv2.cvtColor(picture, cv2.COLOR_RGB2GRAY)
    smaller = min(1.0, _LOOKED_AT / max(grey.shape))
    grey = cv2.resize(grey, None, fx=smaller, fy=smaller, interpolation=cv2.INTER_AREA)
    points, told = cv2.SIFT.create(nfeatures=_POINTS, contrastThreshold=0.02).detectAndCompute(grey, None)
    if told is None:
        return np.empty((0, 2), np.float32), np.empty((0, 128), np.float32)
    told = np.sqrt(told / (told.sum(axis=1, keepdims=True) + 1e-7))
    # Pixels are counted from their middles here and there, hence the half.
    places = (np.array([point.pt for point in points], np.float32) + 0.5) / smaller - 0.5
    return places, told


def _alike(likeness: Array) -> Array:
    """Pairs of points (rows of two places) that are each other's best likeness, and clearly so."""
    if min(likeness.shape) < 2:
        return np.empty((0, 2), int)
    next_best, best = np.sqrt(np.maximum(0, 2 - 2 * np.partition(likeness, -2)[:, -2:])).T
    pairs = _mutual(likeness)
    clear: Array = best[pairs[:, 0]] < _RATIO * next_best[pairs[:, 0]]
    return np.asarray(pairs[clear])


def _mutual(likeness: Array) -> Array:
    forth, back = likeness.argmax(axis=1), likeness.argmax(axis=0)
    rows = np.arange(len(forth))
    return np.asarray(np.column_stack((rows, forth))[back[forth] == rows])


def _movement(after_places: Array, before_places: Array) -> tuple[Array, Array] | None:
    """The movement that explains most pairs, and which of them those are."""
    if len(after_places) < 4:
        return None
    movement, chosen = cv2.findHomography(
        after_places, before_places, cv2.USAC_MAGSAC, _PIXELS, maxIters=_ROUNDS, confidence=0.9999
    )
    return None if movement is None else (movement, chosen.ravel().astype(bool))


def _refined(movement: Array, after_places: Array, before_places: Array, likeness: Array) -> Array:
    """The same movement by many more pairs: where one knows about where to look, a weaker likeness is enough."""
    moved = cv2.perspectiveTransform(after_places[None], movement)[0]
    apart = np.hypot(*(moved[:, None, axis] - before_places[None, :, axis] for axis in (0, 1)))
    near = np.where((apart < _NEAR) & (likeness > _LIKE_ENOUGH), likeness, 0)
    pairs = _mutual(near)
    pairs = pairs[near[pairs[:, 0], pairs[:, 1]] > 0]
    better = _movement(after_places[pairs[:, 0]], before_places[pairs[:, 1]])
    return movement if better is None else better[0]


def _fit(before: Array, after: Array, movement: Array, matches: int, places: Array) -> Fit:
    height, width = before.shape[:2]
    down, across = after.shape[:2]
    corners = np.array([[(0, 0), (across, 0), (across, down), (0, down)]], np.float32)
    moved = cv2.perspectiveTransform(corners, movement)[0]
    cells = {(int(x * _CELLS / width), int(y * _CELLS / height)) for x, y in places}
    first, second, third, fourth = ((float(x), float(y)) for x, y in moved)
    return Fit((width, height), (across, down), matches, len(places), len(cells), (first, second, third, fourth))
