"""The register as people read it: the notice, the record of processing, and what is held of one visit."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

from sqlalchemy import Connection

from portal.actions import staying
from portal.rules.afterwards import MATTER_WORDS
from portal.rules.periods import goes_at
from portal.rules.policy import Policy
from portal.rules.policy_base import Words
from portal.rules.policy_privacy import Privacy
from portal.rules.retention import BASIS_WORDS, OF_A_VISIT, REGISTER, START_WORDS, Kept
from portal.rules.sentences import Sentence
from portal.store import keeping
from portal.store.keeping import Pause


@dataclass(frozen=True)
class Line:
    """One kind of data, in words."""

    name: Sentence
    purpose: Sentence
    basis: Sentence
    period: Sentence
    start: Sentence
    then: Sentence
    receivers: Sentence
    ground: Sentence


@dataclass(frozen=True)
class Notice:
    """The register of a shop, in words."""

    lines: Sequence[Line]
    privacy: Privacy
    longer_because: Words


@dataclass(frozen=True)
class Held:
    """A kind of data of one visit: when it goes, or what its end waits for."""

    kept: Kept
    name: Sentence
    period: Sentence
    start: Sentence
    goes_at: datetime | None
    last_day: date | None
    gone: bool
    pause: Pause | None

    @property
    def stays_for(self) -> Pause | None:
        """What keeps it past its last day, or while none is set."""
        ends_earlier = self.pause and self.last_day and self.pause.until <= self.last_day
        return None if ends_earlier else self.pause


def notice(policy: Policy, *, staff: bool) -> Notice:
    """The register in words; what is kept of the staff is for the staff."""
    kinds = [kept for kept in REGISTER if staff or kept is not Kept.STAFF]
    return Notice([_line(kept, policy) for kept in kinds], policy.privacy, policy.retention.longer_because)


def still_open(connection: Connection, visit_id: int, policy: Policy) -> list[Sentence]:
    """What keeps a visit's page, and what it is made from, past the days that `held` names."""
    return [MATTER_WORDS[each] for each in staying.matters(connection, visit_id, policy)]


def held(connection: Connection, visit_id: int, policy: Policy, today: date) -> list[Held]:
    """What is held of a visit, each kind with the day on which it goes."""
    since, zone = keeping.of_visit(connection, visit_id), ZoneInfo(policy.shop.zone)
    paused = keeping.paused(connection, visit_id, today)
    lines = []
    for kept in OF_A_VISIT:
        goes = goes_at(since[kept], policy.retention.period(kept), zone) if kept in since else None
        lines.append(
            Held(
                kept,
                REGISTER[kept].name,
                policy.retention.period(kept).words(),
                START_WORDS[REGISTER[kept].start],
                goes,
                goes.astimezone(zone).date() - timedelta(days=1) if goes else None,
                bool(since) and kept not in since,
                paused.get(kept),
            )
        )
    return lines


def _line(kept: Kept, policy: Policy) -> Line:
    entry = REGISTER[kept]
    return Line(
        entry.name,
        entry.purpose,
        BASIS_WORDS[entry.basis],
        policy.retention.period(kept).words(),
        START_WORDS[entry.start],
        entry.then,
        entry.receivers,
        entry.ground,
    )
