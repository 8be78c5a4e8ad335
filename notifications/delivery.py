"""Sending what is due: claim, compose, hand over, settle. Never a transaction across the network.

A message may go out twice only after a crash or a lost answer between handing over and settling; then once more, half
an hour later, under the same Message-ID, so that the other side can tell. It is never lost.
"""

from __future__ import annotations

import logging
from collections.abc import Callable, Mapping
from contextlib import AbstractContextManager, ExitStack
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from random import Random

from sqlalchemy import Connection

from notifications import claims
from notifications.channels import Channel, ChannelDown, Hopeless, Line, LineBroke, TryLater
from notifications.claims import LEASE, Claimed
from notifications.faults import log_fault
from notifications.instants import Clock
from notifications.letters import Compose, Due, Later, Letter, Unreachable, Withdrawn

log = logging.getLogger(__name__)

FIRST_RETRY, LONGEST_RETRY = timedelta(minutes=10), timedelta(hours=4)
AGAIN_AFTER_UNKNOWN = timedelta(minutes=30)  # RFC 5321 4.5.4.1: at least half an hour
SOONEST = timedelta(minutes=1)  # a "later" that is now would go round for ever
Writing = Callable[[], AbstractContextManager[Connection]]
Settle = Callable[[Connection], bool]


def no_fault(_point: str) -> None:
    """The fail point of every real installation: nothing happens there."""


def always() -> bool:
    """Nobody asks a sending to stop."""
    return True


@dataclass(frozen=True)
class PostOffice:
    """What sending is done with.

    `fail_point` is called by name between every two steps: "claimed", "composed", "handing over", "handed over",
    "settled"; tests crash there. `going_on` is asked before each message, so that a stop waits for one only.
    """

    writing: Writing
    clock: Clock
    compose: Compose
    channels: Mapping[str, Channel]
    jitter: Random
    lease: timedelta = LEASE
    fail_point: Callable[[str], None] = no_fault
    going_on: Callable[[], bool] = always


@dataclass
class Batch:
    """One run over what is due: the lines it keeps open, the channels it found down, and its counts."""

    office: PostOffice
    lines: ExitStack
    open: dict[str, Line] = field(default_factory=dict)
    down: set[str] = field(default_factory=set)
    looked_at: int = 0
    done: int = 0
    failed: int = 0
    ended: Settle | None = None  # how the last message ended, until the next transaction writes it down

    def line(self, name: str) -> Line:
        """The open line of a channel."""
        if name not in self.open:
            self.open[name] = self.lines.enter_context(self.office.channels[name].line())
        return self.open[name]


def send_due(office: PostOffice, most: int = 10_000) -> Batch:
    """Send until nothing is due (or `most` were looked at). The batch returned tells the counts."""
    with ExitStack() as lines:
        batch = Batch(office, lines)
        with office.writing() as connection:
            batch.failed += claims.expire(connection, office.clock.now())
        while claimed := _next(batch, batch.looked_at < most and office.going_on()):
            batch.looked_at += 1
            office.fail_point("claimed")
            _deliver(batch, claimed, office.clock.now())
        return batch


def _next(batch: Batch, wanted: bool) -> Claimed | None:
    """Write down how the last message ended and claim the next, in one transaction: each costs a sync of the disk."""
    office, ended = batch.office, batch.ended
    if ended is None and not wanted:
        return None
    with office.writing() as connection:
        held = ended is None or ended(connection)
        claimed = claims.claim(connection, office.clock.now(), office.lease) if wanted else None
    batch.ended = None
    if not held:
        log.warning("A message was settled after its lease was over; nothing was changed.")
    if ended is not None:
        office.fail_point("settled")
    return claimed


def retry_after(attempts: int, jitter: Random, first: timedelta = FIRST_RETRY) -> timedelta:
    """How long to wait after so many tries: the `first` wait, doubling to four hours, and up to a fifth more."""
    plain: timedelta = min(first * (1 << min(attempts - 1, 10)), LONGEST_RETRY)
    return plain * jitter.uniform(1.0, 1.2)


def _deliver(batch: Batch, claimed: Claimed, now: datetime) -> None:
    channel = batch.office.channels.get(claimed.via)
    if channel is None:
        return _not_this_way(batch, claimed, now, f"there is no channel {claimed.via!r} here")
    if claimed.unknowns > channel.repeats:
        return _in_doubt(batch, claimed, now, "nobody knows whether it arrived")
    if claimed.attempts > channel.most_attempts:
        return _give_up(batch, claimed, now, "tried too often")
    if claimed.via in batch.down:
        return _later(batch, claimed, now + FIRST_RETRY, "the channel does not work", counts=False)
    composed = _composed(batch.office, claimed, now)
    batch.office.fail_point("composed")
    match composed:
        case Letter():
            return _hand_over(batch, claimed, composed)
        case Withdrawn(why):
            return _settle(batch, lambda c: claims.withdrawn(c, claimed, now, why))
        case Unreachable(why):
            return _not_this_way(batch, claimed, now, why)
        case Later(until):
            return _later(batch, claimed, max(until, now + SOONEST), "", counts=False)
        case Exception():
            again_at = now + retry_after(claimed.attempts, batch.office.jitter)
            return _later(batch, claimed, again_at, f"it could not be written: {type(composed).__name__}", counts=True)


