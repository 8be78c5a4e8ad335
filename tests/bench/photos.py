"""How much a photo costs, beside Pillow doing the least that gives two pictures: `python -m tests.bench.photos`.

Three parts: seconds and memory of a 12-megapixel picture against the least; the memory of the largest picture that is
accepted of each format; and whether the customer's page stays quick while ten phones send photos at once. Each picture
has a process of its own. The exit status is 1 when a promise is not kept.
"""

from __future__ import annotations

import json
import statistics
import subprocess
import sys
from typing import Any

from tests.bench import phones
from tests.bench.photo_samples import TWELVE_MEGAPIXELS, largest, phone_heic, phone_jpeg, scene

TIMES_AT_MOST = 1.3
MEGABYTES_AT_MOST = 350
ROUNDS = 7


def main() -> int:
    """Measure, print, and tell by the exit status whether the promises are kept."""
    kept = [*beside_the_least(), *of_the_largest(), phones.page_stays_quick()]
    return 0 if all(kept) else 1


def beside_the_least() -> list[bool]:
    """The work on one picture, turn by turn with the least, so that both share the noise."""
    picture = scene(TWELVE_MEGAPIXELS)
    samples = {"12-megapixel JPEG": phone_jpeg(picture), "12-megapixel HEIC": phone_heic(picture)}
    kept = []
    for name, data in samples.items():
        if data is None:
            print(f"{name}: not measured, there is no heif-enc (Debian: libheif-examples)")
            continue
        turns = [(once("ours", data), once("least", data)) for _ in range(ROUNDS)]
        ours, least = (statistics.median(turn[side]["seconds"] for turn in turns) for side in (0, 1))
        memory = [max(turn[side]["megabytes"] for turn in turns) for side in (0, 1)]
        print(
            f"{name} ({len(data) / 1e6:.1f} MB): {ours:.3f} s, {memory[0]:.0f} MB; the least: {least:.3f} s, "
            f"{memory[1]:.0f} MB; ratio {ours / least:.2f} (promised: at most {TIMES_AT_MOST})"
        )
        kept.append(ours / least <= TIMES_AT_MOST)
    return kept


def of_the_largest() -> list[bool]:
    """The most memory that a child held; each picture must come out whole, since else it was not accepted."""
    kept = []
    for name, data in largest():
        found = once("ours", data)
        whole = "×" in found["ended"]
        print(
            f"{name} ({len(data) / 1e6:.1f} MB): {found['megabytes']:.0f} MB (promised: below {MEGABYTES_AT_MOST}), "
            f"{found['seconds']:.2f} s, {found['ended']}"
        )
        kept.append(whole and found["megabytes"] < MEGABYTES_AT_MOST)
    return kept


def once(how: str, data: bytes) -> dict[str, Any]:
    """What it took, by a process of its own."""
    done = subprocess.run(
        [sys.executable, "-m", "tests.bench.photo_once", how], input=data, capture_output=True, check=False
    )
    if done.returncode:
        return {"seconds": 0.0, "megabytes": 0.0, "ended": done.stderr.decode().strip().splitlines()[-1]}
    found: dict[str, Any] = json.loads(done.stdout)
    return found


if __name__ == "__main__":
    sys.exit(main())
