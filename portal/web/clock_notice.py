"""What the staff must know of the clock: that it stands still, or that it deletes nothing since the time went back."""

from __future__ import annotations

from datetime import datetime
from typing import NamedTuple

from portal.doctor import stale_sweeps
from portal.rules.sentences import Sentence, say
from portal.web.request_context import installation


class ClockNotice(NamedTuple):
    """What is the matter, and when the clock was last seen; None where it never was or that says nothing."""

    says: Sentence
    last_seen: datetime | None


def clock_notice() -> ClockNotice | None:
    """What is the matter with the clock, or None where it goes as it should."""
    house = installation()
    beats, now = house.sweeps.beats(), house.desk.clock.now()
    stale = stale_sweeps(house, beats, now)
    if house.sweeps.held(now):
        return ClockNotice(
            say(
                "The machine’s time is earlier than it was before. Nothing is deleted until somebody has looked at it."
            ),
            None,
        )
    if len(stale) == len(house.sweeps.sweeps):
        last = max(beats.values(), default=None)
        return ClockNotice(say("The clock stands still: no message goes out, and nobody is reminded."), last)
    if stale:
        return ClockNotice(say("Something that the clock does was not done for too long."), None)
    return None