def _composed(
    office: PostOffice, claimed: Claimed, now: datetime
) -> Letter | Later | Unreachable | Withdrawn | Exception:
    """The letter, or why there is none. One that cannot be written must not keep the others from going out."""
    due = Due(
        id=claimed.id,
        event=claimed.event,
        cause=claimed.cause,
        recipient=claimed.recipient,
        reference=claimed.reference,
        facts=claimed.facts,
        made_at=claimed.made_at,
        message_id=claimed.message_id,
        expires_at=claimed.expires_at,
    )
    try:
        return office.compose(due, claimed.via, now)
    except Exception as fault:
        log_fault(f"Message {claimed.id} ({claimed.event}) could not be written", fault)
        return fault


def _hand_over(batch: Batch, claimed: Claimed, letter: Letter) -> None:
    office, now, channel = batch.office, batch.office.clock.now(), batch.office.channels[claimed.via]
    with office.writing() as connection:
        begun = claims.begin(connection, claimed, now, now + AGAIN_AFTER_UNKNOWN, letter.wording)
    if not begun:
        log.warning("Message %s: it was taken back, or its lease was over, before it was handed over.", claimed.id)
        return _later(batch, claimed, now, "", counts=False)
    office.fail_point("handing over")
    try:
        batch.line(claimed.via).send(letter, claimed.message_id, now)
    except TryLater as fault:
        if claimed.attempts >= channel.most_attempts:
            return _give_up(batch, claimed, now, fault.why)
        wait = max(retry_after(claimed.attempts, office.jitter, channel.first_retry), min(fault.wait, LONGEST_RETRY))
        return _later(batch, claimed, now + wait, fault.why, counts=True)
    except ChannelDown as fault:
        batch.down.add(claimed.via)
        log.error("Channel %s does not work; its messages wait.", claimed.via)
        return _later(batch, claimed, now + FIRST_RETRY, fault.why, counts=False)
    except Hopeless as fault:
        return _give_up(batch, claimed, now, fault.why)
    except LineBroke as fault:
        return _line_broke(batch, claimed, now, fault.why)
    except Exception as fault:  # nobody knows how far it came
        log_fault(f"Message {claimed.id}: channel {claimed.via} broke off", fault)
        return _line_broke(batch, claimed, now, f"the channel broke off: {type(fault).__name__}")
    office.fail_point("handed over")
    if letter.needs_more:
        return _not_enough(batch, claimed, office.clock.now())
    return _settle(batch, lambda c: claims.sent(c, claimed, office.clock.now()), "done")


def _not_enough(batch: Batch, claimed: Claimed, now: datetime) -> None:
    """A channel took it that does not say whether anybody saw it: the next one goes too, or it stays in doubt."""
    why = f"by {claimed.via!r} it was taken, but nobody knows whether it was seen"
    end = claims.next_channel if claimed.has_more_channels else claims.left_in_doubt
    _settle(batch, lambda c: end(c, claimed, now, why), "done")


def _line_broke(batch: Batch, claimed: Claimed, now: datetime, why: str) -> None:
    """It may have arrived: once more under the same name where the channel can take that, and no more after it."""
    if claimed.unknowns < batch.office.channels[claimed.via].repeats:
        again_at = now + AGAIN_AFTER_UNKNOWN
        return _settle(batch, lambda c: claims.unknown(c, claimed, again_at, why), "failed")
    return _in_doubt(batch, claimed, now, why)


def _in_doubt(batch: Batch, claimed: Claimed, now: datetime, why: str) -> None:
    """Not by this channel any more: on to the next where the channel says so, else staff decide."""
    moves_on = batch.office.channels[claimed.via].doubt_moves_on and claimed.has_more_channels
    end = claims.next_channel if moves_on else claims.left_in_doubt
    _settle(batch, lambda c: end(c, claimed, now, why), "failed")


def _not_this_way(batch: Batch, claimed: Claimed, now: datetime, why: str) -> None:
    """Nobody can be reached by this channel: on to the next. With none left, it failed only where another was tried."""
    if claimed.has_more_channels:
        return _settle(batch, lambda c: claims.next_channel(c, claimed, now, why))
    if claimed.was_tried:
        return _give_up(batch, claimed, now, why)
    return _settle(batch, lambda c: claims.withdrawn(c, claimed, now, why))


def _give_up(batch: Batch, claimed: Claimed, now: datetime, why: str) -> None:
    """On to the next channel, or the end."""
    end = claims.next_channel if claimed.has_more_channels else claims.failed
    _settle(batch, lambda c: end(c, claimed, now, why), "failed")


def _later(batch: Batch, claimed: Claimed, until: datetime, why: str, *, counts: bool) -> None:
    again_at = min(until, claimed.expires_at)
    _settle(batch, lambda c: claims.later(c, claimed, again_at, why, counts=counts), "failed" if counts else "")


def _settle(batch: Batch, settle: Settle, counts_as: str = "") -> None:
    batch.ended = settle
    batch.done += counts_as == "done"
    batch.failed += counts_as == "failed"
