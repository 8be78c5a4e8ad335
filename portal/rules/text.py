"""Text that people type: brought into one form, freed of what cannot be seen, and bounded. Never changed in meaning."""

from __future__ import annotations

import unicodedata

from portal.rules.refusals import Unfit, needs
from portal.rules.sentences import Sentence, say

SHORT = 120  # a name, a device, a label
LONG = 4000  # a note, a fault, a message

# Cc: controls with NUL; Cs: lone surrogates; Co/Cn: private and unassigned. The direction controls could make a text
# read differently from what was typed (Unicode Technical Report 36, bidirectional spoofing).
_UNWANTED = {"Cc", "Cs", "Co", "Cn"}
_DIRECTION = set("\u061c\u200e\u200f\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069")
_BREAKS = str.maketrans({"\u2028": "\n", "\u2029": "\n", "\x0b": "\n", "\x0c": "\n", "\x85": "\n", "\r": "\n"})


def is_unseen(letter: str) -> bool:
    """Whether it is a sign that nobody sees and that may make a text read differently; a line break counts as one."""
    return unicodedata.category(letter) in _UNWANTED or letter in _DIRECTION


def _cleaned(typed: str) -> str:
    text = unicodedata.normalize("NFC", typed.replace("\r\n", "\n")).translate(_BREAKS).replace("\t", " ")
    return "".join(letter for letter in text if letter == "\n" or not is_unseen(letter))


def _bounded(field: str, what: Sentence, text: str, limit: int, required: bool) -> str:
    if required and not text:
        raise needs(field, what)
    if len(text) > limit:
        raise Unfit(
            field,
            say(
                "{what} has {length} characters; at most {limit} fit.",
                what=what,
                length=len(text),
                limit=limit,
            ),
        )
    return text


def line(field: str, what: Sentence, typed: str, *, limit: int = SHORT, required: bool = False) -> str:
    """One line of text, white space folded. Raises Unfit when too long, or empty though required."""
    return _bounded(field, what, " ".join(_cleaned(typed).split()), limit, required)


def passage(field: str, what: Sentence, typed: str, *, limit: int = LONG, required: bool = False) -> str:
    """Text of several lines; trailing white space goes, line breaks stay. Raises Unfit as `line` does."""
    lines = [piece.rstrip() for piece in _cleaned(typed).split("\n")]
    return _bounded(field, what, "\n".join(lines).strip("\n").strip(), limit, required)
