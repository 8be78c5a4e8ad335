"""Parts of a picture: rectangles in per cent of its width and height, to be hidden or pointed out.

Per cent, so that one rectangle is the same place in every size of a picture.
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum

from portal.rules.refusals import Refused, Unfit
from portal.rules.sentences import Sentence, say

MOST = 6  # at once
SMALLEST = 0.5  # per cent of each side
FIELDS = ("left", "top", "width", "height")
_NUMBER = re.compile(r"[0-9]{1,3}(?:[.,][0-9]{1,6})?")


class Drawn(StrEnum):
    """What is drawn at a part."""

    HIDDEN = "hidden"  # a plain area: what was under it is gone
    RING = "ring"  # around it
    ARROW = "arrow"  # that points at it


POINTERS: Mapping[Drawn, Sentence] = {Drawn.RING: say("a ring around it"), Drawn.ARROW: say("an arrow to it")}


@dataclass(frozen=True)
class Part:
    """A rectangle inside of a picture, in per cent of its width and height (0 to 100)."""

    left: float
    top: float
    width: float
    height: float

    def pixels(self, size: tuple[int, int], grid: int = 1) -> tuple[int, int, int, int]:
        """Left, top, and the first column and row beyond it, in a picture of this size: outward to whole steps."""
        across = _outward(self.left, self.width, size[0], grid)
        down = _outward(self.top, self.height, size[1], grid)
        return across[0], down[0], across[1], down[1]


def read_parts(rows: Sequence[Mapping[str, str]]) -> list[Part]:
    """The parts that were typed, each row with the fields of FIELDS; empty rows are none. What juts out is cut off.

    Raises Unfit (field "left-0", "top-0" … by its row) for what is no number or lies outside, Refused for no part.
    """
    found = [_read(place, row) for place, row in enumerate(rows) if any(row.get(field, "").strip() for field in FIELDS)]
    if not found:
        raise Refused(say("No rectangle was drawn. Draw one over the picture, or type its four numbers."))
    if len(found) > MOST:
        raise Refused(say("At most {most} rectangles fit at once. Draw the others afterwards.", most=MOST))
    return found


def _read(place: int, row: Mapping[str, str]) -> Part:
    left, top, width, height = (_percent(place, field, row.get(field, "")) for field in FIELDS)
    for field, start, length in (("left", left, width), ("top", top, height)):
        if start > 100 - SMALLEST:
            raise Unfit(
                f"{field}-{place}",
                say("Rectangle {place} lies outside of the picture. 100 is its edge.", place=place + 1),
            )
        if length < SMALLEST:
            size = "width" if field == "left" else "height"
            raise Unfit(
                f"{size}-{place}",
                say(
                    "Rectangle {place} is too thin. Give it at least {least} per cent.", place=place + 1, least=SMALLEST
                ),
            )
    return Part(left, top, min(width, 100 - left), min(height, 100 - top))


def _percent(place: int, field: str, typed: str) -> float:
    text = typed.strip().removesuffix("%").rstrip()
    if not _NUMBER.fullmatch(text) or (number := float(text.replace(",", "."))) > 100:
        raise Unfit(
            f"{field}-{place}",
            say("Rectangle {place} wants four numbers from 0 to 100, like 12.5.", place=place + 1),
        )
    return number


def _outward(start: float, length: float, side: int, grid: int) -> tuple[int, int]:
    first = math.floor(start * side / 100 / grid) * grid
    beyond = math.ceil((start + length) * side / 100 / grid) * grid
    return min(first, side - 1), min(beyond, side)
