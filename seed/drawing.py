"""Draws what lies on the demo's bench: boards, cases, trays of screws; as they came, and as they are after the repair.

Everything is drawn twice as large as it is needed and then made smaller, which smooths every edge. A scene is drawn by
dice of its own, so that before and after show the same thing; what was wrong is drawn over it.
"""

from __future__ import annotations

import math
from functools import lru_cache
from random import Random

from PIL import Image, ImageDraw, ImageFilter, ImageFont

SIZE = (1000, 750)
_WIDE, _HIGH = SIZE[0] * 2, SIZE[1] * 2
Colour = tuple[int, int, int]
Box = tuple[float, float, float, float]

MAT, _GRID, _INK = (92, 116, 112), (112, 137, 132), (34, 37, 41)
_COPPER, _SOLDER, _SILK, _CHIP = (196, 150, 88), (196, 200, 204), (226, 230, 222), (30, 31, 34)
_RUST, _SOOT, _DUST = (150, 190, 160), (26, 20, 16), (168, 160, 146)
_LACQUERS = ((24, 84, 58), (28, 58, 104), (38, 40, 44), (112, 38, 36), (20, 98, 76))
_LETTERS = ImageFont.load_default(24)


def board(variant: int, *, mended: bool) -> Image.Image:
    """An opened device's board; each variant another one, with another thing wrong."""
    dice, wrong = _dice(f"board {variant}"), _dice(f"what is wrong with board {variant}")
    picture, pen = _bench()
    edge, chips = _laid_out(pen, variant, dice)
    for x, y in ((190, 170), (_WIDE - 190, 170), (190, _HIGH - 170), (_WIDE - 190, _HIGH - 170)):
        _screw(pen, x, y, 34, dice)
    if not mended:
        (_corrosion, _burn, _crack)[variant % 3](picture, *wrong.choice(chips), wrong)
        _dust(picture, edge, wrong, 900)
    return picture.reduce(2)


@lru_cache
def fault_of(variant: int) -> tuple[float, float]:
    """About where something is wrong with a board, in per cent of the picture's width and height."""
    _picture, pen = _bench()
    _edge, chips = _laid_out(pen, variant, _dice(f"board {variant}"))
    x, y = _dice(f"what is wrong with board {variant}").choice(chips)
    return 100 * x / _WIDE, 100 * y / _HIGH


def _laid_out(pen: ImageDraw.ImageDraw, variant: int, dice: Random) -> tuple[Box, list[tuple[float, float]]]:
    """The board itself with its traces and parts; tells its edge and where its chips are."""
    lacquer = _LACQUERS[variant % len(_LACQUERS)]
    edge: Box = (110, 90, _WIDE - 110, _HIGH - 90)
    pen.rounded_rectangle(_moved(edge, 16), 30, fill=(58, 74, 71))
    pen.rounded_rectangle(edge, 30, fill=lacquer)
    _traces(pen, edge, lacquer, dice)
    return edge, _parts(pen, edge, dice)


def case(kind: str, colour: Colour, *, mended: bool) -> Image.Image:
    """A device from outside: its case, what it has to be pressed, and a label."""
    dice, wrong = _dice(f"case {kind}"), _dice(f"what is wrong with case {kind}")
    picture, pen = _bench()
    width, height, glass = _CASES.get(kind, (0.6, 0.5, None))
    body = _centred(width, height)
    pen.rounded_rectangle(_moved(body, 22), 56, fill=(58, 74, 71))
    pen.rounded_rectangle(body, 56, fill=_darker(colour, 0.82), outline=_INK, width=5)
    pen.rounded_rectangle(_moved(body, 0, by=14), 46, fill=colour)
    if glass:
        shown = _centred(*glass)
        pen.rounded_rectangle(shown, 20, fill=(26, 33, 41), outline=_INK, width=5)
        pen.polygon([(shown[0] + 30, shown[3] - 30), (shown[0] + 30, shown[1] + 30), (shown[2] * 0.6, shown[1] + 30)],
                    fill=(38, 48, 58))  # fmt: skip
    _fittings(pen, body, kind, dice)
    if not mended:
        middle = (body[0] + body[2]) / 2 + wrong.uniform(-120, 120), (body[1] + body[3]) / 2 + wrong.uniform(-90, 90)
        if glass:
            _splintered(pen, *middle, wrong)
        _scratches(pen, body, wrong)
        _dust(picture, body, wrong, 1500)
    return picture.reduce(2)


