"""Pictures for tests, made here: nothing is downloaded."""

from __future__ import annotations

import io

import numpy as np
from PIL import Image, ImageDraw

MARK = b"MARKER-OF-A-PERSON"
RED, GREEN, BLUE, YELLOW = (200, 30, 30), (30, 160, 30), (30, 30, 200), (220, 200, 30)


def four_corners(width: int = 800, height: int = 600) -> Image.Image:
    """A picture whose corners tell how it lies: red and green above, blue and yellow below."""
    image = Image.new("RGB", (width, height))
    draw = ImageDraw.Draw(image)
    middle_x, middle_y = width // 2, height // 2
    draw.rectangle((0, 0, middle_x, middle_y), RED)
    draw.rectangle((middle_x, 0, width, middle_y), GREEN)
    draw.rectangle((0, middle_y, middle_x, height), BLUE)
    draw.rectangle((middle_x, middle_y, width, height), YELLOW)
    return image


def sharp() -> bytes:
    """A sharp, bright picture as a file's bytes."""
    noise = np.random.default_rng(3).integers(60, 255, (300, 400, 3), dtype=np.uint8)
    return as_bytes(Image.fromarray(noise))


def corners(image: Image.Image) -> list[tuple[int, int, int]]:
    """The colour in each corner: top left, top right, bottom left, bottom right."""
    near_x, near_y = image.width // 8, image.height // 8
    places = [(x, y) for y in (near_y, image.height - near_y) for x in (near_x, image.width - near_x)]
    return [image.getpixel(place) for place in places]  # type: ignore[misc]


def alike(one: tuple[int, int, int], other: tuple[int, int, int]) -> bool:
    """Whether two colours are the same to the eye."""
    return all(abs(a - b) < 24 for a, b in zip(one, other, strict=True))


def as_bytes(image: Image.Image, form: str = "JPEG", **options: object) -> bytes:
    """The picture as a file's bytes."""
    out = io.BytesIO()
    image.save(out, form, **options)
    return out.getvalue()


def opened(data: bytes) -> Image.Image:
    """The picture in a file's bytes."""
    return Image.open(io.BytesIO(data))


def full_of_marks() -> bytes:
    """A JPEG that tells on its owner everywhere: EXIF with position, XMP, IPTC, profile, comment, and after its end."""
    exif = Image.Exif()
    exif[0x010F] = MARK.decode()  # Make
    exif[0x0110] = MARK.decode()  # Model
    exif[0x013B] = MARK.decode()  # Artist
    exif.get_ifd(0x8769)[0x9286] = MARK  # UserComment
    exif.get_ifd(0x8769)[0xA431] = MARK.decode()  # BodySerialNumber
    exif.get_ifd(0x8825)[29] = MARK.decode()  # GPSDateStamp
    xmp = b"<x:xmpmeta xmlns:x='adobe:ns:meta/'>" + MARK + b"</x:xmpmeta>"
    data = as_bytes(four_corners(), exif=exif, xmp=xmp, comment=MARK)
    record = b"\x1c\x02\x50" + len(MARK).to_bytes(2, "big") + MARK + bytes(len(MARK) % 2)  # IPTC IIM, By-line
    iptc = b"Photoshop 3.0\x008BIM\x04\x04\x00\x00" + len(record).to_bytes(4, "big") + record + bytes(len(record) % 2)
    segment = b"\xff\xed" + (len(iptc) + 2).to_bytes(2, "big") + iptc
    return data[:2] + segment + data[2:] + MARK
