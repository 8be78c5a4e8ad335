"""From bytes to two clean pictures: upright, in sRGB, in two sizes, with nothing but the picture in them.

Content decides what a file is, never its name. Pixels are counted in the header, before anything is decoded.
"""

from __future__ import annotations

import io

import pi_heif
from PIL import Image, ImageCms, ImageFilter, ImageOps, ImageStat, UnidentifiedImageError

from portal.pictures import refused
from portal.pictures.limits import LARGEST_BYTES, MOST_MEGAPIXELS, Clean

Image.init()
pi_heif.register_heif_opener()
Image.MAX_IMAGE_PIXELS = None  # our own limits below are tighter, and are checked before decoding

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
_READERS = ("JPEG", "PNG", "WEBP", "HEIF", "AVIF")  # JPEG reads MPO too, the phones’ several pictures in one file
_ORIENTATION = 0x0112  # EXIF 2.32, tag Orientation
_SRGB = ImageCms.createProfile("sRGB")
_LAPLACE = ImageFilter.Kernel((3, 3), (0, 1, 0, 1, -4, 1, 0, 1, 0), scale=1, offset=128)
BLURRED = 18.0  # variance of the Laplacian on the small picture; found by trying, no source
DARK = 28.0  # mean of 0 to 255


def clean(data: bytes) -> Clean:
    """Make the two clean pictures. Raises Unfit (field "photo") with a sentence that helps."""
    image = _open(data)
    try:
        turn = _TURNS.get(image.getexif().get(_ORIENTATION, 1))
        large = _upright(_flat(_reduced(image)), turn)
    except (OSError, ValueError, SyntaxError, EOFError, RuntimeError, ArithmeticError):
        raise refused.refuse(refused.BROKEN) from None
    small = ImageOps.contain(large, (SMALL, SMALL), Image.Resampling.LANCZOS)
    grey = small.convert("L")
    return Clean(
        large=_encoded(large),
        small=_encoded(small),
        width=large.width,
        height=large.height,
        seems_blurred=ImageStat.Stat(grey.filter(_LAPLACE)).var[0] < BLURRED,
        seems_dark=ImageStat.Stat(grey).mean[0] < DARK,
    )


def _open(data: bytes) -> Image.Image:
    if not data:
        raise refused.refuse(refused.EMPTY)
    if len(data) > LARGEST_BYTES:
        raise refused.refuse(refused.too_large(LARGEST_BYTES // 1024**2))
    head = data[:1024].lstrip(b"\xef\xbb\xbf \t\r\n").lower()
    if head.startswith((b"<svg", b"<?xml", b"<!doctype svg")):
        raise refused.refuse(refused.DRAWING)
    try:
        image = Image.open(io.BytesIO(data), formats=_READERS)
    except UnidentifiedImageError:
        raise refused.refuse(refused.NOT_A_PICTURE) from None
    except (OSError, ValueError, SyntaxError, EOFError, RuntimeError):
        raise refused.refuse(refused.BROKEN) from None
    most = MOST_MEGAPIXELS[image.format or ""]
    megapixels = image.width * image.height / 1e6
    if megapixels > most:
        raise refused.refuse(refused.too_many_pixels(megapixels, most))
    return image


def _reduced(image: Image.Image) -> Image.Image:
    """The first frame, no longer than LARGE. A JPEG is decoded at the nearest scale above: less time, less memory."""
    scale = min(1.0, LARGE / max(image.size))
    target = (max(1, round(image.width * scale)), max(1, round(image.height * scale)))
    image.seek(0)
    if image.format in ("JPEG", "MPO"):
        image.draft(None, target)
    image.load()
    if image.mode in ("P", "PA", "1"):  # a palette cannot be scaled
        image = image.convert("RGBA" if "transparency" in image.info or image.mode == "PA" else "RGB")
    if image.mode.startswith("I;16") or image.mode == "I":
        image = _eight_bits(image)
    if target != image.size:
        profile = image.info.get("icc_profile")
        image = image.resize(target, Image.Resampling.LANCZOS, reducing_gap=2.0)
        image.info["icc_profile"] = profile
    return image


def _eight_bits(image: Image.Image) -> Image.Image:
    """16-bit grey as 8 bits; a plain conversion would clip it to white."""
    return image.convert("I").point(lambda value: value * (1 / 256)).convert("L")


def _flat(image: Image.Image) -> Image.Image:
    """Opaque RGB in the sRGB colour space, on white, in a fresh image that carries nothing along."""
    profile = image.info.get("icc_profile")
    alpha = image.getchannel("A") if image.mode in ("LA", "RGBA", "La", "RGBa") else None
    if alpha is None and "transparency" in image.info:
        image = image.convert("RGBA")
        alpha = image.getchannel("A")
    if image.mode in ("LA", "RGBA"):
        image = image.convert("L" if image.mode == "LA" else "RGB")
    colours = _in_srgb(image, profile)
    fresh = Image.new("RGB", image.size, "white")
    fresh.paste(colours, (0, 0), alpha)
    return fresh


def _in_srgb(image: Image.Image, profile: bytes | None) -> Image.Image:
    if profile and image.mode in ("RGB", "CMYK", "L"):
        try:
            source = ImageCms.ImageCmsProfile(io.BytesIO(profile))
            turned = ImageCms.profileToProfile(image, source, _SRGB, outputMode="RGB")
            if turned is not None:
                return turned
        except (ImageCms.PyCMSError, OSError, ValueError):
            pass  # a broken profile: take the numbers as they are, as viewers do
    return image.convert("RGB")


def _upright(image: Image.Image, turn: Image.Transpose | None) -> Image.Image:
    return image if turn is None else image.transpose(turn)


def _encoded(image: Image.Image) -> bytes:
    out = io.BytesIO()
    image.save(out, "JPEG", quality=QUALITY, optimize=False)
    return out.getvalue()
