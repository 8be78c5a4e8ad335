"""Whether an installed package is as its wheel brought it: `unmodified.py NAME`, run by the interpreter it is in.

Compares each file with the hash in the list that the wheel brought (its RECORD). Prints how many files those are, or
each that differs; imports nothing of ours.
"""

from __future__ import annotations

import base64
import hashlib
import sys
from importlib import metadata


def differing(name: str) -> tuple[int, list[str]]:
    """How many files were compared, and which are not as they were brought."""
    brought = [each for each in metadata.files(name) or [] if each.hash]
    wrong = []
    for each in brought:
        digest = hashlib.new(each.hash.mode, each.locate().read_bytes()).digest() if each.locate().is_file() else b""
        if base64.urlsafe_b64encode(digest).decode().rstrip("=") != each.hash.value:
            wrong.append(str(each))
    return len(brought), wrong


if __name__ == "__main__":
    count, wrong = differing(sys.argv[1])
    sys.stdout.write("".join(f"{file} is not as it was brought\n" for file in wrong) or f"{count} files as brought\n")
    sys.exit(bool(wrong) or count == 0)
