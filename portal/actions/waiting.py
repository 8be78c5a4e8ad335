"""What a device without a line keeps until it can be sent: the key under which it is sealed meanwhile."""

from __future__ import annotations

import hmac
from dataclasses import dataclass, field

from portal.actions.desk import Desk
from portal.store.people import Person


@dataclass(frozen=True)
class Seal:
    """`owner` tells whose it is and names nobody; `key` is AES-256's, in hexadecimal, and never shows itself."""

    owner: str
    key: str = field(repr=False)


def seal(desk: Desk, person: Person) -> Seal:
    """The seal of somebody who is logged in. It is kept nowhere: ending their logins makes another key of it."""
    return Seal(
        _digest(desk, f"owner|{person.id}")[:16],
        _digest(desk, f"key|{person.id}|{person.generation}"),
    )


def _digest(desk: Desk, subject: str) -> str:
    return hmac.digest(desk.links.secret, f"benchwindow waiting|{subject}".encode(), "sha256").hex()
