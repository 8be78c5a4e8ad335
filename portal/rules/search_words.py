"""The words a ticket is found by: plain lower-case words, and a phone number backwards: its last digits lead."""

from __future__ import annotations

import re
import unicodedata

LONGEST = 30
MOST_ASKED = 5
FEWEST_DIGITS = 3
WHOLE_NUMBER = 7  # so many digits may be all there are of a number
_WORD = re.compile(r"[^\W_]+")


def plain(text: str) -> list[str]:
    """The words of a text without accents, case or punctuation: “Müller’s” → muller, s."""
    bare = "".join(
        letter for letter in unicodedata.normalize("NFKD", text.casefold()) if not unicodedata.combining(letter)
    )
    return [word[:LONGEST] for word in _WORD.findall(bare)]


def words_of(name: str, phone: str, device: str) -> set[str]:
    """What a ticket is found by."""
    return {*plain(name), *plain(device), *([_backwards(phone)] if phone else [])}


def asked(text: str) -> list[str]:
    """The prefixes that somebody's question asks for, the longest first: letters as words, digits as a phone's last."""
    digits = re.sub(r"[\s.\-/()+]", "", text)
    if digits.isascii() and digits.isdigit() and len(digits) >= FEWEST_DIGITS:
        # A whole number as people dial it begins with a nought or two, of which its stored form has none.
        return [_backwards(digits.lstrip("0") if len(digits) >= WHOLE_NUMBER else digits)]
    return sorted(plain(text), key=len, reverse=True)[:MOST_ASKED]


def _backwards(phone: str) -> str:
    return "~" + "".join(letter for letter in reversed(phone) if letter.isdigit())[:LONGEST]
