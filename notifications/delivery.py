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
from notifications.instants import Clock
from notifications.letters import Compose, Due, Later, Letter, Withdrawn

log = logging.getLogger(__name__)

FIRST_RETRY, LONGEST_RETRY = timedelta(minutes=10), timedelta(hours=4)  # greylisting wants a few minutes at least
AGAIN_AFTER_UNKNOWN = timedelta(minutes=30)  # RFC 5321 4.5.4.1: at least half an hour
MOST_ATTEMPTS = 40  # more than four days of retries make; only a message that kills its sender comes so far
Writing = Callable[[], AbstractContextManager[Connection]]


def no_fault(_point: str) -> None:
    """The fail point of every real installation: nothing happens there."""


@dataclass(frozen=True)
class PostOffice:
    """What sending is done with. `fail_point` is called by name between every two steps; tests crash there."""

    writing: Writing
    clock: Clock
    compose: Compose
    channels: Mapping[str, Channel]
    jitter: Random
    lease: timedelta = LEASE
    fail_point: Callable[[str], None] = no_fault


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

    def line(self, name: str) -> Line:
        """The open line of a channel."""
        if name not in self.open:
            self.open[name] = self.lines.enter_context(self.office.channels[name].line())
        return self.open[name]


def send_due(office: PostOffice, most: int = 10_000) -> Batch:
    """Send until nothing is due (or `most` were looked at). The batch returned tells the counts."""
    with ExitStack() as lines:
        batch = Batch(office, lines)
        while batch.looked_at < most:
            now = office.clock.now()
            with office.writing() as connection:
                claimed = claims.claim(connection, now, office.lease)
            if claimed is None:
                break
            batch.looked_at += 1
            office.fail_point("claimed")
            _deliver(batch, claimed, now)
        return batch


def _deliver(batch: Batch, claimed: Claimed, now: datetime) -> None:
    if claimed.handing_over_at is not None:  # its sender was lost in the middle of handing over
        return _line_broke(batch, claimed, claimed.handing_over_at, "the sender was lost while handing over")
    if claimed.expires_at <= now:
        return _settle(batch, lambda connection: claims.expired(connection, claimed, now))
    if claimed.attempts > MOST_ATTEMPTS:
        return _give_up(batch, claimed, now, "tried too often")
    name = claimed.channels[claimed.channel] if claimed.channel < len(claimed.channels) else ""
    if name not in batch.office.channels:
        return _give_up(batch, claimed, now, f"there is no channel {name}" if name else "no channel is left")
    if name in batch.down:
        return _later(batch, claimed, now + FIRST_RETRY, "the channel does not work", counts=False)
    return _compose_and_send(batch, claimed, name, now)


def _compose_and_send(batch: Batch, claimed: Claimed, name: str, now: datetime) -> None:
    office = batch.office
    message_id = claimed.message_id or office.channels[name].new_message_id()
    due = Due(
        claimed.id,
        claimed.event,
        claimed.cause,
        claimed.recipient,
        claimed.reference,
        claimed.facts,
        claimed.made_at,
        message_id,
    )
    composed = office.compose(due, name, now)
    office.fail_point("composed")
    match composed:
        case Withdrawn(why):
            _settle(batch, lambda connection: claims.withdrawn(connection, claimed, now, why))
        case Later(until):
            _later(batch, claimed, until, "", counts=False)
        case Letter():
            _hand_over(batch, claimed, name, composed, message_id)


def _hand_over(batch: Batch, claimed: Claimed, name: str, letter: Letter, message_id: str) -> None:
    office, now = batch.office, batch.office.clock.now()
    with office.writing() as connection:
        if not claims.hand_over(connection, claimed, message_id, now):
            log.warning("Message %s: its lease was over before it was handed over.", claimed.id)
            return None
    office.fail_point("handing over")
    try:
        batch.line(name).send(letter, message_id)
    except LineBroke as fault:
        return _line_broke(batch, claimed, now, fault.why)
    except TryLater as fault:
        return _later(batch, claimed, now + retry_after(claimed.attempts, office.jitter), fault.why, counts=True)
    except ChannelDown as fault:
        batch.down.add(name)
        log.error("Channel %s does not work; its messages wait.", name)
        return _later(batch, claimed, now + FIRST_RETRY, fault.why, counts=False)
    except Hopeless as fault:
        return _give_up(batch, claimed, now, fault.why)
    office.fail_point("handed over")
    return _settle(batch, lambda connection: claims.sent(connection, claimed, office.clock.now()), done=True)


def retry_after(attempts: int, jitter: Random) -> timedelta:
    """How long to wait after so many tries: ten minutes, doubling to four hours, a fifth more or less."""
    plain: timedelta = min(FIRST_RETRY * (1 << min(attempts - 1, 10)), LONGEST_RETRY)
    return plain * jitter.uniform(0.8, 1.2)


def _line_broke(batch: Batch, claimed: Claimed, when: datetime, why: str) -> None:
    """It may have arrived: once more under the same name, and no more after that."""
    if claimed.unknowns:
        return _end_failed(batch, claimed, f"{why}, for the second time; it has probably arrived")
    again_at = when + AGAIN_AFTER_UNKNOWN
    return _settle(batch, lambda connection: claims.unknown(connection, claimed, again_at, why), failed=True)


def _give_up(batch: Batch, claimed: Claimed, now: datetime, why: str) -> None:
    """On to the next channel, or the end."""
    if claimed.channel + 1 < len(claimed.channels):
        return _settle(batch, lambda connection: claims.next_channel(connection, claimed, now, why), failed=True)
    return _end_failed(batch, claimed, why)


def _end_failed(batch: Batch, claimed: Claimed, why: str) -> None:
    now = batch.office.clock.now()
    _settle(batch, lambda connection: claims.failed(connection, claimed, now, why), failed=True)


def _later(batch: Batch, claimed: Claimed, until: datetime, why: str, *, counts: bool) -> None:
    again_at = min(until, claimed.expires_at) if counts else until
    _settle(batch, lambda connection: claims.later(connection, claimed, again_at, why, counts=counts), failed=counts)


def _settle(batch: Batch, settle: Callable[[Connection], bool], *, done: bool = False, failed: bool = False) -> None:
    with batch.office.writing() as connection:
        held = settle(connection)
    if not held:
        log.warning("A message was settled after its lease was over; nothing was changed.")
    batch.done += done
    batch.failed += failed
    batch.office.fail_point("settled")
