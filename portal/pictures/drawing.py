"""Draws on a picture that is kept already: plain areas over what is hidden, rings and arrows that point something out.

What is hidden is overwritten in the pixels of each size before they are encoded, so no file holds anything of it.
"""

from __future__ import annotations

import io
import math
from collections.abc import Sequence

from PIL import Image, ImageDraw

from portal.pictures.clean import both_sizes, smaller
from portal.pictures.limits import Clean
from portal.rules.picture_parts import Drawn, Part

HIDING = (35, 48, 47)
_LINE, _EDGE = (196, 30, 30), (255, 255, 255)  # seen on dark and on light
# A JPEG is made of blocks of 8 pixels, or 16 where colours are kept coarsely, and what stands in one leaves traces all
# over it: whole blocks are hidden. Encoded again, the blocks that are hidden are plain to the last pixel.
_COARSE, _FINE = 16, 8
_FINER = 2  # rings and arrows are drawn so many times as large, for smooth edges
_THICK = 0.006  # of the long edge
_LONG = 0.14  # of the long edge: an arrow
_HEAD = 0.4  # of an arrow's length

Point = tuple[float, float]


def draw(data: bytes, drawn: Drawn, parts: Sequence[Part]) -> Clean:
    """The picture, a JPEG as `clean` makes it, with that drawn at its parts, in both sizes."""
    picture = Image.open(io.BytesIO(data), formats=("JPEG",)).convert("RGB")
    if drawn is Drawn.HIDDEN:
        return _hidden(picture, parts)
    for part in parts:
        _point_out(picture, drawn, part)
    return both_sizes(picture)


def _hidden(large: Image.Image, parts: Sequence[Part]) -> Clean:
    _cover(large, parts, _COARSE)
    small = smaller(large)
    _cover(small, parts, _FINE)  # making it smaller mixed the edges
    return both_sizes(large, small, full_colour=True)


def _cover(picture: Image.Image, parts: Sequence[Part], block: int) -> None:
    for part in parts:
        picture.paste(HIDING, part.pixels(picture.size, block))


def _point_out(picture: Image.Image, drawn: Drawn, part: Part) -> None:
    """Draw with a light edge, first that and then the line."""
    unit = max(picture.size) * _FINER
    for thick, colour in ((_THICK * 2, _EDGE), (_THICK, _LINE)):
        mask = Image.new("L", (picture.width * _FINER, picture.height * _FINER))
        left, top, right, bottom = part.pixels(mask.size)
        if drawn is Drawn.RING:
            # The line lies around the part, the edge on both sides of the line.
            reach = unit * (_THICK * 1.5 + thick / 2)
            box = (left - reach, top - reach, right + reach, bottom + reach)
            ImageDraw.Draw(mask).ellipse(box, outline=255, width=round(unit * thick))
        else:
            _arrow(mask, (left, top, right, bottom), round(unit * thick), unit)
        picture.paste(colour, mask=mask.resize(picture.size, Image.Resampling.BOX))


def _arrow(mask: Image.Image, box: tuple[int, int, int, int], thick: int, unit: int) -> None:
    """An arrow whose tip touches the box, from the side where the picture has room."""
    left, top, right, bottom = box
    middle = ((left + right) / 2, (top + bottom) / 2)
    away = math.atan2(mask.height / 2 - middle[1], mask.width / 2 - middle[0])
    tip = _at_edge(middle, (right - left) / 2, (bottom - top) / 2, away)
    length = unit * _LONG
    pen = ImageDraw.Draw(mask)
    for turn, part in ((0.0, 1.0), (0.5, _HEAD), (-0.5, _HEAD)):
        end = _along(tip, away + turn, length * part)
        pen.line((tip, end), fill=255, width=thick)
        for x, y in (tip, end):
            pen.ellipse((x - thick / 2, y - thick / 2, x + thick / 2, y + thick / 2), fill=255)


def _at_edge(middle: Point, across: float, down: float, angle: float) -> Point:
    """Where one leaves a box of these half sides from its middle."""
    sides = abs(math.cos(angle)) / across, abs(math.sin(angle)) / down
    return _along(middle, angle, 1 / max(sides))


def _along(start: Point, angle: float, length: float) -> Point:
    return start[0] + math.cos(angle) * length, start[1] + math.sin(angle) * length
