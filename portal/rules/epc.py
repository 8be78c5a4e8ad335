"""A bank transfer as a code that banks' apps read: EPC069-12 of the European Payments Council, version 002, euro only.

The lines and their order, the sizes and level M with at most version 13 (so 331 bytes) stand there; ISO 13616 says how
an account number (IBAN) is checked. Both from memory, compared with several public descriptions.
"""

from __future__ import annotations

import re

from portal.rules.refusals import Refused
from portal.rules.sentences import say

CURRENCY = "EUR"
LONGEST_NAME, LONGEST_TEXT, MOST_BYTES = 70, 140, 331
MOST_MINOR = 99_999_999_999  # 999,999,999.99
_IBAN = re.compile(r"[A-Z]{2}[0-9]{2}[A-Z0-9]{11,30}")
_BIC = re.compile(r"[A-Z]{6}[A-Z0-9]{2}(?:[A-Z0-9]{3})?")


def compact(typed: str) -> str:
    """An account number or a bank's code without its spaces, in capitals."""
    return "".join(typed.split()).upper()


def is_iban(text: str) -> bool:
    """Whether a compact account number is in form and its check digits are right (ISO 13616, modulo 97)."""
    if not _IBAN.fullmatch(text):
        return False
    turned = text[4:] + text[:4]
    return int("".join(str(int(letter, 36)) for letter in turned)) % 97 == 1


def is_bic(text: str) -> bool:
    """Whether a compact bank's code is in form (ISO 9362): eight letters and digits, or eleven."""
    return bool(_BIC.fullmatch(text))


def grouped(iban: str) -> str:
    """An account number as people read it, in fours."""
    return " ".join(iban[place : place + 4] for place in range(0, len(iban), 4))


def payload(name: str, iban: str, amount_minor: int, text: str, *, bic: str = "") -> str:
    """What the code says: to whom, to which account, how many cents, and the words that come with the money.

    Raises Refused for what the standard has no room for.
    """
    lines = (
        "BCD",
        "002",
        "1",
        "SCT",
        bic,
        name,
        iban,
        f"EUR{amount_minor // 100}.{amount_minor % 100:02}",
        "",
        "",
        text,
    )
    fits = (
        0 < len(name) <= LONGEST_NAME
        and is_iban(iban)
        and (not bic or is_bic(bic))
        and 1 <= amount_minor <= MOST_MINOR
        and len(text) <= LONGEST_TEXT
        and not any("\n" in line for line in lines)
        and len("\n".join(lines).encode()) <= MOST_BYTES
    )
    if not fits:
        raise Refused(say("No code can be made of this payment."))
    return "\n".join(lines)
