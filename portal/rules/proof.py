"""Proof of an answer: the exact document that was shown, and a digest chained to the ticket's answer before it.

The document holds no contact data, so it may be kept as long as the money it stands for.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

FIRST = "0" * 64  # what the first proof of a ticket is chained to


@dataclass(frozen=True)
class Proof:
    """One link of a ticket's chain. `document` is canonical JSON; `digest` is SHA-256 in hexadecimal."""

    document: str
    previous: str
    digest: str


def canonical(facts: Mapping[str, Any]) -> str:
    """The facts as JSON in one spelling: sorted keys, no spaces, every letter as it is."""
    return json.dumps(facts, sort_keys=True, separators=(",", ":"), ensure_ascii=False)


def prove(facts: Mapping[str, Any], previous: str) -> Proof:
    """The proof of an answer, chained to the one before."""
    document = canonical(facts)
    return Proof(document, previous, _digest(document, previous))


def first_broken(chain: Sequence[Proof]) -> int | None:
    """The place of the first proof that does not hold (0 for the first), or None where the whole chain does."""
    previous = FIRST
    for place, proof in enumerate(chain):
        if proof.previous != previous or proof.digest != _digest(proof.document, proof.previous):
            return place
        previous = proof.digest
    return None


def _digest(document: str, previous: str) -> str:
    return hashlib.sha256(f"{previous}\n{document}".encode()).hexdigest()
