"""The check code of a printed report: by it a holder proves years later that the report is the shop's.

Nothing is kept for it. The code is made from what the paper says under the shop's secret: its first half stands for
number, device and day, its second for the words. So it can be checked long after the record is erased.
"""

from __future__ import annotations

import hashlib
import hmac
import unicodedata
from dataclasses import dataclass
from datetime import date

from portal.rules.tokens import ALPHABET, base32

HALF = 8  # letters: 40 bits, far more than anybody may try
_READ_AS = str.maketrans("ILO", "110")  # Crockford's Base32: letters that look like digits are read as those


@dataclass(frozen=True)
class Paper:
    """What a report says of itself: digits of its number, the device, the day it was made, and its words."""

    number: str
    device: str
    day: date
    words: str = ""


@dataclass(frozen=True)
class Judged:
    """Whether number, device and day are as the shop printed them; and the words, None where none were given."""

    head: bool
    words: bool | None


def check_code(secret: bytes, paper: Paper) -> str:
    """The code as printed: four groups of four."""
    letters = _head(secret, paper) + _words(secret, paper)
    return "-".join(letters[place : place + 4] for place in range(0, len(letters), 4))


def judge(secret: bytes, paper: Paper, typed: str) -> Judged:
    """Judge what a holder read off a paper; spelling, case and spaces are forgiven, a wrong letter is not."""
    letters = "".join(letter for letter in typed.upper().translate(_READ_AS) if letter in ALPHABET)
    head = hmac.compare_digest(letters[:HALF], _head(secret, paper))
    if not _plain(paper.words):
        return Judged(head, None)
    return Judged(head, head and hmac.compare_digest(letters[HALF:], _words(secret, paper)))


def _head(secret: bytes, paper: Paper) -> str:
    digits = "".join(letter for letter in paper.number if letter.isdecimal())
    return _half(secret, f"report|{digits}|{_plain(paper.device)}|{paper.day.isoformat()}")


def _words(secret: bytes, paper: Paper) -> str:
    return _half(secret, f"report words|{_head(secret, paper)}|{_plain(paper.words)}")


def _half(secret: bytes, text: str) -> str:
    digest = hmac.digest(secret, f"benchwindow {text}".encode(), hashlib.sha256)
    return base32(int.from_bytes(digest, "big") >> (256 - 5 * HALF), HALF)


def _plain(text: str) -> str:
    """Letters and digits alone: how lines break and which dashes and spaces there are does not matter."""
    folded = unicodedata.normalize("NFKC", unicodedata.normalize("NFKC", text).casefold())
    return "".join(letter for letter in folded if letter.isalnum())
