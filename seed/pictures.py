"""Draws the demo's photos: a device on the bench's mat, as simple shapes. Nothing is taken from anywhere."""

from __future__ import annotations

import io
from random import Random

from PIL import Image, ImageChops, ImageDraw

SIZE = (1000, 750)
_MAT, _GRID, _INK = (96, 122, 118), (118, 144, 139), (38, 42, 46)
_COLOURS = {
    "white": (232, 230, 224), "black": (52, 54, 58), "blue": (74, 108, 168), "grey": (140, 142, 146),
    "clear": (190, 204, 208), "red": (178, 66, 60), "yellow": (222, 184, 66), "silver": (192, 194, 198),
    "green": (96, 148, 108), "cream": (226, 214, 184), "wooden": (150, 106, 70),
}  # fmt: skip
# Width and height of a kind's body, and of its screen (none: no screen), as shares of the picture.
_SHAPES = {
    "handheld": (0.62, 0.34, 0.3, 0.24),
    "console": (0.5, 0.56, 0.0, 0.0),
    "phone": (0.26, 0.66, 0.23, 0.56),
    "reader": (0.38, 0.64, 0.32, 0.48),
    "laptop": (0.64, 0.56, 0.58, 0.46),
    "synthesizer": (0.84, 0.32, 0.14, 0.07),
    "camera": (0.46, 0.42, 0.16, 0.2),
}


def draw(kind: str, device: str, chance: Random) -> bytes:
    """A JPEG of the device; the same dice draw the same picture."""
    picture = Image.new("RGB", SIZE, _MAT)
    pen = ImageDraw.Draw(picture)
    for place in range(0, SIZE[0], 50):
        pen.line([(place, 0), (place, SIZE[1])], fill=_GRID, width=2)
        pen.line([(0, place), (SIZE[0], place)], fill=_GRID, width=2)
    width, height, glass_width, glass_height = _SHAPES.get(kind, (0.44, 0.4, 0.0, 0.0))
    colour = next((tone for name, tone in _COLOURS.items() if name in device.lower()), (160, 150, 140))
    body = _centred(width, height)
    pen.rounded_rectangle(_moved(body, 10), 28, fill=(60, 78, 76))
    pen.rounded_rectangle(body, 28, fill=colour, outline=_INK, width=4)
    if glass_width:
        pen.rounded_rectangle(_centred(glass_width, glass_height), 10, fill=(28, 36, 44), outline=_INK, width=3)
    if kind == "synthesizer":
        _keys(pen, body)
    _scratches(pen, body, chance)
    return _jpeg(picture.rotate(chance.uniform(-4, 4), resample=Image.Resampling.BICUBIC, fillcolor=_MAT), chance)


def _centred(width: float, height: float) -> tuple[float, float, float, float]:
    left, top = SIZE[0] * (1 - width) / 2, SIZE[1] * (1 - height) / 2
    return left, top, SIZE[0] - left, SIZE[1] - top


def _moved(box: tuple[float, float, float, float], by: int) -> tuple[float, float, float, float]:
    return box[0] + by, box[1] + by, box[2] + by, box[3] + by


def _keys(pen: ImageDraw.ImageDraw, body: tuple[float, float, float, float]) -> None:
    left, _top, right, bottom = body
    wide = (right - left - 40) / 21
    for place in range(21):
        at = left + 20 + place * wide
        pen.rectangle((at, bottom - 110, at + wide - 2, bottom - 12), fill=(240, 238, 232), outline=_INK)


def _scratches(pen: ImageDraw.ImageDraw, body: tuple[float, float, float, float], chance: Random) -> None:
    for _ in range(6):
        x, y = chance.uniform(body[0] + 20, body[2] - 60), chance.uniform(body[1] + 20, body[3] - 20)
        pen.line([(x, y), (x + chance.uniform(10, 50), y + chance.uniform(-9, 9))], fill=(250, 248, 240), width=2)


def _jpeg(picture: Image.Image, chance: Random) -> bytes:
    grain = Image.frombytes("L", SIZE, chance.randbytes(SIZE[0] * SIZE[1])).point(lambda tone: tone // 12)
    out = io.BytesIO()
    ImageChops.add(picture, Image.merge("RGB", (grain, grain, grain))).save(out, "JPEG", quality=82)
    return out.getvalue()
