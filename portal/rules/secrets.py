"""Notices in free text what nobody needs for a repair: a passcode, a payment card's number, a national identifier.

It asks once, before anything is saved, and one tap dismisses the question. Serial numbers of phones, telephone
numbers, times and dates never trigger it. Which identifiers: those of the countries whose languages the program
speaks.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence

from portal.rules.imei import check_digit
from portal.rules.passcodes import gives_passcode_away
from portal.rules.refusals import AskFirst
from portal.rules.sentences import Sentence, say

# Thirteen to nineteen digits, as people group them (ISO/IEC 7812-1: up to nineteen, the last a check digit).
_LONG = re.compile(r"(?<![\d+])\d(?:[ \-]?\d){12,18}(?!\d)")
# The first digits of the big card schemes, and their lengths. Those with 35 are left out: many phones begin so.
_CARD = re.compile(
    r"4\d{12}(?:\d{3}(?:\d{3})?)?|5[1-5]\d{14}|2(?:22[1-9]|2[3-9]\d|[3-6]\d\d|7[01]\d|720)\d{12}|3[47]\d{13}|"
    r"6(?:011|5\d\d)\d{12}"
)
# HMRC's National Insurance Manual NIM39110: the prefixes that are given, six digits, A to D.
_NINO = re.compile(
    r"\b(?!BG|GB|NK|KN|TN|NT|ZZ)[A-CEGHJ-PR-TW-Z][A-CEGHJ-NPR-TW-Z] ?\d{2} ?\d{2} ?\d{2} ?[A-D]\b", re.IGNORECASE
)
_TAX_ID = re.compile(r"(?<![\d+])[1-9]\d(?: ?\d{3}){3}(?!\d)")
_PENSION = re.compile(r"(?<!\w)\d{2} ?(?:0[1-9]|[12]\d|3[01]|[5-8]\d|4\d|9[01])\d{4} ?[A-Z] ?\d{3}(?!\w)")
_SSN = re.compile(r"(?<![\d\-])(?!000|666|9)\d{3}-(?!00)\d{2}-(?!0000)\d{4}(?![\d\-])")


def gives_card_away(text: str) -> bool:
    """Whether a payment card's number stands in it: a scheme's first digits, its length, and the right check digit."""
    for found in _LONG.finditer(text):
        digits = re.sub(r"\D", "", found[0])
        if _CARD.fullmatch(digits) and check_digit(digits[:-1]) == digits[-1]:
            return True
    return False


def gives_identifier_away(text: str) -> bool:
    """Whether what looks like a national identifier stands in it: British, German or American."""
    if _NINO.search(text) or _SSN.search(text):
        return True
    if any(_is_tax_id(re.sub(r"\D", "", found[0])) for found in _TAX_ID.finditer(text)):
        return True
    return any(_is_pension_number(found[0].replace(" ", "")) for found in _PENSION.finditer(text))


def ask_about_secrets(*texts: str, confirmed: bool) -> None:
    """Raise AskFirst, with every warning at once, unless the person has seen the question already."""
    if not confirmed and (warned := warnings(*texts)):
        raise AskFirst(*warned)


def warnings(*texts: str) -> list[Sentence]:
    """What in these texts looks like something that nobody needs for a repair."""
    return [warning for looks_like, warning in _SECRETS if any(looks_like(text) for text in texts)]


_SECRETS: Sequence[tuple[Callable[[str], bool], Sentence]] = (
    (
        gives_passcode_away,
        say(
            "This looks like a passcode. Please leave it out: notes are read by others and are kept. "
            "The owner unlocks the device, or the checks behind the lock are not tried."
        ),
    ),
    (
        gives_card_away,
        say("This looks like the number of a payment card. Please leave it out: nobody needs it for a repair."),
    ),
    (
        gives_identifier_away,
        say("This looks like a national identity or insurance number. Please leave it out: nobody needs it here."),
    ),
)


def _is_tax_id(digits: str) -> bool:
    """The German tax number: one digit twice or thrice among ten, and a check digit (ISO/IEC 7064, MOD 11,10)."""
    counts = sorted(digits[:10].count(digit) for digit in set(digits[:10]))
    if counts[-1] not in (2, 3) or (len(counts) > 1 and counts[-2] > 1):
        return False
    product = 10
    for digit in digits[:10]:
        total = (int(digit) + product) % 10 or 10
        product = total * 2 % 11
    return str((11 - product) % 10) == digits[10]


def _is_pension_number(text: str) -> bool:
    """The German pension insurance number: its check digit (VKVV section 4; from memory)."""
    digits = text[:8] + f"{ord(text[8]) - 64:02}" + text[9:11]
    weights = (2, 1, 2, 5, 7, 1, 2, 1, 2, 1, 2, 1)
    total = sum(sum(map(int, str(int(digit) * weight))) for digit, weight in zip(digits, weights, strict=True))
    return str(total % 10) == text[11]
