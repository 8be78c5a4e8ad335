"""IMEIs: the serial numbers of phones (3GPP TS 23.003, clause 6.2), checked when typed and shown by their last four.

An IMEI names one device and so, in the end, a person: it is kept as device identity and never shown whole.
"""

from __future__ import annotations

import re

from portal.rules.refusals import Unfit
from portal.rules.sentences import say
from portal.rules.text import line

_SEPARATORS = re.compile(r"[\s./\-–]+")
DIGITS = 15  # fourteen and the check digit; an IMEISV has sixteen and no check digit
SHOWN = 4
LONGEST_SERIAL = 60


def check_digit(body: str) -> str:
    """The Luhn check digit of a string of digits (ISO/IEC 7812-1 Annex B; for IMEIs TS 23.003 Annex B)."""
    total = 0
    for place, digit in enumerate(reversed(body)):
        doubled = int(digit) * 2 if place % 2 == 0 else int(digit)
        total += doubled - 9 if doubled > 9 else doubled
    return str(-total % 10)


def is_imei(digits: str) -> bool:
    """Whether fifteen digits end in their check digit."""
    plain = digits.isascii() and digits.isdigit() and len(digits) == DIGITS
    return plain and check_digit(digits[:-1]) == digits[-1]


def serial(typed: str) -> str:
    """A serial number as stored. Raises Unfit for fifteen digits that are no IMEI: a digit was misread."""
    text = line("serial", say("The serial number"), typed, limit=LONGEST_SERIAL)
    digits = _SEPARATORS.sub("", text)
    if not (digits.isascii() and digits.isdigit() and len(digits) == DIGITS):
        return text
    if not is_imei(digits):
        raise Unfit("serial", say("This is not an IMEI: a digit is wrong or two are swapped. Please read it again."))
    return digits


def shown(stored: str) -> str:
    """A serial number as pages show it, the last four only: "260531793113837" → "…3837"."""
    return f"…{stored[-SHOWN:]}" if len(stored) > SHOWN else stored
