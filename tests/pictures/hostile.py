"""Files that mean no good, or are not what they say; all made here."""

from __future__ import annotations

import io
import zipfile
import zlib

from tests.pictures.samples import as_bytes, four_corners

SCRIPT = b"<script>alert(document.cookie)</script>"


def png(width: int, height: int, *more: bytes) -> bytes:
    """A PNG of that many pixels by its header, in a few hundred bytes."""
    head = width.to_bytes(4, "big") + height.to_bytes(4, "big") + b"\x08\x02\x00\x00\x00"
    body = [_chunk(b"IHDR", head), *more, _chunk(b"IDAT", zlib.compress(bytes(1000))), _chunk(b"IEND", b"")]
    return b"\x89PNG\r\n\x1a\n" + b"".join(body)


def png_whose_text_swells() -> bytes:
    """A small PNG whose compressed comment becomes 300 MB."""
    swelling = zlib.compressobj(9)
    text = b"".join(swelling.compress(bytes(1_000_000)) for _ in range(300)) + swelling.flush()
    return png(10, 10, _chunk(b"zTXt", b"Comment\0\0" + text))


def webp(width: int, height: int) -> bytes:
    """A WebP whose canvas has that many pixels, around a picture of a few."""
    small = as_bytes(four_corners(16, 16), "WEBP")[12:]
    canvas = b"\0\0\0\0" + (width - 1).to_bytes(3, "little") + (height - 1).to_bytes(3, "little")
    chunks = b"VP8X" + len(canvas).to_bytes(4, "little") + canvas + small
    return b"RIFF" + (4 + len(chunks)).to_bytes(4, "little") + b"WEBP" + chunks


def jpeg(width: int, height: int) -> bytes:
    """A JPEG whose header says that many pixels."""
    data = as_bytes(four_corners(16, 16))
    at = data.index(b"\xff\xc0") + 5
    return data[:at] + height.to_bytes(2, "big") + width.to_bytes(2, "big") + data[at + 4 :]


def with_other_size(boxed: bytes, width: int, height: int) -> bytes:
    """A HEIC or AVIF whose size (its property `ispe`) is another, the coded picture staying as it is."""
    at = boxed.index(b"ispe") + 8
    return boxed[:at] + width.to_bytes(4, "big") + height.to_bytes(4, "big") + boxed[at + 8 :]


def jpeg_and_zip() -> bytes:
    """A picture that is an archive too."""
    archive = io.BytesIO()
    with zipfile.ZipFile(archive, "w") as inside:
        inside.writestr("run.js", SCRIPT)
    return as_bytes(four_corners()) + archive.getvalue()


def gif_and_script() -> bytes:
    """A GIF that is a script too."""
    return b"GIF89a/*" + bytes(20) + b"*/=1;alert(document.cookie)//;"


def video(brand: bytes) -> bytes:
    """The beginning of a film."""
    return (
        b"\x00\x00\x00\x18ftyp" + brand + b"\x00\x00\x00\x00" + brand + b"isom" + b"\x00\x00\x10\x00moov" + bytes(4096)
    )


def _chunk(name: bytes, body: bytes) -> bytes:
    return len(body).to_bytes(4, "big") + name + body + zlib.crc32(name + body).to_bytes(4, "big")
