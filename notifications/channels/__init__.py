"""Channels, a folder each: a channel hands letters over, one recipient each, and says plainly how it went.

To add one: its folder with a class that answers `Channel`, and its line where the installation is put together.
"""

from __future__ import annotations

import re
from contextlib import AbstractContextManager
from datetime import datetime, timedelta
from typing import Protocol

from notifications.letters import Letter

_ADDRESS = re.compile(r"[^\s<>]+@[^\s<>]+")


class Undelivered(Exception):
    """The other side did not take the letter; `why` is its answer, shortened and without addresses, for staff only."""

    def __init__(self, why: str) -> None:
        super().__init__(type(self).__name__)
        self.why = " ".join(_ADDRESS.sub("…", why).split())[:200]


class TryLater(Undelivered):
    """Not now: a temporary refusal, or nobody there. `wait` is how long the other side asks us to wait, at least."""

    def __init__(self, why: str, wait: timedelta = timedelta(0)) -> None:
        super().__init__(why)
        self.wait = wait


class Hopeless(Undelivered):
    """Never, by this channel: trying again unchanged is of no use."""


class LineBroke(Undelivered):
    """The line broke after the letter was handed over and before the answer: it may have arrived."""


class ChannelDown(Undelivered):
    """The channel itself does not work (nobody there, a wrong password). The fault is not the letter's: all wait."""


class Line(Protocol):
    """An open line to the other side, for a batch of letters."""

    def send(self, letter: Letter, message_id: str, now: datetime) -> None:
        """Hand one letter over; a repeated one comes with the same `message_id`. Raises a kind of Undelivered."""


class Channel(Protocol):
    """A way to reach people."""

    @property
    def most_attempts(self) -> int:
        """After so many tries it is given up; with mail the four days are over sooner."""

    @property
    def repeats(self) -> int:
        """How often a letter is handed over again that may have arrived: 0 where a repeat costs money."""

    @property
    def doubt_moves_on(self) -> bool:
        """Whether what may have arrived goes by the next channel as well: told twice is better than not at all."""

    @property
    def first_retry(self) -> timedelta:
        """How long to wait after the first try that failed; each further wait is twice as long, up to four hours."""

    def line(self) -> AbstractContextManager[Line]:
        """Open a line. Nothing is connected before the first letter."""

    def check(self) -> None:
        """Try whether the channel works, without sending anything. Raises a kind of Undelivered."""

    def describe(self) -> str:
        """Where letters go, in words; never with a password."""
