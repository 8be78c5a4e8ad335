"""How often something may be tried: freely up to a limit, then after waits that double with every further try.

A try that comes too soon is refused and not counted, so nobody can lengthen another's wait by knocking on.
"""

from __future__ import annotations

import hashlib
import hmac
from dataclasses import dataclass
from datetime import datetime, timedelta

from portal.rules.refusals import Refused
from portal.rules.sentences import say

LONGEST_WAIT = timedelta(days=1)


@dataclass(frozen=True)
class Tally:
    """The tries counted so far, and when the last of them was."""

    tries: int
    tried_at: datetime


@dataclass(frozen=True)
class Verdict:
    """Whether the try may go on; if not, `retry_at` is when the next one may (None where it may)."""

    allowed: bool
    retry_at: datetime | None = None


class TooOften(Refused):
    """Refused because it was tried too often; `retry_at` is when the next try is heard."""

    def __init__(self, retry_at: datetime) -> None:
        super().__init__(say("This was tried too often. Please wait a while and try again, or call the shop."))
        self.retry_at = retry_at


def key(secret: bytes, purpose: str, subject: str) -> str:
    """The key under which tries are counted, 64 hexadecimal digits: tells the subject to nobody without the secret."""
    return hmac.new(secret, f"benchwindow throttle|{purpose}|{subject}".encode(), hashlib.sha256).hexdigest()


def wait(tries: int, limit: int, window: timedelta) -> timedelta:
    """How long after try number `tries` the next one is heard: nothing before the limit, then window, 2 windows, 4 …"""
    if tries < limit:
        return timedelta()
    doublings = min(
        tries - limit, 16
    )  # more would overflow a timedelta; 2**16 seconds pass the longest wait within three
    return min(window * (1 << doublings), max(window, LONGEST_WAIT))


def weigh(tally: Tally | None, now: datetime, limit: int, window: timedelta) -> tuple[Tally | None, Verdict]:
    """Weigh a try made `now`: the tally to keep (None: leave the old one as it is) and the verdict."""
    if tally is None or now >= forgotten_at(tally, limit, window):
        return Tally(1, now), Verdict(True)
    heard_at = tally.tried_at + wait(tally.tries, limit, window)
    if now < heard_at:
        return None, Verdict(False, heard_at)
    return Tally(tally.tries + 1, now), Verdict(True)


def forgotten_at(tally: Tally, limit: int, window: timedelta) -> datetime:
    """When the tries are forgotten: a window after the next one would have been heard."""
    return tally.tried_at + wait(tally.tries, limit, window) + window
