"""Decoding takes no more than it must: large pictures go through in bands that cannot be seen afterwards."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from PIL import Image

from portal.pictures import decoding, refused
from portal.pictures.decoding import decode, fitting, identify
from portal.rules.refusals import Unfit
from tests.pictures.samples import as_bytes, four_corners

sides = st.integers(1, 400)


def noise(width: int, height: int) -> Image.Image:
    """A picture in which every shifted row would show."""
    return Image.fromarray(np.random.default_rng(5).integers(0, 255, (height, width, 3), dtype=np.uint8))


@pytest.mark.parametrize("size", [(900, 700), (700, 900), (301, 1203), (480, 360), (333, 111)])
def test_the_bands_cannot_be_seen(size: tuple[int, int], monkeypatch: pytest.MonkeyPatch) -> None:
    data = as_bytes(noise(*size), "PNG")
    whole = np.asarray(decode(identify(data), data, 320), dtype=int)
    monkeypatch.setattr(decoding, "_BAND_PIXELS", 20_000)

    banded = np.asarray(decode(identify(data), data, 320), dtype=int)

    assert banded.shape == whole.shape
    assert np.abs(banded - whole).max() <= 3


@given(sides, sides, st.integers(1, 300))
def test_a_picture_of_any_shape_fits_and_keeps_it(width: int, height: int, side: int) -> None:
    data = as_bytes(Image.new("RGB", (width, height), "teal"), "PNG")

    found = decode(identify(data), data, side)

    assert found.size == fitting((width, height), side)
    assert max(found.size) == min(side, max(width, height))
    assert found.getpixel((0, 0)) == (0, 128, 128)


@pytest.mark.parametrize("shape", [(60_000, 1), (1, 60_000)])
def test_a_line_of_pixels_is_a_picture_too(shape: tuple[int, int]) -> None:
    data = as_bytes(Image.new("RGB", shape, "teal"), "PNG")

    assert max(decode(identify(data), data, 320).size) == 320


@pytest.mark.parametrize(("subsampling", "most"), [(0, 36), (2, 73)], ids=["4:4:4", "4:2:0"])
def test_a_jpeg_that_is_kept_as_coefficients_may_have_fewer_pixels(subsampling: int, most: int) -> None:
    image = identify(as_bytes(four_corners(), progressive=True, subsampling=subsampling))

    assert decoding._most_megapixels(image) == most


def test_more_pixels_than_a_format_may_have_are_refused_before_decoding(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(decoding.MOST_MEGAPIXELS, "WEBP", 0)  # type: ignore[arg-type]

    with pytest.raises(Unfit) as found:
        identify(as_bytes(four_corners(), "WEBP"))

    assert found.value.reasons == (refused.too_many_pixels(0.48, 0),)
