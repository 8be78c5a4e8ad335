"""What comes after a device has left: how long the warranty runs, and how long its owner's page stays."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import UTC, date, datetime, time, timedelta
from enum import StrEnum
from zoneinfo import ZoneInfo

from portal.rules.deadlines import months_after
from portal.rules.sentences import Sentence, say
from portal.rules.stages import Ending

AFTER_NO_REPAIR = timedelta(days=30)  # how long the page stays where nothing was repaired
ANSWER_STAYS = timedelta(days=14)  # so long what the shop settled last can be read, should the page end meanwhile
REPAIRED = (Ending.COLLECTED, Ending.POSTED)


class Matter(StrEnum):
    """What keeps a visit's page past its end while it is open."""

    COMPLAINT = "complaint"
    DISPUTE = "dispute"
    REFUND = "refund"
    REQUEST = "request"


MATTER_WORDS: Mapping[Matter, Sentence] = {
    Matter.COMPLAINT: say("your complaint"),
    Matter.DISPUTE: say("what is in dispute"),
    Matter.REFUND: say("what we owe you back"),
    Matter.REQUEST: say("what you asked about your data"),
}


def begins(ended_at: datetime, delivered_on: date | None, zone: str) -> datetime:
    """From when a warranty runs: the handover, or for what was posted the day on which it arrived, if that is later."""
    if delivered_on is None or delivered_on <= ended_at.astimezone(ZoneInfo(zone)).date():
        return ended_at
    return datetime.combine(delivered_on, time(12), ZoneInfo(zone)).astimezone(UTC)


def warranty_ends(ended_at: datetime, ending: Ending, months: int, zone: str) -> date | None:
    """The last day of the warranty, by the calendar of the shop; None where nothing was repaired or none is given."""
    if ending not in REPAIRED or not months:
        return None
    return months_after(ended_at.astimezone(ZoneInfo(zone)).date(), months)


def link_ends(endings: Iterable[tuple[Ending | None, datetime | None]], months: int, zone: str) -> datetime | None:
    """When the page of a visit ends: with the last warranty, and not before 30 days; None while a device is here."""
    ends = []
    for ending, ended_at in endings:
        if ending is None or ended_at is None:
            return None
        last = warranty_ends(ended_at, ending, months, zone)
        after = datetime.combine(last + timedelta(days=1), time(), ZoneInfo(zone)).astimezone(UTC) if last else None
        ends.append(max(after or ended_at, ended_at + AFTER_NO_REPAIR))
    return max(ends, default=None)
