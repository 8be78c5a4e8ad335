"""A signature as drawn on a screen: strokes of points, in a square of 1,000 by 1,000."""

from __future__ import annotations

from typing import Any

from portal.rules.refusals import Unfit
from portal.rules.sentences import say

SIDE = 1000
MOST_STROKES = 200
MOST_POINTS = 5000

Strokes = list[list[list[int]]]


def strokes(drawn: Any) -> Strokes:
    """The strokes as stored: lists of [x, y]. Raises Unfit (field "strokes") for anything but a drawn line."""
    if not (isinstance(drawn, list) and 1 <= len(drawn) <= MOST_STROKES and all(map(_is_stroke, drawn))):
        raise _unfit()
    if sum(map(len, drawn)) > MOST_POINTS or max(map(len, drawn)) < 2:
        raise _unfit()
    return [[[int(x), int(y)] for x, y in stroke] for stroke in drawn]


def _is_stroke(stroke: Any) -> bool:
    return isinstance(stroke, list) and bool(stroke) and all(map(_is_point, stroke))


def _is_point(point: Any) -> bool:
    return (
        isinstance(point, list)
        and len(point) == 2
        and all(
            isinstance(value, (int, float)) and not isinstance(value, bool) and 0 <= value <= SIDE for value in point
        )
    )


def _unfit() -> Unfit:
    return Unfit("strokes", say("There is no signature. Please sign in the box, or accept by tick."))
