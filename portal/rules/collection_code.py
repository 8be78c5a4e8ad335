"""Collection codes: six letters that show at the counter that somebody may take a device away.

A code is made from the secret, whose it is, the device and the version of their link, so nothing is stored and it is
renewed with the link. Six of 32 letters are 30 bits: enough where tries are few (NIST SP 800-63B limits tries for the
same reason), and what can be read out on the telephone.
"""

from __future__ import annotations

import hashlib
import hmac
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import timedelta

from portal.rules.tokens import ALPHABET, LinkKind, base32

LETTERS = 6
MOST_TRIES = 5  # of one device; then one a day, and as many again after two quiet days
WINDOW = timedelta(days=1)
_READ_AS = str.maketrans("OIL", "011", "- .")  # Crockford's reading of letters that look like figures


@dataclass(frozen=True)
class Holder:
    """Whose code it is: a contact's own (their ref), or the docket's stub (the visit's), in this version of the link.

    `used` is how many handovers of the device a code has opened: one that was undone needs another code.
    """

    kind: LinkKind
    ref: str
    version: int
    used: int = 0


def code(secret: bytes, holder: Holder, ticket_ref: str) -> str:
    """The code of one device for one holder, as six letters."""
    words = f"benchwindow collection|{holder.kind.value}|{holder.ref}|{holder.version}|{holder.used}|{ticket_ref}"
    digest = hmac.digest(secret, words.encode(), hashlib.sha256)
    return base32(int.from_bytes(digest, "big") >> (256 - 5 * LETTERS), LETTERS)


def grouped(code: str) -> str:
    """The code as people read it: “4F7-K2M”."""
    return f"{code[:3]}-{code[3:]}"


def read(typed: str) -> str:
    """What was typed, in the one spelling of codes; anything else becomes a text that is no code."""
    found = typed.upper().translate(_READ_AS)
    return found if typed.isascii() and len(found) == LETTERS and set(found) <= set(ALPHABET) else ""


def opening(secret: bytes, typed: str, holders: Iterable[Holder], ticket_ref: str) -> Holder | None:
    """Whose code was typed, or None. Each is compared in constant time, and all of them, whichever fits."""
    given, found = read(typed).encode(), None
    for holder in holders:
        if hmac.compare_digest(given, code(secret, holder, ticket_ref).encode()):
            found = holder
    return found
