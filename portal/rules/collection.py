"""Devices that are ready and stay: when to remind, in which tone, and what storage may cost.

Reminders fall on days on which the shop is open. A day that the customer chose moves them all; a dispute stops them.
Nothing here ever sells or disposes of anything.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from decimal import Decimal
from enum import StrEnum
from zoneinfo import ZoneInfo

from portal.rules.hours import next_open
from portal.rules.policy import Policy
from portal.rules.policy_collection import Storage


class Tone(StrEnum):
    """How a reminder speaks."""

    FRIENDLY = "friendly"
    PLAIN = "plain"
    FIRM = "firm"
    LAST = "last"


@dataclass(frozen=True)
class Waiting:
    """A device that is ready: since when, for which day its owner promised to come, how many reminders went out."""

    ready_at: datetime
    chosen_day: date | None = None
    reminded: int = 0


@dataclass(frozen=True)
class Reminder:
    """The reminder at this place in the series (from 0), and when it is due, in UTC."""

    place: int
    due_at: datetime


def next_reminder(waiting: Waiting, policy: Policy) -> Reminder | None:
    """The next one of the series, or None after the last."""
    if waiting.reminded >= len(policy.collection.reminders):
        return None
    return Reminder(waiting.reminded, _due_at(waiting, waiting.reminded, policy))


def due_now(waiting: Waiting, policy: Policy, now: datetime) -> Reminder | None:
    """The reminder to send now, or None. Of several that are due only the latest is sent: nobody is told twice."""
    due = None
    for place in range(waiting.reminded, len(policy.collection.reminders)):
        at = _due_at(waiting, place, policy)
        if at > now:
            break
        due = Reminder(place, at)
    return due


def tone(place: int, of: int) -> Tone:
    """The tone at a place of a series of so many: friendly first, and at last the last."""
    if of <= 1 or place == 0:
        return Tone.FRIENDLY
    if place == of - 1:
        return Tone.LAST
    return Tone.PLAIN if place * 2 < of else Tone.FIRM


def counts_from(waiting: Waiting, zone: ZoneInfo) -> date:
    """Day 0: the day on which it was ready, or a later one that its owner chose."""
    ready = waiting.ready_at.astimezone(zone).date()
    return max(ready, waiting.chosen_day) if waiting.chosen_day else ready


def milder(accepted: Storage, present: Storage) -> Storage:
    """What may be asked for storage, where the shop asks otherwise today than in the terms that were accepted."""
    return Storage(
        per_day=min(accepted.per_day, present.per_day),
        after_days=max(accepted.after_days, present.after_days),
        at_most=min(accepted.at_most, present.at_most),
        terms_point=accepted.terms_point,
    )


def storage_starts(waiting: Waiting, storage: Storage, zone: ZoneInfo) -> date:
    """The first day that costs something."""
    return counts_from(waiting, zone) + timedelta(days=storage.after_days + 1)


def storage_charge(waiting: Waiting, storage: Storage, on: date, zone: ZoneInfo) -> Decimal:
    """What storage has cost by the end of a day: each started day, and never more than the cap."""
    days = (on - storage_starts(waiting, storage, zone)).days + 1
    return min(storage.per_day * max(days, 0), storage.at_most)


def _due_at(waiting: Waiting, place: int, policy: Policy) -> datetime:
    """The opening of the first open day from the day in the series on."""
    zone = ZoneInfo(policy.shop.zone)
    day = counts_from(waiting, zone) + timedelta(days=policy.collection.reminders[place])
    midnight = datetime.combine(day, time(), zone).astimezone(UTC)
    noon = datetime.combine(day, time(12), zone).astimezone(UTC)
    return next_open(midnight, policy) or noon  # a shop without hours
