"""From bytes to pixels, no more of them than needed: what a file is, whether it may be decoded, and decoding it.

Content decides what a file is, never its name. Pixels are counted in the header, before anything is decoded. What had
to be decoded whole is made smaller band by band, so that a large picture is never held in memory twice.
"""

from __future__ import annotations

import io
import math
from collections.abc import Callable
from functools import partial

import pi_heif
from PIL import AvifImagePlugin, Image, ImageFile, JpegImagePlugin, UnidentifiedImageError

from portal.pictures import refused
from portal.pictures.limits import COEFFICIENTS_BYTES, LARGEST_BYTES, MOST_MEGAPIXELS

_READERS = ("JPEG", "PNG", "WEBP", "HEIF", "AVIF")  # JPEG reads MPO too, the phones’ several pictures in one file
_THREADS = 2  # each thread's stack counts against the child's memory
_BAND_PIXELS = 4_000_000  # at once
_LANCZOS = Image.Resampling.LANCZOS
_LANCZOS_REACH = 3  # pixels of the smaller picture to each side
_SEE_THROUGH = ("PA", "LA", "La", "RGBA", "RGBa")

Rows = Callable[[int, int], Image.Image]  # the rows from one to before another

Image.init()
pi_heif.register_heif_opener(decode_threads=_THREADS, thumbnails=False, depth_images=False, aux_images=False)
AvifImagePlugin.DEFAULT_MAX_THREADS = _THREADS
Image.MAX_IMAGE_PIXELS = None  # our own limits are tighter, and are checked before decoding


def identify(data: bytes) -> Image.Image:
    """The picture with its header read and nothing decoded. Raises Unfit where it is none, or more than is allowed."""
    ImageFile.LOAD_TRUNCATED_IMAGES = False  # what makes PDFs sets it for the whole process
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
        raise refused.refuse(refused.BROKEN if _begins_well(data) else refused.NOT_A_PICTURE) from None
    except (OSError, ValueError, SyntaxError, EOFError, RuntimeError):
        raise refused.refuse(refused.BROKEN) from None
    most = _most_megapixels(image)
    megapixels = image.width * image.height / 1e6
    if megapixels > most:
        raise refused.refuse(refused.too_many_pixels(megapixels, most))
    return image


def decode(image: Image.Image, data: bytes, side: int) -> Image.Image:
    """The first frame (of HEIC: the main picture), its long edge at most `side`, in its own colours.

    Its mode is L, RGB or CMYK; what is see-through lies on white. A JPEG is decoded at the nearest scale above, which
    takes less time and memory.
    """
    if image.format == "HEIF":
        size, rows = _heif(data)
    else:
        image.seek(0)
        if image.format in ("JPEG", "MPO"):
            image.draft(None, fitting(image.size, side))
        image.load()
        size, rows = image.size, partial(_rows_of, image)
    return _shrunk(size, rows, side)


def fitting(size: tuple[int, int], side: int) -> tuple[int, int]:
    """Width and height, made smaller where the long edge is above `side`."""
    scale = min(1.0, side / max(size))
    return max(1, round(size[0] * scale)), max(1, round(size[1] * scale))


def _begins_well(data: bytes) -> bool:
    """Whether what no reader understands begins as an AVIF or HEIC does: most of one that was cut off is gone."""
    return data[4:8] == b"ftyp" and data[8:12] in (b"avif", b"avis", b"heic", b"heix", b"mif1", b"msf1")


def _most_megapixels(image: Image.Image) -> int:
    most = MOST_MEGAPIXELS[_kind(image)]
    if isinstance(image, JpegImagePlugin.JpegImageFile) and image.info.get("progressive"):
        samples = [across * down for _id, across, down, _table in image.layer]
        bytes_a_pixel = 2 * sum(samples) / max(1, *samples)
        return min(most, int(COEFFICIENTS_BYTES / bytes_a_pixel / 1e6))
    return most


def _kind(image: Image.Image) -> str:
    """The format, as far as memory goes."""
    if image.format != "HEIF":
        return image.format or ""
    if image.info.get("chroma", 420) != 420:
        return "HEIF, full colour"
    return "HEIF" if image.mode in ("L", "RGB") and image.info["bit_depth"] == 8 else "HEIF, rich"


def _heif(data: bytes) -> tuple[tuple[int, int], Rows]:
    """The main picture, decoded and turned upright by libheif; as rows, since as an image it would be there twice."""
    file = pi_heif.open_heif(data, remove_stride=False)
    image = file[file.primary_index]
    pixels, stride = image.data, image.stride
    width, height = image.size

    def rows(top: int, end: int) -> Image.Image:
        part = pixels[top * stride : end * stride]
        return Image.frombytes(image.mode, (width, end - top), part, "raw", image.mode, stride)

    return (width, height), rows


def _rows_of(image: Image.Image, top: int, end: int) -> Image.Image:
    return image if end - top == image.height else image.crop((0, top, image.width, end))


def _shrunk(size: tuple[int, int], rows: Rows, side: int) -> Image.Image:
    """Made smaller band by band; a band reaches as far beyond its own rows as the filter does, so that none shows."""
    width, height = size
    target_width, target_height = fitting(size, side)
    scale = height / target_height
    reach = math.ceil(_LANCZOS_REACH * max(1.0, scale))
    step = max(1, int(_BAND_PIXELS / (width * scale)))
    whole: Image.Image | None = None
    for top in range(0, target_height, step):
        end = min(target_height, top + step)
        first, last = max(0, int(top * scale) - reach), min(height, math.ceil(end * scale) + reach)
        box = (0, top * scale - first, width, min(end * scale, height) - first)
        band = _plain(rows(first, last)).resize((target_width, end - top), _LANCZOS, box, reducing_gap=2.0)
        if band.height == target_height:
            return band
        whole = whole or Image.new(band.mode, (target_width, target_height))
        whole.paste(band, (0, top))
    assert whole
    return whole


def _plain(image: Image.Image) -> Image.Image:
    """In a mode whose neighbouring pixels may be mixed: 8 bits, no palette, and on white where it is see-through."""
    if image.mode.startswith("I"):
        # 16-bit grey; a plain conversion would clip it to white.
        return image.convert("I").point(lambda value: value * (1 / 256)).convert("L")
    if image.mode in _SEE_THROUGH or "transparency" in image.info:
        image = image.convert("RGBA")
        white = Image.new("RGB", image.size, "white")
        white.paste(image.convert("RGB"), (0, 0), image.getchannel("A"))
        return white
    return image if image.mode in ("L", "RGB", "CMYK") else image.convert("L" if image.mode == "1" else "RGB")