def tray(variant: int) -> Image.Image:
    """What was taken out of a device, laid out in the compartments of a tray."""
    dice = _dice(f"tray {variant}")
    picture, pen = _bench()
    pen.rounded_rectangle((120, 110, _WIDE - 120, _HIGH - 110), 40, fill=(206, 201, 188), outline=_INK, width=6)
    for row in range(3):
        for column in range(4):
            left, top = 160 + column * 425, 150 + row * 405
            pen.rounded_rectangle(
                (left, top, left + 395, top + 375), 26, fill=(186, 181, 168), outline=(140, 136, 126), width=4
            )
            _compartment(pen, left, top, dice)
    return picture.reduce(2)


def photographed(picture: Image.Image, chance: Random, grain: Image.Image, *, moved: float) -> Image.Image:
    """The scene through a camera in a hand: a little askew, brighter in the middle, with grain. `moved` is how much."""
    turn, near = math.radians(chance.uniform(-5, 5) * moved), 1 - chance.uniform(0.0, 0.08) * moved
    right, down = (chance.uniform(-30, 30) * moved for _ in range(2))
    tilts = [chance.uniform(-3e-5, 3e-5) * moved for _ in range(2)]
    x, y = SIZE[0] / 2, SIZE[1] / 2
    a, b = near * math.cos(turn), near * math.sin(turn)
    ways = (a, -b, x - a * x + b * y + right, b, a, y - b * x - a * y + down, *tilts)
    seen = picture.transform(SIZE, Image.Transform.PERSPECTIVE, ways, Image.Resampling.BICUBIC, fillcolor=MAT)
    seen = Image.composite(seen, seen.point(lambda tone: tone * 0.72), _LIGHT)
    shifted = grain.crop(_moved((0, 0, *SIZE), chance.randrange(200)))
    return Image.blend(seen, Image.merge("RGB", (shifted, shifted, shifted)), 0.05)


def grain(chance: Random) -> Image.Image:
    """A camera's grain, larger than a picture, so that each takes another piece of it."""
    width, height = SIZE[0] + 200, SIZE[1] + 200
    return Image.frombytes("L", (width, height), chance.randbytes(width * height))


def _light() -> Image.Image:
    """How much light there is: most in the middle."""
    edge = Image.radial_gradient("L").resize(SIZE)
    return edge.point(lambda tone: 255 - tone * 0.55)


_LIGHT = _light()
# Width and height of a case, and of the glass in it, as shares of the picture.
_CASES: dict[str, tuple[float, float, tuple[float, float] | None]] = {
    "handheld": (0.84, 0.5, (0.42, 0.38)),
    "console": (0.7, 0.74, None),
    "phone": (0.42, 0.88, (0.38, 0.76)),
    "reader": (0.52, 0.86, (0.44, 0.66)),
    "laptop": (0.86, 0.8, None),
    "synthesizer": (0.92, 0.66, None),
    "amplifier": (0.86, 0.42, None),
    "camera": (0.66, 0.62, None),
    "desktop": (0.56, 0.86, None),
}


def _dice(what: str) -> Random:
    return Random(what)  # noqa: S311 (drawings, not secrets)


