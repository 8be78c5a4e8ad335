"""“Ring me”: nothing goes out; handing over puts the message on the list of calls that somebody of the house makes."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import datetime, timedelta

from notifications.letters import Letter


class RingChannel:
    """Hands letters to whoever keeps the list. `note` must note a message once, however often it is handed over."""

    most_attempts = 40
    repeats = 1
    doubt_moves_on = False
    first_retry = timedelta(minutes=10)

    def __init__(self, note: Callable[[Letter, str, datetime], None]) -> None:
        self._note = note

    @contextmanager
    def line(self) -> Iterator[RingChannel]:
        """The list is always there."""
        yield self

    def send(self, letter: Letter, message_id: str, now: datetime) -> None:
        """Put one call on the list."""
        self._note(letter, message_id, now)

    def check(self) -> None:
        """There is nothing that could be out of order."""

    def describe(self) -> str:
        """Where calls go."""
        return "are put on the list of whom to ring, under “Today”"
