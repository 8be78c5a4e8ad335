"""A clean picture is upright, in sRGB, in two sizes, and carries a picture and nothing else."""

from __future__ import annotations

import io
import subprocess
import zlib
from pathlib import Path

import numpy as np
import pytest
from PIL import Image, ImageCms

from portal.pictures import refused
from portal.pictures.clean import clean
from portal.pictures.limits import LARGEST_BYTES, Clean
from portal.rules.refusals import Unfit
from tests.pictures import boxes
from tests.pictures.samples import (
    BLUE,
    GREEN,
    MARK,
    RED,
    YELLOW,
    alike,
    as_bytes,
    corners,
    four_corners,
    full_of_marks,
    opened,
)

UPRIGHT = [RED, GREEN, BLUE, YELLOW]
# How a camera held in each of the eight ways of the EXIF standard (tag 0x0112) stores an upright scene: the inverse of
# what a viewer does to show it.
STORED = {
    1: None,
    2: Image.Transpose.FLIP_LEFT_RIGHT,
    3: Image.Transpose.ROTATE_180,
    4: Image.Transpose.FLIP_TOP_BOTTOM,
    5: Image.Transpose.TRANSPOSE,
    6: Image.Transpose.ROTATE_90,
    7: Image.Transpose.TRANSVERSE,
    8: Image.Transpose.ROTATE_270,
}


def heic(image: Image.Image, folder: Path, heif_enc: str, **options: object) -> bytes:
    """The picture as HEIC, without any property that turns it."""
    source, coded = folder / "picture.jpg", folder / "picture.heic"
    image.save(source, quality=95, **options)
    subprocess.run([heif_enc, "-o", str(coded), str(source)], check=True, capture_output=True)
    return coded.read_bytes()


def colours_of(data: bytes) -> list[tuple[int, int, int]]:
    return corners(opened(data))


def as_stored(orientation: int) -> Image.Image:
    """The upright scene as a camera that was held this way stores it."""
    turn = STORED[orientation]
    return four_corners() if turn is None else four_corners().transpose(turn)


def is_upright(cleaned: Clean) -> bool:
    found = zip(colours_of(cleaned.large), UPRIGHT, strict=True)
    return (cleaned.width, cleaned.height) == (800, 600) and all(alike(one, wanted) for one, wanted in found)


@pytest.mark.parametrize("orientation", STORED)
@pytest.mark.parametrize(
    "form", ["JPEG", "PNG", "WEBP", "AVIF"]
)  # AVIF is told by `irot` and `imir`, the others by EXIF
def test_a_picture_comes_out_upright_whichever_way_the_phone_was_held(form: str, orientation: int) -> None:
    exif = Image.Exif()
    exif[0x0112] = orientation

    assert is_upright(clean(as_bytes(as_stored(orientation), form, exif=exif)))


@pytest.mark.parametrize("orientation", STORED)
def test_a_heic_picture_comes_out_upright_by_its_own_properties(
    orientation: int, tmp_path: Path, heif_enc: str
) -> None:
    stored = heic(as_stored(orientation), tmp_path, heif_enc)

    assert is_upright(clean(boxes.turned(stored, orientation)))


def test_in_heic_the_orientation_of_exif_says_nothing(tmp_path: Path, heif_enc: str) -> None:
    # ISO/IEC 23008-12: the properties `irot` and `imir` are what a viewer heeds; EXIF is only carried along.
    exif = Image.Exif()
    exif[0x0112] = 6

    assert is_upright(clean(heic(four_corners(), tmp_path, heif_enc, exif=exif)))


def test_nothing_but_the_picture_survives() -> None:
    sent = full_of_marks()
    assert sent.count(MARK) >= 7

    cleaned = clean(sent)

    for data in (cleaned.large, cleaned.small):
        assert MARK not in data
        # JPEG segments (ITU-T T.81): APP1 (Exif, XMP), APP2 (ICC), APP13 (IPTC) and COM are gone, nothing follows EOI.
        assert not any(marker in data for marker in (b"\xff\xe1", b"\xff\xe2", b"\xff\xed", b"\xff\xfe"))
        assert data.endswith(b"\xff\xd9")


@pytest.mark.parametrize("mode", ["L", "LA", "RGBA", "P", "1", "CMYK"])
def test_every_kind_of_colour_comes_out_right(mode: str) -> None:
    image = Image.new("RGB", (64, 64), (128, 128, 128)) if mode != "1" else Image.new("RGB", (64, 64), "white")
    form = "JPEG" if mode == "CMYK" else "PNG"

    image = image.quantize() if mode == "P" else image.convert(mode)

    middle = opened(clean(as_bytes(image, form)).large).getpixel((32, 32))

    assert alike(middle, (255, 255, 255) if mode == "1" else (128, 128, 128))  # type: ignore[arg-type]


