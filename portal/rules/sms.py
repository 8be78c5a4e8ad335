"""How many texts a text message costs: its alphabet, its units and its segments.

A message whose every character stands in the GSM 7-bit default alphabet (3GPP TS 23.038, with its extension table, each
of whose characters costs two) has 160 units; any other character turns the whole of it into UCS-2 with 70. Longer ones
are cut, each part with a header that leaves 153 or 67 units; a pair (an escape with its character, two surrogates) is
never cut in two.
"""

from __future__ import annotations

import unicodedata
from collections.abc import Iterable
from dataclasses import dataclass
from enum import StrEnum

# Code 0x09 is left out: its table has a small ç, its glyph is the capital one, and phones differ.
_BASIC = frozenset(
    "@£$¥èéùìò\nØø\rÅåΔ_ΦΓΛΩΠΨΣΘΞÆæßÉ !\"#¤%&'()*+,-./0123456789:;<=>?"
    "¡ABCDEFGHIJKLMNOPQRSTUVWXYZÄÖÑÜ§¿abcdefghijklmnopqrstuvwxyzäöñüà"
)
_EXTENDED = frozenset("^{}\\[~]|€\f")
# What typing aids put in, by what says the same in the alphabet.
_PLAINER = str.maketrans(
    {
        **dict.fromkeys("‘’‚‛′`´", "'"),
        **dict.fromkeys("“”„‟«»″", '"'),
        **dict.fromkeys("‐‑‒–—−", "-"),
        **dict.fromkeys("\u00a0\u2007\u2009\u202f\t", " "),
        **dict.fromkeys("\u00ad\u200b\u2060\ufeff", ""),
        "…": "...",
        "•": "-",
        "×": "x",
        "ẞ": "SS",
    }
)


class Alphabet(StrEnum):
    """How the message is coded."""

    GSM7 = "GSM 7-bit"
    UCS2 = "UCS-2"


_ONE = {Alphabet.GSM7: 160, Alphabet.UCS2: 70}
_OF_SEVERAL = {Alphabet.GSM7: 153, Alphabet.UCS2: 67}


@dataclass(frozen=True)
class Cost:
    """What a text costs. `units` are septets or UTF-16 units; an empty text has no segment."""

    alphabet: Alphabet
    units: int
    segments: int


def cost(text: str) -> Cost:
    """Count a text as it stands."""
    alphabet = Alphabet.GSM7 if _fits(text) else Alphabet.UCS2
    sizes = [2 if _is_double(letter, alphabet) else 1 for letter in text]
    units = sum(sizes)
    if units <= _ONE[alphabet]:
        return Cost(alphabet, units, min(units, 1))
    return Cost(alphabet, units, _segments(sizes, _OF_SEVERAL[alphabet]))


# Of the site, in letters and signs: with it each of the program's own texts goes out as one, its link in it.
LONGEST_ADDRESS = 36


def plain(text: str) -> str:
    """The text in the 7-bit alphabet where that says the same: typographic signs made plain, accents it lacks dropped.

    A text that does not fit even then (another script, an emoji), or would cost more, stays as it is: its accents would
    be lost for nothing.
    """
    plainer = "".join(_in_alphabet(letter) for letter in text.translate(_PLAINER))
    return plainer if _fits(plainer) and cost(plainer).segments <= cost(text).segments else text


def with_note(text: str, note: str) -> str:
    """The text with a note behind it, unless it says so already or would go out as several for it."""
    longer = f"{text} {note}"
    return text if note in text or cost(longer).segments > 1 else longer


def outside_alphabet(text: str) -> list[str]:
    """The letters and signs of a text that turn the whole of it into UCS-2, each once."""
    return [letter for letter in dict.fromkeys(text) if not _fits(letter)]


def _in_alphabet(letter: str) -> str:
    if _fits(letter):
        return letter
    parts = unicodedata.normalize("NFKD", letter)
    base = "".join(part for part in parts if not unicodedata.combining(part))
    return base if base and _fits(base) else letter


def _fits(text: str) -> bool:
    return all(letter in _BASIC or letter in _EXTENDED for letter in text)


def _is_double(letter: str, alphabet: Alphabet) -> bool:
    return letter in _EXTENDED if alphabet is Alphabet.GSM7 else ord(letter) > 0xFFFF


def _segments(sizes: Iterable[int], room: int) -> int:
    segments, left = 1, room
    for size in sizes:
        if size > left:
            segments, left = segments + 1, room
        left -= size
    return segments
