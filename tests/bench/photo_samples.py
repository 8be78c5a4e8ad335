"""Pictures as phones make them, and the largest that are accepted of each format; all drawn here."""

from __future__ import annotations

import io
import shutil
import subprocess
import tempfile
from collections.abc import Iterator
from pathlib import Path

import numpy as np
from PIL import Image, ImageCms

from portal.pictures.limits import LARGEST_BYTES

TWELVE_MEGAPIXELS = (4032, 3024)
_NOISE_ROWS = np.random.default_rng(2)
Image.MAX_IMAGE_PIXELS = None


def scene(size: tuple[int, int], seed: int = 1) -> Image.Image:
    """Something with large and small shapes and a camera's noise, which compresses about as a photo does."""
    dice = np.random.default_rng(seed)
    width, height = size
    light = np.full((height, width, 3), 120, np.float32)
    for across, strength in ((8, 45), (40, 25), (200, 14), (900, 9)):
        coarse = dice.integers(0, 255, (max(2, across * height // width), across, 3), dtype=np.uint8)
        fine = Image.fromarray(coarse).resize(size, Image.Resampling.BICUBIC)
        light += (np.asarray(fine, np.float32) - 127) * (strength / 64)
    light += dice.normal(0, 2.5, (height, width, 1)).astype(np.float32)
    return Image.fromarray(np.clip(light, 0, 255).astype(np.uint8))


def phone_jpeg(picture: Image.Image) -> bytes:
    """With what a phone writes into it: lying on its side, with a colour profile that is not sRGB."""
    exif = Image.Exif()
    exif[0x0112] = 6
    return _saved(picture, "JPEG", quality=92, exif=exif, icc_profile=_wide_profile())


def phone_heic(picture: Image.Image) -> bytes | None:
    """As HEIC; None where there is no heif-enc (Debian: libheif-examples)."""
    return _heic(picture)


def largest() -> Iterator[tuple[str, bytes]]:
    """What each format may be at most, by name; for PNG also as large a file as may be."""
    yield "JPEG, 50 megapixels", _saved(_upscaled(50), "JPEG", quality=90)
    yield "JPEG, 219 megapixels", _saved(_upscaled(219), "JPEG", quality=80)
    yield "JPEG, progressive, 72", _saved(_upscaled(72), "JPEG", quality=80, progressive=True)
    yield "JPEG, progressive, 4:4:4, 36", _saved(_upscaled(36), "JPEG", quality=80, progressive=True, subsampling=0)
    yield "PNG, see-through, 49", _saved(_with_noise(_upscaled(49).convert("RGBA")), "PNG", compress_level=1)
    yield "PNG, 16-bit grey, 49", _saved(_deep_grey(_upscaled(49)), "PNG", compress_level=1)
    yield "PNG, palette, 49", _saved(_upscaled(49).quantize(), "PNG", compress_level=1, transparency=3)
    yield "WebP, see-through, 12.9", _saved(_see_through(12.9), "WEBP", lossless=True, quality=0, method=0)
    yield "AVIF, see-through, 4:4:4, 15.9", _saved(_see_through(15.9), "AVIF", speed=10, subsampling="4:4:4")
    if shutil.which("heif-enc"):
        yield "HEIC, 49", _heic(_upscaled(49)) or b""
        yield "HEIC, see-through, 23.9", _heic(_see_through(23.9)) or b""
        yield "HEIC, 10-bit grey, 23.9", _heic(_deep_grey(_upscaled(23.9)), "-b", "10") or b""
        yield "HEIC, see-through, 4:4:4, 9.9", _heic(_see_through(9.9), "-p", "chroma=444") or b""


def _upscaled(megapixels: float) -> Image.Image:
    across = int((megapixels * 1e6 * 4 / 3) ** 0.5) // 16 * 16
    down = int(megapixels * 1e6 / across) // 16 * 16
    return scene((1008, 756)).resize((across, down))


def _see_through(megapixels: float) -> Image.Image:
    picture = _upscaled(megapixels)
    picture.putalpha(Image.linear_gradient("L").resize(picture.size))
    return picture


def _with_noise(picture: Image.Image) -> Image.Image:
    """The upper rows as noise, so that the file becomes nearly as large as may be; the rest as one colour."""
    rows = int(LARGEST_BYTES * 0.97 / 4 / picture.width)
    plain = Image.new("RGBA", picture.size, (90, 90, 90, 255))
    noise = _NOISE_ROWS.integers(0, 256, (rows, picture.width, 4), dtype=np.uint8)
    plain.paste(Image.fromarray(noise), (0, 0))
    return plain


def _deep_grey(picture: Image.Image) -> Image.Image:
    return Image.fromarray(np.asarray(picture.convert("L")).astype(np.uint16) * 257)


def _wide_profile() -> bytes:
    """An sRGB profile whose red primary stands elsewhere, so that every colour has to be turned."""
    srgb = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
    return srgb.replace(b"rXYZ", b"tmp!").replace(b"bXYZ", b"rXYZ").replace(b"tmp!", b"bXYZ")


def _heic(picture: Image.Image, *options: str) -> bytes | None:
    encoder = shutil.which("heif-enc")
    if encoder is None:
        return None
    with tempfile.TemporaryDirectory() as folder:
        plain, coded = Path(folder) / "plain.png", Path(folder) / "coded.heic"
        picture.save(plain, compress_level=1)
        command = [encoder, "-q", "60", "-p", "preset=ultrafast", *options, "-o", str(coded), str(plain)]
        subprocess.run(command, check=True, capture_output=True)
        return coded.read_bytes()


def _saved(picture: Image.Image, form: str, **options: object) -> bytes:
    out = io.BytesIO()
    picture.save(out, form, **options)
    return out.getvalue()
