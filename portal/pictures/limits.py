"""What a picture may cost, and what comes out: shared by the child that does the work and the parent that asks."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

LARGEST_BYTES = 40 * 1024 * 1024
SECONDS = 30
MEMORY = 1024**3  # address space of a child in bytes; what is really used stays far below, see the benchmark
# Megapixels by format, so that a child stays within its memory: a JPEG is decoded at a reduced scale, others whole.
MOST_MEGAPIXELS: Mapping[str, int] = {"JPEG": 220, "MPO": 220, "PNG": 40, "WEBP": 40, "HEIF": 28, "AVIF": 28}


@dataclass(frozen=True)
class Clean:
    """A picture in two sizes, as JPEG bytes; width and height are the large one's. The doubts are only doubts."""

    large: bytes = field(repr=False)
    small: bytes = field(repr=False)
    width: int
    height: int
    seems_blurred: bool
    seems_dark: bool
