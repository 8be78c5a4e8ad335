"""Whatever is sent, a child answers with a clean picture or with a sentence, and the parent goes on."""

from __future__ import annotations

import io
import zipfile
from pathlib import Path

import numpy as np
import pytest
from PIL import Image, ImageFile

from portal.pictures import refused
from portal.pictures.clean import clean
from portal.pictures.worker import clean_in_child
from portal.rules.refusals import Unfit
from tests.pictures import hostile
from tests.pictures.samples import as_bytes, four_corners
from tests.pictures.test_clean import heic

SENTENCES = {refused.BROKEN.template, refused.NOT_A_PICTURE.template, refused.too_many_pixels(1, 1).template}
BOMBS = {
    "PNG": hostile.png(60_000, 60_000),
    "PNG, a strip": hostile.png(2_000_000_000, 1),
    "PNG, its text": hostile.png_whose_text_swells(),
    "WebP": hostile.webp(16_384, 16_384),
    "JPEG": hostile.jpeg(65_500, 65_500),
    "AVIF": hostile.with_other_size(as_bytes(four_corners(64, 64), "AVIF"), 60_000, 60_000),
}
noise = Image.fromarray(np.random.default_rng(1).integers(0, 255, (300, 400, 3), dtype=np.uint8))


def reason(data: bytes) -> str:
    """Why it is refused, as the child says."""
    with pytest.raises(Unfit) as found:
        clean_in_child(data)
    return found.value.reasons[0].template


def answer(data: bytes) -> str:
    """That it is a picture, or why not."""
    try:
        return "a picture" if clean_in_child(data).large.startswith(b"\xff\xd8") else "something else"
    except Unfit as unfit:
        return unfit.reasons[0].template


@pytest.mark.parametrize("form", BOMBS)
def test_a_bomb_is_refused_by_its_header(form: str) -> None:
    assert reason(BOMBS[form]) in SENTENCES


def test_a_heic_bomb_is_refused_by_its_header(tmp_path: Path, heif_enc: str) -> None:
    plain = heic(four_corners(64, 64), tmp_path, heif_enc)

    assert reason(hostile.with_other_size(plain, 30_000, 30_000)) in SENTENCES


def test_after_a_bomb_the_next_picture_is_cleaned() -> None:
    reason(BOMBS["PNG"])

    assert clean_in_child(as_bytes(four_corners())).width == 800


def test_the_most_pixels_in_the_fewest_bytes_are_a_picture_like_any_other() -> None:
    plain = Image.new("RGB", (8_000, 6_000), "teal")

    cleaned = clean_in_child(as_bytes(plain, "PNG"))

    assert (cleaned.width, cleaned.height) == (1600, 1200)


def test_a_picture_that_is_an_archive_too_comes_back_as_a_picture_only() -> None:
    sent = hostile.jpeg_and_zip()
    assert zipfile.is_zipfile(io.BytesIO(sent))

    cleaned = clean(sent)

    assert not zipfile.is_zipfile(io.BytesIO(cleaned.large))
    assert hostile.SCRIPT not in cleaned.large + cleaned.small


@pytest.mark.parametrize(
    "data",
    [
        hostile.gif_and_script(),
        b"<!doctype html><title>x</title>" + hostile.SCRIPT,
        b"%PDF-1.7\n%\xe2\xe3\xcf\xd3\n" + bytes(200),
        b"#!/bin/sh\nexit\n",
        b"BM" + bytes(200),
        b"II*\x00" + bytes(200),
        *(hostile.video(brand) for brand in (b"mp42", b"isom", b"qt  ", b"3gp4", b"M4V ")),
    ],
    ids=["GIF", "web page", "PDF", "program", "BMP", "TIFF", "mp4", "isom", "mov", "3gp", "m4v"],
)
def test_what_is_called_a_picture_and_is_none_is_refused(data: bytes) -> None:
    assert reason(data) == refused.NOT_A_PICTURE.template


@pytest.fixture(scope="module")
def whole(tmp_path_factory: pytest.TempPathFactory) -> dict[str, bytes]:
    """The same picture in each format; HEIC where it can be made."""
    return {form: as_bytes(noise, form) for form in ("JPEG", "PNG", "WEBP", "AVIF")}


def test_half_a_picture_is_refused_though_another_library_let_such_pictures_in(
    whole: dict[str, bytes], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(ImageFile, "LOAD_TRUNCATED_IMAGES", True)

    with pytest.raises(Unfit):
        clean(whole["JPEG"][: len(whole["JPEG"]) // 2])


@pytest.mark.parametrize("left", [0.02, 0.1, 0.5, 0.9, 0.99])
@pytest.mark.parametrize("form", ["JPEG", "PNG", "WEBP", "AVIF"])
def test_half_a_picture_is_never_taken_for_one(form: str, left: float, whole: dict[str, bytes]) -> None:
    data = whole[form]

    with pytest.raises(Unfit) as found:
        clean(data[: int(len(data) * left)])

    assert found.value.reasons == (refused.BROKEN,)


@pytest.mark.parametrize("left", [0.02, 0.1, 0.5, 0.9, 0.99])
def test_half_a_heic_picture_is_never_taken_for_one(left: float, tmp_path: Path, heif_enc: str) -> None:
    data = heic(noise, tmp_path, heif_enc)

    with pytest.raises(Unfit) as found:
        clean(data[: int(len(data) * left)])

    assert found.value.reasons == (refused.BROKEN,)


@pytest.mark.parametrize("form", ["JPEG", "PNG", "WEBP", "AVIF"])
def test_a_picture_with_wrong_bytes_in_it_gets_an_answer(form: str, whole: dict[str, bytes]) -> None:
    dice = np.random.default_rng(len(form))
    for _ in range(6):
        data = bytearray(whole[form])
        for place in dice.integers(0, len(data) // 4, 12):
            data[place] = dice.integers(0, 256)
        assert answer(bytes(data)) in SENTENCES | {"a picture", refused.TOO_HARD.template}
