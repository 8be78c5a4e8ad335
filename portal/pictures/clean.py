"""From bytes to two clean pictures: upright, in sRGB, in two sizes, with nothing but the picture in them."""

from __future__ import annotations

import contextlib
import io

from PIL import Image, ImageCms, ImageFilter, ImageStat

from portal.pictures import refused
from portal.pictures.decoding import decode, fitting, identify
from portal.pictures.limits import Clean

LARGE, SMALL = 1600, 320  # pixels of the long edge
QUALITY = 80
_TURNS = {
    2: Image.Transpose.FLIP_LEFT_RIGHT,
    3: Image.Transpose.ROTATE_180,
    4: Image.Transpose.FLIP_TOP_BOTTOM,
    5: Image.Transpose.TRANSPOSE,
    6: Image.Transpose.ROTATE_270,
    7: Image.Transpose.TRANSVERSE,
    8: Image.Transpose.ROTATE_90,
}
_ORIENTATION = 0x0112  # EXIF 2.32, tag Orientation
_SRGB = ImageCms.createProfile("sRGB")
_LAPLACE = ImageFilter.Kernel((3, 3), (0, 1, 0, 1, -4, 1, 0, 1, 0), scale=1, offset=128)
BLURRED = 18.0  # variance of the Laplacian on the small picture; found by trying, no source
DARK = 28.0  # mean of 0 to 255


def clean(data: bytes) -> Clean:
    """Make the two clean pictures. Raises Unfit (field "photo") with a sentence that helps."""
    image = identify(data)
    try:
        turn = _TURNS.get(image.getexif().get(_ORIENTATION, 1))
        large = _upright(_in_srgb(decode(image, data, LARGE), image.info.get("icc_profile")), turn)
    except (OSError, ValueError, SyntaxError, EOFError, RuntimeError, ArithmeticError):
        raise refused.refuse(refused.BROKEN) from None
    return both_sizes(large)


def smaller(large: Image.Image) -> Image.Image:
    """The small picture of a large one."""
    return large.resize(fitting(large.size, SMALL), Image.Resampling.LANCZOS, reducing_gap=2.0)


def both_sizes(large: Image.Image, small: Image.Image | None = None, *, full_colour: bool = False) -> Clean:
    """An RGB picture that carries nothing along, encoded in both sizes, with what seems wrong with it.

    With `full_colour` colours are kept as finely as brightness, so that no block is mixed with its neighbours.
    """
    small = small or smaller(large)
    grey = small.convert("L")
    return Clean(
        large=_encoded(large, full_colour),
        small=_encoded(small, full_colour),
        width=large.width,
        height=large.height,
        seems_blurred=ImageStat.Stat(grey.filter(_LAPLACE)).var[0] < BLURRED,
        seems_dark=ImageStat.Stat(grey).mean[0] < DARK,
    )


def _in_srgb(image: Image.Image, profile: bytes | None) -> Image.Image:
    """RGB in the sRGB colour space, in a fresh image that carries nothing along."""
    if profile:
        # A broken profile: take the numbers as they are, as viewers do.
        with contextlib.suppress(ImageCms.PyCMSError, OSError, ValueError):
            image = _turned(image, ImageCms.ImageCmsProfile(io.BytesIO(profile)))
    fresh = Image.new("RGB", image.size)
    fresh.paste(image.convert("RGB") if image.mode != "RGB" else image)
    return fresh


def _turned(image: Image.Image, profile: ImageCms.ImageCmsProfile) -> Image.Image:
    if image.mode == "RGB":
        ImageCms.profileToProfile(image, profile, _SRGB, inPlace=True)  # spares a copy
        return image
    return ImageCms.profileToProfile(image, profile, _SRGB, outputMode="RGB") or image


def _upright(image: Image.Image, turn: Image.Transpose | None) -> Image.Image:
    return image if turn is None else image.transpose(turn)


def _encoded(image: Image.Image, full_colour: bool) -> bytes:
    out = io.BytesIO()
    image.save(out, "JPEG", quality=QUALITY, optimize=False, subsampling="4:4:4" if full_colour else "4:2:0")
    return out.getvalue()
