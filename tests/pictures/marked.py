"""Pictures that tell on their owner wherever their format has room for it. Each is made with its marks counted."""

from __future__ import annotations

import subprocess
from pathlib import Path

from PIL import Image, ImageCms
from PIL.PngImagePlugin import PngInfo

from tests.pictures import boxes
from tests.pictures.samples import MARK, as_bytes, four_corners, full_of_marks

WORD = MARK.decode()
# As bytes, and as Windows' tags and colour profiles hold text.
HIDDEN = (MARK, WORD.encode("utf-16-le"), WORD.encode("utf-16-be"))
_XMP = b"<x:xmpmeta xmlns:x='adobe:ns:meta/'>" + MARK + b"</x:xmpmeta>"
_COPYRIGHT = "No copyright, use freely"  # what littleCMS writes into the profiles it makes


def marks_in(data: bytes) -> int:
    """How often the mark is found, in whichever writing."""
    return sum(data.count(hidden) for hidden in HIDDEN)


def exif() -> Image.Exif:
    """Camera, owner, serial, place, and a Windows comment."""
    found = Image.Exif()
    for tag in (0x010F, 0x0110, 0x013B, 0x8298):  # make, model, artist, copyright
        found[tag] = WORD
    found[0x9C9C] = WORD.encode("utf-16-le")  # XPComment
    found.get_ifd(0x8769)[0xA431] = WORD  # BodySerialNumber
    found.get_ifd(0x8825)[29] = WORD  # GPSDateStamp
    return found


def profile() -> bytes:
    """A colour profile that names somebody in its words."""
    plain = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
    told = WORD.ljust(len(_COPYRIGHT))
    return plain.replace(_COPYRIGHT.encode("utf-16-be"), told.encode("utf-16-be"))


def jpeg() -> bytes:
    """EXIF, XMP, IPTC, comment, profile, and behind its end."""
    return full_of_marks()


def jpeg_with_profile() -> bytes:
    """The profile's words and Windows' comment."""
    return as_bytes(four_corners(), exif=exif(), icc_profile=profile())


def png() -> bytes:
    """Text in its three kinds, EXIF, profile, and behind its end."""
    text = PngInfo()
    text.add_text("Author", WORD)
    text.add_text("Comment", WORD, zip=True)
    text.add_itxt("Title", WORD, lang="de", tkey=WORD)
    text.add_itxt("XML:com.adobe.xmp", _XMP.decode())
    return as_bytes(four_corners(), "PNG", pnginfo=text, exif=exif(), icc_profile=profile()) + MARK


def webp() -> bytes:
    """EXIF, XMP, profile, a chunk nobody knows, and behind its end."""
    data = as_bytes(four_corners(), "WEBP", exif=exif(), xmp=_XMP, icc_profile=profile())
    unknown = b"OWNR" + len(MARK).to_bytes(4, "little") + MARK + bytes(len(MARK) % 2)
    size = int.from_bytes(data[4:8], "little") + len(unknown)
    return data[:4] + size.to_bytes(4, "little") + data[8:] + unknown + MARK


def avif() -> bytes:
    """EXIF, XMP, profile, a box of its own, and behind its end."""
    data = as_bytes(four_corners(), "AVIF", exif=exif(), xmp=_XMP, icc_profile=profile())
    return boxes.with_box(data, b"free", MARK) + MARK


EASY = {"JPEG": jpeg, "JPEG, profile": jpeg_with_profile, "PNG": png, "WebP": webp, "AVIF": avif}


def heic(folder: Path, heif_enc: str) -> bytes:
    """EXIF as an item, a box with an id of its own, free room, and behind its end."""
    source, coded = folder / "marked.jpg", folder / "marked.heic"
    source.write_bytes(as_bytes(four_corners(), exif=exif(), xmp=_XMP, icc_profile=profile()))
    subprocess.run([heif_enc, "-o", str(coded), str(source)], check=True, capture_output=True)
    data = boxes.with_box(coded.read_bytes(), b"uuid", bytes(16) + MARK)
    return boxes.with_box(data, b"free", MARK) + MARK
