"""Channels, a folder each: a channel hands letters over, one recipient each, and says plainly how it went."""

from __future__ import annotations

from contextlib import AbstractContextManager
from typing import Protocol

from notifications.letters import Letter


class Undelivered(Exception):
    """The other side did not take the letter; `why` is its answer, shortened, for staff and never for logs."""

    def __init__(self, why: str) -> None:
        super().__init__(type(self).__name__)
        self.why = " ".join(why.split())[:200]


class TryLater(Undelivered):
    """Not now: a temporary refusal, or nobody there."""


class Hopeless(Undelivered):
    """Never, by this channel: trying again unchanged is of no use."""


class LineBroke(Undelivered):
    """The line broke after the letter was handed over and before the answer: it may have arrived."""


class ChannelDown(Undelivered):
    """The channel itself does not work (a wrong password, say). The fault is not the letter's."""


class Line(Protocol):
    """An open line to the other side, for a batch of letters."""

    def send(self, letter: Letter, message_id: str) -> None:
        """Hand one letter over. Raises a kind of Undelivered."""


class Channel(Protocol):
    """A way to reach people."""

    def line(self) -> AbstractContextManager[Line]:
        """Open a line. Nothing is connected before the first letter."""

    def new_message_id(self) -> str:
        """A name for a new message, unique for ever; a repeated one keeps its name."""

    def check(self) -> None:
        """Try whether the channel works, without sending anything. Raises a kind of Undelivered."""

    def describe(self) -> str:
        """Where letters go, in words; never with a password."""
