"""Ticket numbers: all digits, speakable, the last one a Damm check digit, so that a slip on the phone is caught.

The Damm scheme finds every single wrong digit and every swap of two neighbours (H. M. Damm, 2004).
"""

from __future__ import annotations

import re

from portal.rules.refusals import Unfit
from portal.rules.sentences import say

# The totally anti-symmetric quasigroup of order 10 that Damm's scheme is usually given with.
_DAMM = (
    (0, 3, 1, 7, 5, 9, 8, 6, 4, 2),
    (7, 0, 9, 2, 1, 5, 4, 8, 6, 3),
    (4, 2, 0, 6, 8, 7, 1, 3, 5, 9),
    (1, 7, 5, 0, 9, 8, 3, 4, 2, 6),
    (6, 1, 2, 3, 0, 4, 5, 9, 7, 8),
    (3, 6, 7, 4, 2, 0, 9, 5, 8, 1),
    (5, 8, 6, 9, 7, 2, 0, 1, 3, 4),
    (8, 9, 4, 5, 3, 6, 2, 0, 1, 7),
    (9, 4, 3, 8, 6, 1, 7, 2, 0, 5),
    (2, 5, 8, 1, 4, 3, 6, 7, 9, 0),
)
_SEPARATORS = re.compile(r"[\s.\-–/]+")
SHORTEST, LONGEST = 3, 13
CHECK_TABLE = "".join(str(digit) for row in _DAMM for digit in row)  # for a page that looks a number over by itself


def check_digit(body: str) -> str:
    """The Damm check digit of a string of digits: `"572"` → `"4"`."""
    interim = 0
    for digit in body:
        interim = _DAMM[interim][int(digit)]
    return str(interim)


def with_check(body: str) -> str:
    """The full number for a body of digits, as stored: `"4711"` → `"47113"` or whatever digit Damm gives."""
    return body + check_digit(body)


def spoken(number: str) -> str:
    """A stored number as people read it, the check digit set apart: `"5724"` → `"572-4"`."""
    return f"{number[:-1]}-{number[-1]}"


def parse_number(typed: str) -> str:
    """What somebody typed or read out, as the stored number; separators (space, dot, dash, slash) do not matter.

    Raises Unfit (field "number") for anything but digits, an odd length, or a check digit that does not match.
    """
    digits = _SEPARATORS.sub("", typed.strip())
    if not (digits.isascii() and digits.isdigit() and SHORTEST <= len(digits) <= LONGEST):
        raise Unfit(
            "number",
            say("A repair number has only digits, for example 572-4. Please look at the docket again."),
        )
    if check_digit(digits[:-1]) != digits[-1]:
        raise Unfit(
            "number",
            say("{number} is not a repair number: a digit is wrong or two are swapped.", number=spoken(digits)),
        )
    return digits