def test_sixteen_bit_grey_does_not_turn_white() -> None:
    grey = Image.fromarray(np.full((64, 64), 32768, dtype=np.uint16))

    assert alike(opened(clean(as_bytes(grey, "PNG")).large).getpixel((32, 32)), (128, 128, 128))  # type: ignore[arg-type]


def test_what_is_see_through_lies_on_white() -> None:
    clear = Image.new("RGBA", (64, 64), (255, 0, 0, 0))

    assert opened(clean(as_bytes(clear, "PNG")).large).getpixel((32, 32)) == (255, 255, 255)


def test_colours_are_turned_into_srgb_before_their_profile_is_dropped() -> None:
    # An sRGB profile whose red and blue columns have changed names: by it, what is stored as red looks blue.
    srgb = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
    swapped = srgb.replace(b"rXYZ", b"tmp!").replace(b"bXYZ", b"rXYZ").replace(b"tmp!", b"bXYZ")

    cleaned = clean(as_bytes(four_corners(), icc_profile=swapped))

    red, green, blue, _yellow = colours_of(cleaned.large)
    assert alike(red, BLUE)
    assert alike(blue, RED)
    assert alike(green, GREEN)


def test_the_first_of_several_pictures_in_a_file_is_taken() -> None:
    first, second = four_corners(), Image.new("RGB", (800, 600), "black")
    for form in ("MPO", "WEBP", "PNG"):
        data = as_bytes(first, form, save_all=True, append_images=[second])

        found = colours_of(clean(data).large)

        assert all(alike(one, wanted) for one, wanted in zip(found, UPRIGHT, strict=True)), form


def test_both_sizes_keep_the_shape_and_small_pictures_are_not_blown_up() -> None:
    wide, tiny = clean(as_bytes(four_corners(4000, 1000))), clean(as_bytes(four_corners(40, 30)))

    assert opened(wide.large).size == (1600, 400)
    assert opened(wide.small).size == (320, 80)
    assert opened(tiny.large).size == (40, 30)


def test_a_blurred_and_a_dark_picture_are_doubted_and_a_good_one_is_not() -> None:
    noise = np.random.default_rng(7).integers(60, 255, (600, 800, 3), dtype=np.uint8)

    sharp = clean(as_bytes(Image.fromarray(noise)))
    smooth = clean(as_bytes(Image.new("RGB", (800, 600), (120, 130, 140))))
    night = clean(as_bytes(Image.fromarray(noise // 16)))

    assert (sharp.seems_blurred, sharp.seems_dark) == (False, False)
    assert (smooth.seems_blurred, smooth.seems_dark) == (True, False)
    assert night.seems_dark


def png_bomb(side: int) -> bytes:
    """A PNG of side × side pixels in a few kilobytes."""

    def chunk(name: bytes, body: bytes) -> bytes:
        return len(body).to_bytes(4, "big") + name + body + zlib.crc32(name + body).to_bytes(4, "big")

    head = side.to_bytes(4, "big") * 2 + b"\x08\x02\x00\x00\x00"
    return (
        b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", head) + chunk(b"IDAT", zlib.compress(b"\0" * 1000)) + chunk(b"IEND", b"")
    )


GOOD = as_bytes(four_corners())


@pytest.mark.parametrize(
    ("data", "reason"),
    [
        (b"", refused.EMPTY),
        (b"hello", refused.NOT_A_PICTURE),
        (b"\x00\x00\x00\x18ftypmp42\x00\x00\x00\x00mp42isom" + b"\0" * 200, refused.NOT_A_PICTURE),  # a video renamed
        (b"<svg xmlns='http://www.w3.org/2000/svg'/>", refused.DRAWING),
        (b"\xef\xbb\xbf <?xml version='1.0'?><svg/>", refused.DRAWING),
        (as_bytes(four_corners(), "GIF"), refused.NOT_A_PICTURE),
        (GOOD[: len(GOOD) // 2], refused.BROKEN),
        (as_bytes(four_corners(), "PNG")[:-400], refused.BROKEN),
        (png_bomb(20_000), refused.too_many_pixels(400, 50)),
        (b"\xff\xd8" + b"\0" * LARGEST_BYTES, refused.too_large(40)),
    ],
    ids=["empty", "text", "video", "drawing", "drawing with a mark", "gif", "cut off", "cut PNG", "bomb", "too large"],
)
def test_what_is_no_picture_is_refused_with_a_sentence_that_helps(data: bytes, reason: object) -> None:
    with pytest.raises(Unfit) as found:
        clean(data)

    assert found.value.reasons == (reason,)


def test_a_picture_that_is_also_a_web_page_comes_back_as_a_picture_only() -> None:
    polyglot = as_bytes(four_corners(), comment=b"<script>alert(1)</script>") + b"<html><script>alert(1)</script>"

    cleaned = clean(polyglot)

    assert b"script" not in cleaned.large + cleaned.small
    assert opened(io.BytesIO(cleaned.large).getvalue()).format == "JPEG"
