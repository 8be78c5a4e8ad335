"""One picture, from standard input, in a process of its own: `python -m tests.bench.photo_once ours|least < FILE`.

`ours` is the very child that the site starts; `least` is Pillow doing as little as gives two pictures. Printed is one
line of JSON: seconds of a core's work since the libraries were loaded, the most memory that was held at once, and how
it ended.
"""

from __future__ import annotations

import contextlib
import io
import json
import sys
import time
from collections.abc import Callable
from pathlib import Path

from PIL import Image

from portal.pictures import child, wire
from portal.pictures.clean import LARGE, QUALITY, SMALL
from portal.pictures.limits import Clean


def least() -> None:
    """Decode (a JPEG at the nearest scale), one resize and one encode for each size."""
    image = Image.open(io.BytesIO(sys.stdin.buffer.read()))
    image.draft("RGB", _fitting(image, LARGE))
    for side in (LARGE, SMALL):
        image = image.resize(_fitting(image, side), Image.Resampling.LANCZOS)
        image.save(io.BytesIO(), "JPEG", quality=QUALITY)


def ours() -> str:
    """The site's child; how it answered."""
    out = io.TextIOWrapper(io.BytesIO())
    with contextlib.redirect_stdout(out):
        child.main()
    answer = wire.read(out.buffer.getvalue())  # type: ignore[attr-defined]
    return f"{answer.width} × {answer.height}" if isinstance(answer, Clean) else str(answer)


def _fitting(image: Image.Image, side: int) -> tuple[int, int]:
    scale = min(1.0, side / max(image.size))
    return max(1, round(image.width * scale)), max(1, round(image.height * scale))


def _most_megabytes() -> float:
    """The most that was ever resident (proc(5), VmHWM); unlike getrusage, nothing of the parent's is in it."""
    lines = Path("/proc/self/status").read_text(encoding="ascii").splitlines()
    return int(next(line for line in lines if line.startswith("VmHWM")).split()[1]) / 1024


def main(how: Callable[[], str | None]) -> None:
    """Do it and print what it took."""
    began = time.process_time()
    ended = how()
    print(json.dumps({"seconds": time.process_time() - began, "megabytes": _most_megabytes(), "ended": ended}))


if __name__ == "__main__":
    main({"ours": ours, "least": least}[sys.argv[1]])
