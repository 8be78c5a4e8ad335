"""Looks for marks in every byte under a folder; imports nothing of ours: `look_for.py FOLDER MARK…`.

Each mark is looked for as UTF-8 and UTF-16, in base64 at its three places, in hexadecimal, and in whatever zlib can
inflate, in files and inside ZIPs. Prints one line for each find, and exits with 1 where there is one.
"""

from __future__ import annotations

import base64
import io
import re
import sys
import zipfile
import zlib
from collections.abc import Iterator
from pathlib import Path

ZLIB = re.compile(rb"\x78[\x01\x5e\x9c\xda]")


def shapes(mark: str) -> Iterator[tuple[str, bytes]]:
    """The ways in which a mark may lie in a file."""
    plain = mark.encode()
    yield "utf-8", plain
    yield "utf-16-le", mark.encode("utf-16-le")
    yield "utf-16-be", mark.encode("utf-16-be")
    yield "hex", plain.hex().encode()
    yield "escaped", mark.encode("unicode_escape")
    for place in range(3):  # the letters that do not depend on what stands before and after
        whole = base64.b64encode(b"\0" * place + plain)
        yield f"base64 at {place}", whole[4 if place else 0 : len(whole) // 4 * 4 - 4]


def layers(content: bytes) -> Iterator[tuple[str, bytes]]:
    """The content, and what is packed inside it."""
    yield "", content
    if content[:2] == b"PK":
        with zipfile.ZipFile(io.BytesIO(content)) as bundle:
            for name in bundle.namelist():
                for where, inner in layers(bundle.read(name)):
                    yield f" in {name}{where}", inner
    for found in ZLIB.finditer(content):
        try:
            yield f" inflated at {found.start()}", zlib.decompressobj().decompress(content[found.start() :])
        except zlib.error:
            continue


def finds(folder: Path, marks: list[str]) -> Iterator[str]:
    """Every find, in words."""
    for file in sorted(path for path in folder.rglob("*") if path.is_file()):
        for where, content in layers(file.read_bytes()):
            for mark in marks:
                for shape, needle in shapes(mark):
                    if needle in content:
                        yield f"{file.relative_to(folder)}{where}: {mark} as {shape}"
        for mark in marks:
            if mark in file.name:
                yield f"{file.relative_to(folder)}: {mark} in its name"


if __name__ == "__main__":
    found = list(finds(Path(sys.argv[1]), sys.argv[2:]))
    sys.stdout.write("".join(f"{line}\n" for line in found))
    sys.exit(bool(found))
