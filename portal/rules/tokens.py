"""Link tokens: a public random id and a message authentication code, in Crockford Base32, with nothing secret stored.

A token is the kind's letter, 10 letters of id (50 bits) and 26 letters of HMAC-SHA256 (130 bits, so at least the 128
that OWASP ASVS 5.0 11.5.1 asks of anything unguessable): 37 letters that fit a QR code's compact alphanumeric mode.
"""

from __future__ import annotations

import hashlib
import hmac
from dataclasses import dataclass
from enum import StrEnum
from random import Random

ALPHABET = "0123456789ABCDEFGHJKMNPQRSTVWXYZ"  # Crockford: no I, L, O, U
_LETTERS = frozenset(ALPHABET)
REF_LETTERS = 10
MAC_LETTERS = 26


class LinkKind(StrEnum):
    """What a link stands for; its letter is the token's first."""

    DOCKET = "D"  # the code on the docket: whoever holds the paper
    CONTACT = "C"  # one person's own link, in their messages
    QUESTION = "Q"  # one question, put to one person


class NotAToken(ValueError):
    """The text is not a token in its one canonical spelling (case does not matter)."""


@dataclass(frozen=True)
class Token:
    """A token taken apart; whether its code is right is for `matches` to say."""

    kind: LinkKind
    ref: str
    mac: str


def base32(number: int, letters: int) -> str:
    """A number as exactly so many Crockford letters, the highest first."""
    return "".join(ALPHABET[(number >> (5 * place)) & 31] for place in reversed(range(letters)))


def new_ref(chooser: Random) -> str:
    """A fresh public id: random, never derived from anything."""
    return base32(chooser.getrandbits(5 * REF_LETTERS), REF_LETTERS)


def mac(secret: bytes, kind: LinkKind, ref: str, version: int) -> str:
    """The code over kind, id and version, as 26 letters."""
    digest = hmac.digest(secret, f"benchwindow link|{kind.value}|{ref}|{version}".encode(), hashlib.sha256)
    return base32(int.from_bytes(digest, "big") >> (256 - 5 * MAC_LETTERS), MAC_LETTERS)


def make_token(secret: bytes, kind: LinkKind, ref: str, version: int) -> str:
    """The token of a link in its present version."""
    return kind.value + ref + mac(secret, kind, ref, version)


def read_token(text: str) -> Token:
    """Take a token apart. Raises NotAToken for any other length, letter or kind; other spellings are refused."""
    token = text.upper()
    if len(token) != 1 + REF_LETTERS + MAC_LETTERS or not text.isascii() or not _LETTERS.issuperset(token):
        raise NotAToken
    try:
        kind = LinkKind(token[0])
    except ValueError:
        raise NotAToken from None
    return Token(kind, token[1 : 1 + REF_LETTERS], token[1 + REF_LETTERS :])


def matches(token: Token, secret: bytes, version: int) -> bool:
    """Whether the token is this version's, compared in constant time."""
    return hmac.compare_digest(token.mac, mac(secret, token.kind, token.ref, version))
