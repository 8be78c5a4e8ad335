"""What is hidden is gone from every size, whatever it was; rings and arrows change little, and only where they are."""

from __future__ import annotations

import io

import numpy as np
import pytest
from PIL import Image

from portal.pictures.clean import LARGE, SMALL
from portal.pictures.drawing import HIDING, draw
from portal.pictures.worker import draw_in_child
from portal.rules.picture_parts import Drawn, Part
from portal.rules.refusals import Unfit
from tests.pictures.samples import opened

PART = Part(20, 30, 22.3, 10.1)


def noise(seed: int, size: tuple[int, int] = (1600, 1200)) -> Image.Image:
    """A picture without any plain area."""
    return Image.fromarray(np.random.default_rng(seed).integers(0, 255, (size[1], size[0], 3), dtype=np.uint8))


def jpeg(picture: Image.Image, **how: object) -> bytes:
    out = io.BytesIO()
    picture.save(out, "JPEG", quality=90, **how)
    return out.getvalue()


def under(data: bytes, part: Part) -> np.ndarray:
    """The pixels of a part, as rows of colours."""
    picture = opened(data)
    return np.asarray(picture.crop(part.pixels(picture.size))).astype(int)


@pytest.mark.parametrize("size", [(1600, 1200), (1000, 750), (333, 1600), (40, 30)])
def test_the_pixels_under_a_part_are_of_one_colour_in_both_sizes(size: tuple[int, int]) -> None:
    hidden = draw(jpeg(noise(1, size)), Drawn.HIDDEN, [PART, Part(85, 80, 15, 20)])

    assert opened(hidden.large).size == size
    assert max(opened(hidden.small).size) == min(SMALL, max(size))
    for part in (PART, Part(85, 80, 15, 20)):
        for data in (hidden.large, hidden.small):
            pixels = under(data, part).reshape(-1, 3)
            assert len(np.unique(pixels, axis=0)) == 1
            assert np.abs(pixels[0] - HIDING).max() <= 2  # what encoding alone does


def test_what_stood_there_leaves_no_trace_in_any_byte() -> None:
    one, other = noise(1), noise(1)
    left, top, right, bottom = PART.pixels(one.size)
    other.paste(noise(2).crop((left, top, right, bottom)), (left, top))
    sent = [jpeg(each, subsampling=0) for each in (one, other)]
    assert sent[0] != sent[1]

    first, second = (draw(each, Drawn.HIDDEN, [PART]) for each in sent)

    assert first == second


def test_beside_the_part_the_picture_is_what_it_was() -> None:
    smooth = Image.linear_gradient("L").resize((1600, 1200)).convert("RGB")
    before = np.asarray(smooth).astype(int)
    after = np.asarray(opened(draw(jpeg(smooth), Drawn.HIDDEN, [PART]).large)).astype(int)

    changed = np.abs(after - before).max(axis=2) > 24
    left, top, right, bottom = PART.pixels((1600, 1200), 16)
    changed[top:bottom, left:right] = False
    assert changed.mean() < 0.001


@pytest.mark.parametrize("drawn", [Drawn.RING, Drawn.ARROW])
def test_a_ring_or_an_arrow_leaves_what_it_shows_to_be_seen(drawn: Drawn) -> None:
    plain = Image.new("RGB", (LARGE, 1200), (128, 128, 128))

    marked = draw(jpeg(plain), drawn, [PART])

    for data in (marked.large, marked.small):
        seen = np.asarray(opened(data)).astype(int)
        changed = np.abs(seen - 128).max(axis=2) > 40
        assert 0 < changed.mean() < 0.03
        assert np.abs(under(data, Part(26, 33, 10, 5)) - 128).mean() < 2, "the middle of it"


def test_an_arrow_points_from_where_the_picture_has_room() -> None:
    plain = Image.new("RGB", (LARGE, 1200), (128, 128, 128))
    for part in (Part(0, 0, 3, 3), Part(97, 0, 3, 3), Part(0, 97, 3, 3), Part(97, 97, 3, 3)):
        seen = np.asarray(opened(draw(jpeg(plain), Drawn.ARROW, [part]).large)).astype(int)
        red = (seen[:, :, 0] > 150) & (seen[:, :, 1] < 90)
        assert red.mean() > 0.001, "the whole arrow lies inside of the picture"


def test_it_is_drawn_in_a_child() -> None:
    data = jpeg(noise(3, (320, 240)))

    assert draw_in_child(data, Drawn.HIDDEN, [PART]) == draw(data, Drawn.HIDDEN, [PART])


def test_what_the_child_cannot_draw_on_is_refused_in_words() -> None:
    with pytest.raises(Unfit, match="could not be changed"):
        draw_in_child(b"no picture", Drawn.RING, [PART])
