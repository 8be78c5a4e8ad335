"""A post office for tests: it composes plainly, its channels answer by a script, and it can be crashed at any step."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from random import Random

from sqlalchemy import Row, select

from notifications import outbox
from notifications.delivery import Batch, PostOffice, Writing, send_due
from notifications.instants import FixedClock
from notifications.letters import Composed, Due, Letter
from notifications.outbox import Message
from notifications.tables import outbox as table

SENDER = "Shop <shop@example.com>"


class Crash(BaseException):
    """The sender dies here: nothing after this runs, as after a kill."""


@dataclass
class ScriptedChannel:
    """Keeps what it is handed. `answers` are raised one after the other; None takes the letter, and so does the end.

    A LineBroke is raised after the letter was kept: it arrived, and only the answer was lost.
    """

    answers: list[Exception | None] = field(default_factory=list)
    got: list[tuple[str, Letter]] = field(default_factory=list)  # message id, letter
    most_attempts: int = 40
    repeats: int = 1
    doubt_moves_on: bool = False
    first_retry: timedelta = timedelta(minutes=10)
    lines: int = 0
    keeps_when_answering: bool = True

    @contextmanager
    def line(self) -> Iterator[ScriptedChannel]:
        self.lines += 1
        yield self

    def send(self, letter: Letter, message_id: str, _now: datetime) -> None:
        answer = self.answers.pop(0) if self.answers else None
        if answer is None or type(answer).__name__ == "LineBroke":
            self.got.append((message_id, letter))
        if answer is not None:
            raise answer

    def check(self) -> None:
        """Always works."""

    def describe(self) -> str:
        return "is kept in the test"


def plain(due: Due, channel: str, _now: datetime) -> Letter:
    """A letter that says which facts it holds."""
    said = ", ".join(str(facts.get("entry", "")) for facts in due.facts)
    return Letter(
        to=f"{due.recipient}@example.org", subject=due.event, text=f"{due.cause} by {channel}: {said}\n", sender=SENDER
    )


class Office:
    """Puts and sends on one database with one clock. `composed` may be set to answer anything else than letters."""

    def __init__(self, writing: Writing, clock: FixedClock, channels: Mapping[str, ScriptedChannel]) -> None:
        self.writing = writing
        self.clock = clock
        self.channels = dict(channels)
        self.composed: Composed | Exception | None = None
        self.crash_at = ""
        self.lease = timedelta(minutes=30)

    def put(self, cause: str, **more: object) -> bool:
        """Put a message of this cause."""
        values = {"event": "noted", "recipient": "OWNER", "reference": "TICKET"} | more
        with self.writing() as connection:
            return outbox.put(connection, Message(cause=cause, **values), self.clock.now())

    def send(self) -> Batch:
        """One sweep of sending."""
        return send_due(self.post_office())

    def crash(self, at: str) -> None:
        """A sweep whose sender dies at this step of its first message."""
        self.crash_at = at
        try:
            self.send()
        except Crash:
            return
        finally:
            self.crash_at = ""
        raise AssertionError(f"it never came to {at!r}")

    def wait(self, **span: float) -> None:
        """Let time pass."""
        self.clock.at += timedelta(**span)

    def row(self, cause: str = "a note") -> Row:
        """The row of a cause."""
        with self.writing() as connection:
            return connection.execute(select(table).where(table.c.cause == cause)).one()

    def rows(self) -> list[Row]:
        """All rows in order."""
        with self.writing() as connection:
            return list(connection.execute(select(table).order_by(table.c.id)))

    def post_office(self) -> PostOffice:
        """What the sweep is given."""
        return PostOffice(
            writing=self.writing,
            clock=self.clock,
            compose=self._compose,
            channels=self.channels,
            jitter=Random(1),
            lease=self.lease,
            fail_point=self._fail_point,
        )

    def _compose(self, due: Due, channel: str, now: datetime) -> Composed:
        if isinstance(self.composed, Exception):
            raise self.composed
        return self.composed or plain(due, channel, now)

    def _fail_point(self, point: str) -> None:
        if point == self.crash_at:
            raise Crash
