"""What a picture may cost, and what comes out: shared by the child that does the work and the parent that asks."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

LARGEST_BYTES = 40 * 1024 * 1024
SECONDS = 30
ADDRESSES = 1024**3  # bytes of address space of a child, for systems that do not count the next
MEMORY = 310 * 1024**2  # bytes that a child may ask for: with its libraries it stays below 350 MB
ALIGNING_MEMORY = 400 * 1024**2  # bytes that the child which aligns a pair may ask for
# Megapixels by format, so that a child stays within its memory; what each takes is measured by tests/bench/photos.py.
# A JPEG is decoded at a reduced scale, the others whole, WebP and AVIF even into several copies. HEIC as phones write
# it (4:2:0, 8 bits, nothing see-through) takes the least.
MOST_MEGAPIXELS: Mapping[str, int] = {
    "JPEG": 220,
    "MPO": 220,
    "PNG": 50,
    "WEBP": 13,
    "HEIF": 50,
    "HEIF, rich": 24,
    "HEIF, full colour": 10,
    "AVIF": 16,
}
COEFFICIENTS_BYTES = 220_000_000  # of a progressive JPEG, which is held as two-byte coefficients before it is decoded


@dataclass(frozen=True)
class Clean:
    """A picture in two sizes, as JPEG bytes; width and height are the large one's. The doubts are only doubts."""

    large: bytes = field(repr=False)
    small: bytes = field(repr=False)
    width: int
    height: int
    seems_blurred: bool
    seems_dark: bool