def _bench() -> tuple[Image.Image, ImageDraw.ImageDraw]:
    picture = Image.new("RGB", (_WIDE, _HIGH), MAT)
    pen = ImageDraw.Draw(picture)
    for place in range(0, _WIDE, 100):
        pen.line([(place, 0), (place, _HIGH)], fill=_GRID, width=3)
        pen.line([(0, place), (_WIDE, place)], fill=_GRID, width=3)
        pen.text((place + 6, 4), str(place // 100), fill=_GRID, font=_LETTERS)
    return picture, pen


def _traces(pen: ImageDraw.ImageDraw, edge: Box, lacquer: Colour, dice: Random) -> None:
    shade: Colour = tuple(min(255, tone + 22) for tone in lacquer)  # type: ignore[assignment]
    for _ in range(70):
        x, y = dice.uniform(edge[0] + 60, edge[2] - 400), dice.uniform(edge[1] + 60, edge[3] - 60)
        bend, run = dice.choice((-1, 1)) * dice.uniform(20, 120), dice.uniform(80, 330)
        y_bent = min(edge[3] - 40, max(edge[1] + 40, y + bend))
        path = [(x, y), (x + run, y), (x + run + abs(y_bent - y), y_bent), (min(edge[2] - 40, x + run * 2), y_bent)]
        pen.line(path, fill=shade, width=6, joint="curve")
        pen.ellipse(_round(x, y, 9), fill=_COPPER, outline=lacquer, width=3)


def _parts(pen: ImageDraw.ImageDraw, edge: Box, dice: Random) -> list[tuple[float, float]]:
    """A part in most squares of the board; tells where the chips are."""
    chips = []
    for column in range(7):
        for row in range(5):
            x, y = (
                edge[0] + 150 + column * 240 + dice.uniform(-30, 30),
                edge[1] + 160 + row * 245 + dice.uniform(-30, 30),
            )
            what = dice.random()
            if what < 0.3:
                _chip(pen, x, y, dice)
                chips.append((x, y))
            elif what < 0.5:
                _can(pen, x, y, dice.uniform(34, 60))
            else:
                for place in range(dice.randrange(2, 7)):
                    _resistor(pen, x - 70 + place % 3 * 66, y - 40 + place // 3 * 62, dice)
            pen.text((x - 80, y - 108), f"{dice.choice('UCRQLJ')}{dice.randrange(1, 400)}", fill=_SILK, font=_LETTERS)
    return chips


def _chip(pen: ImageDraw.ImageDraw, x: float, y: float, dice: Random) -> None:
    across, down, legs = dice.uniform(55, 95), dice.uniform(45, 80), dice.randrange(5, 9)
    for leg in range(legs):
        at = y - down + (leg + 0.5) * 2 * down / legs
        pen.rectangle((x - across - 16, at - 4, x + across + 16, at + 4), fill=_SOLDER)
    pen.rectangle((x - across, y - down, x + across, y + down), fill=_CHIP)
    pen.ellipse(_round(x - across + 16, y - down + 16, 7), fill=(70, 71, 75))
    pen.text((x - across + 12, y - 14), f"{dice.randrange(1000, 9999)}", fill=(140, 142, 146), font=_LETTERS)


def _can(pen: ImageDraw.ImageDraw, x: float, y: float, radius: float) -> None:
    pen.ellipse(_round(x + 5, y + 7, radius), fill=(24, 40, 34))
    pen.ellipse(_round(x, y, radius), fill=(186, 188, 192), outline=(120, 122, 126), width=4)
    pen.chord(_round(x, y, radius), 60, 130, fill=(52, 54, 60))
    pen.line([(x - radius / 2, y), (x + radius / 2, y)], fill=(140, 142, 146), width=4)
    pen.line([(x, y - radius / 2), (x, y + radius / 2)], fill=(140, 142, 146), width=4)


def _resistor(pen: ImageDraw.ImageDraw, x: float, y: float, dice: Random) -> None:
    body = dice.choice((_CHIP, (150, 112, 72), (72, 58, 48)))
    pen.rectangle((x - 22, y - 11, x + 22, y + 11), fill=_SOLDER)
    pen.rectangle((x - 12, y - 11, x + 12, y + 11), fill=body)


def _screw(pen: ImageDraw.ImageDraw, x: float, y: float, radius: float, dice: Random) -> None:
    turn = dice.uniform(0, math.pi)
    pen.ellipse(_round(x + 4, y + 5, radius), fill=(40, 44, 46))
    pen.ellipse(_round(x, y, radius), fill=(188, 190, 194), outline=(112, 114, 118), width=3)
    for angle in (turn, turn + math.pi / 2):
        across, down = math.cos(angle) * radius * 0.62, math.sin(angle) * radius * 0.62
        pen.line([(x - across, y - down), (x + across, y + down)], fill=(64, 66, 70), width=max(4, int(radius / 5)))


def _compartment(pen: ImageDraw.ImageDraw, left: float, top: float, dice: Random) -> None:
    pen.text(
        (left + 18, top + 14),
        dice.choice(("6 mm", "8 mm", "top", "frame", "shield", "pad", "hinge")),
        fill=_INK,
        font=_LETTERS,
    )
    what, radius = dice.random(), dice.choice((17, 22, 27))
    for place in range(dice.randrange(2, 10)):
        x, y = left + 80 + place % 4 * 82 + dice.uniform(-14, 14), top + 110 + place // 4 * 96 + dice.uniform(-14, 14)
        if what < 0.65:
            _screw(pen, x, y, radius, dice)
        elif what < 0.8:
            pen.rectangle((x - 30, y - 24, x + 30, y + 24), fill=(150, 152, 156), outline=(96, 98, 102), width=4)
        else:
            pen.rectangle((x - 26, y - 26, x + 26, y + 26), fill=(120, 146, 176), outline=(92, 116, 144), width=3)


def _fittings(pen: ImageDraw.ImageDraw, body: Box, kind: str, dice: Random) -> None:
    left, top, right, bottom = body
    for x, y in ((left + 60, top + 60), (right - 60, top + 60), (left + 60, bottom - 60), (right - 60, bottom - 60)):
        _screw(pen, x, y, 20, dice)
    if kind in ("synthesizer", "laptop"):
        _keys(pen, body, 3 if kind == "laptop" else 1)
    if kind == "handheld":
        for x in (left + 150, right - 150):
            _can(pen, x, (top + bottom) / 2 - 60, 62)
    if kind == "synthesizer":
        for place in range(9):
            x = left + 170 + place * (right - left - 340) / 8
            _can(pen, x, top + 170, 34)
            pen.text(
                (x - 40, top + 220), dice.choice(("tone", "pitch", "slow", "wide", "echo")), fill=_SILK, font=_LETTERS
            )
    if kind in ("amplifier", "camera"):
        for place in range(5):
            x, y = left + 200 + place * (right - left - 400) / 4, (top + bottom) / 2
            _can(pen, x, y, 40 + 22 * (place % 2))
            pen.text(
                (x - 60, y + 80),
                f"{dice.choice(('bass', 'tone', 'gain', 'light', 'mode'))} {place}",
                fill=_INK,
                font=_LETTERS,
            )
            for mark in range(7):
                angle = math.pi * (0.8 + mark * 0.233)
                pen.ellipse(_round(x + math.cos(angle) * 84, y + math.sin(angle) * 84, 5 + mark % 3), fill=_INK)
    if kind in ("console", "desktop"):
        for place in range(14):
            at = top + 150 + place * (bottom - top - 300) / 13
            pen.rounded_rectangle((left + 120, at, right - 120, at + 18), 9, fill=_INK)
    _plate(pen, right - 400, bottom - 160, dice)
    for place in range(6):
        at = left + 130 + place * 74
        pen.rounded_rectangle((at, top + 40, at + 50, top + 62), 8, fill=_INK)
    for place in range(4):
        x = left + 110 + place * (right - left - 420) / 3
        pen.text(
            (x, bottom - 70),
            f"{dice.choice(('IN', 'OUT', 'DC', 'USB', 'L', 'R'))} {dice.randrange(1, 20)}",
            fill=_INK,
            font=_LETTERS,
        )
        pen.rounded_rectangle((x + 90, bottom - 66, x + 90 + dice.randrange(24, 60), bottom - 44), 6, fill=(70, 74, 80))


def _plate(pen: ImageDraw.ImageDraw, x: float, y: float, dice: Random) -> None:
    """A plate with small print, a mark and a number in bars, as most devices have one."""
    pen.rectangle((x, y, x + 290, y + 124), fill=(214, 214, 206), outline=_INK, width=3)
    pen.text((x + 12, y + 8), f"No. {dice.randrange(10_000, 99_999)}", fill=_INK, font=_LETTERS)
    pen.text((x + 12, y + 38), f"{dice.randrange(3, 24)} V  {dice.randrange(1, 9)} A", fill=_INK, font=_LETTERS)
    pen.polygon([(x + 236, y + 12), (x + 276, y + 60), (x + 200, y + 60)], fill=(196, 150, 40), outline=_INK)
    at = x + 14
    while at < x + 270:
        wide = dice.randrange(2, 9)
        pen.rectangle((at, y + 76, at + wide, y + 112), fill=_INK)
        at += wide + dice.randrange(3, 9)


def _keys(pen: ImageDraw.ImageDraw, body: Box, rows: int) -> None:
    left, top, right, bottom = body
    wide, high = (right - left - 160) / 22, (bottom - top) * (0.16 if rows > 1 else 0.5)
    for row in range(rows):
        for place in range(22):
            x, y = left + 80 + place * wide, bottom - 150 - (row + 1) * (high + 10)
            pen.rounded_rectangle(
                (x, y, x + wide - 8, y + high),
                8,
                fill=(238, 236, 230) if rows == 1 else (48, 50, 54),
                outline=_INK,
                width=3,
            )


def _corrosion(picture: Image.Image, x: float, y: float, wrong: Random) -> None:
    _stain(picture, x, y, 230, _RUST, wrong, 0.85)
    _stain(picture, x + 90, y + 40, 120, (214, 220, 206), wrong, 0.9)


def _burn(picture: Image.Image, x: float, y: float, wrong: Random) -> None:
    _stain(picture, x, y, 210, _SOOT, wrong, 0.92)
    _stain(picture, x, y, 90, (8, 6, 6), wrong, 1.0)


def _crack(picture: Image.Image, x: float, y: float, wrong: Random) -> None:
    pen, path = ImageDraw.Draw(picture), [(x - 420, y - 60)]
    while path[-1][0] < x + 420:
        path.append((path[-1][0] + wrong.uniform(20, 60), path[-1][1] + wrong.uniform(-30, 38)))
    pen.line(path, fill=(8, 9, 9), width=14)
    pen.line([(left + 4, top + 8) for left, top in path], fill=(214, 206, 176), width=6)


def _stain(
    picture: Image.Image, x: float, y: float, radius: int, colour: Colour, wrong: Random, strength: float
) -> None:
    """A blot with a ragged edge, through which what is under it can still be guessed."""
    blot = Image.new("L", (radius * 2, radius * 2))
    pen = ImageDraw.Draw(blot)
    for _ in range(70):
        angle, far = wrong.uniform(0, math.tau), wrong.uniform(0, radius * 0.7)
        at = radius + math.cos(angle) * far, radius + math.sin(angle) * far
        pen.ellipse(_round(*at, wrong.uniform(6, radius * 0.28)), fill=int(wrong.uniform(120, 255) * strength))
    blot = blot.filter(ImageFilter.GaussianBlur(5))
    picture.paste(colour, (int(x) - radius, int(y) - radius), blot)


def _dust(picture: Image.Image, box: Box, wrong: Random, specks: int) -> None:
    pen = ImageDraw.Draw(picture)
    for _ in range(specks):
        x, y, size = wrong.uniform(box[0], box[2]), wrong.uniform(box[1], box[3]), wrong.uniform(1, 4)
        pen.ellipse(_round(x, y, size), fill=_DUST)
    for _ in range(16):
        x, y = wrong.uniform(box[0] + 40, box[2] - 40), wrong.uniform(box[1] + 40, box[3] - 40)
        pen.arc(
            _round(x, y, wrong.uniform(14, 40)), wrong.uniform(0, 180), wrong.uniform(200, 340), fill=_DUST, width=3
        )


def _splintered(pen: ImageDraw.ImageDraw, x: float, y: float, wrong: Random) -> None:
    for _ in range(11):
        angle, far = wrong.uniform(0, math.tau), 0.0
        path = [(x, y)]
        while far < wrong.uniform(160, 420):
            far += wrong.uniform(30, 70)
            angle += wrong.uniform(-0.25, 0.25)
            path.append((x + math.cos(angle) * far, y + math.sin(angle) * far))
        pen.line(path, fill=(208, 214, 220), width=4)


def _scratches(pen: ImageDraw.ImageDraw, body: Box, wrong: Random) -> None:
    for _ in range(14):
        x, y = wrong.uniform(body[0] + 40, body[2] - 160), wrong.uniform(body[1] + 40, body[3] - 40)
        pen.line([(x, y), (x + wrong.uniform(20, 130), y + wrong.uniform(-24, 24))], fill=(250, 248, 240), width=3)


def _centred(width: float, height: float) -> Box:
    left, top = _WIDE * (1 - width) / 2, _HIGH * (1 - height) / 2
    return left, top, _WIDE - left, _HIGH - top


def _moved(box: Box, shift: float, by: float = 0.0) -> Box:
    """Shifted right and down, and smaller `by` this much on each side."""
    return box[0] + shift + by, box[1] + shift + by, box[2] + shift - by, box[3] + shift - by


def _round(x: float, y: float, radius: float) -> Box:
    return x - radius, y - radius, x + radius, y + radius


def _darker(colour: Colour, share: float) -> Colour:
    return tuple(int(tone * share) for tone in colour)  # type: ignore[return-value]
