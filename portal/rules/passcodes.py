"""Notices a passcode before it is written down. There is no place for one here: a device's owner unlocks it.

A word for a passcode with a code beside it is what is noticed. Serial numbers (IMEIs) and times never are. Which words
and what looks like a code: common practice, no source.
"""

from __future__ import annotations

import re

# Words by which people give a passcode away, in the languages the program speaks.
_WORDS = (
    "passcode|pass code|passphrase|password|pass word|pwd|pin code|pin|unlock code|lock code|screen lock|"
    "passwort|kennwort|sperrcode|entsperrcode|gerätecode|geheimzahl|zugangscode|bildschirmsperre"
)
_WORD = re.compile(rf"(?<!\w)(?:{_WORDS})(?!\w)", re.IGNORECASE)
_SERIAL = re.compile(r"(?<!\d)\d(?:[ ./\-–]?\d){13,15}(?!\d)")
_TIME = re.compile(
    r"(?<![\d.:])\d{1,2}(?:[:.]\d{2}){1,2}(?![\d:])(?:\s?(?:am|pm|uhr|h)\b)?|\b\d{1,2}\s?(?:am|pm|uhr)\b", re.IGNORECASE
)
_DATE = re.compile(r"\b\d{4}-\d{2}-\d{2}\b|\b\d{1,2}[./]\d{1,2}[./]\d{2,4}\b")
_JOINED = r"(?:\s*(?:[:=#]|is|was|are|ist|war|lautet|–|-)?\s*)"
# Digits (also spaced, as people dictate them), or one word that mixes letters with digits.
_CODE = r"[\"“„'‘(]?(?:\d(?:[ \-]?\d){3,9}(?!\w)|(?=\w{0,30}\d)(?=\w{0,30}[^\W\d_])\w{4,30}(?!\w))"
_CODE_AFTER = re.compile(_JOINED + _CODE, re.IGNORECASE)
_CODE_BEFORE = re.compile(
    r"(?<!\w)\d{4,10}\s*(?:\(|as|als|is|ist|=|-|–)?\s*(?:the|der|die|das|her|his|ihre?|seine?)?\s*$", re.I
)
# After a colon or "is", any single word given in quotation marks, or alone, may be the code itself.
_TOLD_AFTER = re.compile(
    r"\s*(?:[:=]\s*[\"“„'‘]?[^\s\"”“']{4,}|(?:is|ist|lautet)\s*[:=]?\s*[\"“„'‘][^\"”“']{3,})", re.I
)


def gives_passcode_away(text: str) -> bool:
    """Whether a word for a passcode stands beside what may be its code; never for serial numbers, times, dates."""
    for harmless in (_SERIAL, _DATE, _TIME):
        text = harmless.sub(" … ", text)
    for word in _WORD.finditer(text):
        after = text[word.end() :]
        if _CODE_AFTER.match(after) or _TOLD_AFTER.match(after) or _CODE_BEFORE.search(text[: word.start()]):
            return True
    return False
