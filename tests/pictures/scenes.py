"""Scenes on a bench and pictures of them from elsewhere: drawn, so that it is known how each was moved."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
from PIL import Image, ImageDraw, ImageFilter

Array = np.ndarray[Any, Any]
SIZE = (1600, 1200)
_BOARD = ((32, 92, 60), (28, 60, 96), (60, 62, 66), (150, 128, 96), (208, 206, 198))
_PARTS = ((24, 24, 26), (190, 190, 184), (176, 130, 60), (90, 60, 40), (230, 228, 220), (120, 30, 30), (60, 80, 110))


def scene(seed: int, *, mended: bool = False) -> Array:
    """A board with its parts, seen from above. Boards of different seeds are made of the same kinds of parts.

    Mended, a third of its parts are others, and its surface has been cleaned: nothing of the grain is as it was.
    """
    dice = np.random.default_rng(seed)
    width, height = SIZE
    picture = Image.new("RGB", SIZE, _BOARD[dice.integers(len(_BOARD))])
    pen = ImageDraw.Draw(picture)
    for _ in range(90):
        x, y = dice.integers(0, width), dice.integers(0, height)
        turn = dice.choice([0, 45, 90, 135]) * math.pi / 180
        length = dice.integers(80, 500)
        shade = tuple(int(tone) + 25 for tone in picture.getpixel((5, 5)))
        pen.line([(x, y), (x + length * math.cos(turn), y + length * math.sin(turn))], fill=shade, width=5)
    new = np.random.default_rng(seed + 10_000)
    for place in range(int(dice.integers(60, 140))):
        _part(pen, new if mended and place % 3 == 0 else dice)
    surface = new if mended else dice
    rough = Image.fromarray(surface.integers(0, 255, (height // 3, width // 3), dtype=np.uint8)).resize(SIZE)
    grain = (np.asarray(rough, np.float32)[..., None] - 127) / 14
    soft = np.asarray(picture.filter(ImageFilter.GaussianBlur(0.8)), np.float32)
    return np.clip(soft + grain, 0, 255).astype(np.uint8)


def movement(
    degrees: float, scale: float, tilt: tuple[float, float] = (0, 0), shift: tuple[float, float] = (0, 0)
) -> Array:
    """The matrix (3 × 3, on pixels) of a camera that was turned, moved nearer or away, tilted and shifted.

    A tilt of 0.05 makes things five in a hundred larger or smaller at the picture's edge.
    """
    width, height = SIZE
    turn = math.radians(degrees)
    middle = np.array([[1, 0, -width / 2], [0, 1, -height / 2], [0, 0, 1]])
    back = np.array([[1, 0, width / 2 + shift[0]], [0, 1, height / 2 + shift[1]], [0, 0, 1]])
    turned = np.array(
        [
            [scale * math.cos(turn), -scale * math.sin(turn), 0],
            [scale * math.sin(turn), scale * math.cos(turn), 0],
            [tilt[0] * 2 / width, tilt[1] * 2 / height, 1],
        ]
    )
    return back @ turned @ middle


def seen(picture: Array, moved: Array, *, light: float = 1.0, noise: float = 0.0, seed: int = 0) -> Array:
    """The scene as the moved camera sees it, in other light, with a camera's noise."""
    width, height = SIZE
    backwards = np.linalg.inv(moved)
    ways = tuple((backwards / backwards[2, 2]).ravel()[:8])
    image = Image.fromarray(picture).transform(
        (width, height), Image.Transform.PERSPECTIVE, ways, Image.Resampling.BICUBIC, fillcolor=(96, 122, 118)
    )
    lit = np.asarray(image, np.float32) * light
    return np.clip(lit + np.random.default_rng(seed).normal(0, noise, lit.shape), 0, 255).astype(np.uint8)


def corners_error(found: Array, moved: Array) -> float:
    """How far, in pixels on average, the before picture's corners come back from where they were: there and back."""
    width, height = SIZE
    corners = np.array([[0, 0, 1], [width, 0, 1], [width, height, 1], [0, height, 1]], float).T
    back = found @ moved @ corners
    return float(np.hypot(*(back[:2] / back[2] - corners[:2])).mean())


def _part(pen: ImageDraw.ImageDraw, dice: np.random.Generator) -> None:
    width, height = SIZE
    x, y = (float(dice.uniform(0, side)) for side in (width, height))
    across, down = (float(size) for size in dice.uniform(20, 110, 2))
    colour = _PARTS[dice.integers(len(_PARTS))]
    match dice.integers(4):
        case 0:
            pen.rectangle((x, y, x + across, y + down), fill=colour, outline=(12, 12, 12), width=2)
            for leg in range(int(across // 14)):
                pen.rectangle((x + 4 + leg * 14, y - 8, x + 10 + leg * 14, y), fill=(200, 200, 196))
        case 1:
            pen.ellipse((x, y, x + across, y + across), fill=colour, outline=(230, 230, 226), width=3)
            pen.line(
                (x + across * 0.3, y + across * 0.5, x + across * 0.7, y + across * 0.5), fill=(20, 20, 20), width=3
            )
        case 2:
            for place in range(int(dice.integers(3, 9))):
                pen.rectangle((x + place * 18, y, x + place * 18 + 9, y + 16), fill=colour)
        case _:
            pen.rounded_rectangle((x, y, x + across, y + down / 3), 4, fill=colour)
            pen.rectangle((x + across * 0.2, y + 3, x + across * 0.3, y + down / 3 - 2), fill=(240, 240, 236))
