"""Keeping passwords and PINs so that nobody can read them back: argon2id with OWASP's parameters.

OWASP Password Storage Cheat Sheet: argon2id with 19 MiB, t = 2, p = 1.
"""

from __future__ import annotations

import hmac

from argon2 import PasswordHasher
from argon2.exceptions import InvalidHashError, VerificationError

HASHER = PasswordHasher(time_cost=2, memory_cost=19_456, parallelism=1)
# Compared with when nobody has the name, so that the answer takes as long. No known text has this hash.
_NOBODYS = "$argon2id$v=19$m=19456,t=2,p=1$c29tZSBzYWx0IGhlcmUhIQ$Zm9yIG5vYm9keSB3aG9ldmVyIHRoZXkgbWF5IGJlPz8"


def kept(text: str) -> str:
    """The text as it is kept."""
    return HASHER.hash(_bytes(text))


def fits(kept_hash: str, typed: str) -> bool:
    """Whether what was typed is what was kept. Takes as long where nothing was kept (an empty hash)."""
    try:
        right = HASHER.verify(kept_hash or _NOBODYS, _bytes(typed))
    except (VerificationError, InvalidHashError):
        return False
    return right and bool(kept_hash)


def outdated(kept_hash: str) -> bool:
    """Whether it was kept with other parameters than today's."""
    return HASHER.check_needs_rehash(kept_hash)


def pin_text(secret: bytes, staff_id: int, pin: str) -> str:
    """What is kept of a PIN: keyed by the installation's secret, for a stolen database alone must not give away a
    million possibilities."""
    return hmac.digest(secret, f"benchwindow pin|{staff_id}|{pin}".encode("utf-8", "replace"), "sha256").hex()


def _bytes(text: str) -> bytes:
    return text.encode("utf-8", "replace")
