"""The right to cancel what was agreed at a distance, and the express request to begin before its time is over.

A service is not begun while a contract made at a distance can be cancelled, unless the consumer asked for it expressly;
the right ends with the work only where it began on that request and the consumer knew so (Directive 2011/83/EU,
Art. 7(3), 8(8) and 16(a); SI 2013/3134 reg. 36; partly from memory). What is agreed
over the counter has no such right (reg. 27). Where the European Union's law counts the time, one that ends on a
Saturday, a Sunday or a public holiday runs to the end of the next working day (Regulation (EEC, Euratom) No 1182/71
Art. 3(4), which the Directive's recital 41 names, from memory); the British regulations give fourteen days. Not legal
advice: the policy's texts and the law where the shop works decide.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable
from dataclasses import dataclass
from datetime import date, timedelta
from enum import StrEnum

from portal.rules.deadlines import working_day_from
from portal.rules.refusals import Refused, Unfit
from portal.rules.sentences import say

TO_WORKING_DAY = say(
    "Where that time would end on a Saturday, a Sunday or a public holiday, it runs to the end of the next working day."
)


class Begin(StrEnum):
    """When the customer wants the work to begin."""

    EARLY = "early"  # before the time to cancel is over, at their express request
    LATER = "later"


@dataclass(frozen=True)
class Told:
    """What a customer reads of their right to cancel, in their language."""

    days: int
    right: str
    request: str

    @property
    def mark(self) -> str:
        """What a form names the words by that it showed."""
        return hashlib.sha256(f"{self.days}\n{self.right}\n{self.request}".encode()).hexdigest()[:16]


@dataclass(frozen=True)
class Settled:
    """What was told and chosen when a price was agreed. `until` is the last day on which it can be cancelled."""

    told: Told
    begin: Begin
    until: date

    @property
    def is_early(self) -> bool:
        """Whether they asked to begin before the time to cancel is over."""
        return self.begin is Begin.EARLY

    def columns(self) -> dict[str, object]:
        """What a row holds of it."""
        return {"cancel_until": self.until, "begin_early": self.is_early}

    def facts(self) -> dict[str, object]:
        """The same for the proof: the exact words, and what was chosen."""
        return {
            "days": self.told.days,
            "right": self.told.right,
            "request": self.told.request,
            "begin": self.begin.value,
            "until": self.until.isoformat(),
        }


def of_document(document: str) -> Settled | None:
    """What a proof's document holds of it; None where nothing was told of cancelling."""
    facts = json.loads(document).get("cancelling")
    if facts is None:
        return None
    told = Told(facts["days"], facts["right"], facts["request"])
    return Settled(told, Begin(facts["begin"]), date.fromisoformat(facts["until"]))


def settle(told: Told, begin: str, until: date) -> Settled:
    """What was chosen, and until when it can be cancelled. Raises Unfit (field "begin").

    Nothing is chosen beforehand and nothing is taken for granted, in either direction.
    """
    if begin not in tuple(Begin):
        raise Unfit("begin", say("Please choose when we may begin. Nothing was agreed yet."))
    return Settled(told, Begin(begin), until)


def last_day(agreed_on: date, days: int, is_holiday: Callable[[date], bool] | None = None) -> date:
    """The last day on which it can be cancelled: the day of the agreement, in the shop's zone, does not count.

    With `is_holiday` the time runs on to a working day; without, its days are just counted.
    """
    last = agreed_on + timedelta(days=days)
    return working_day_from(last, is_holiday) if is_holiday else last


def must_be_as_shown(told: Told, mark: str) -> None:
    """Raises Refused where the words were changed since a form showed them."""
    if mark != told.mark:
        raise Refused(
            say("What we say of your right to cancel was changed while you were reading. Please look at it again.")
        )


def must_wait(until: date | None, begin_early: bool | None, today: date) -> bool:
    """Whether the work may not begin yet: it can still be cancelled, and nobody asked to begin before."""
    return until is not None and not begin_early and today <= until


def must_not_wait(until: date | None, begin_early: bool | None, today: date) -> None:
    """Raises Refused where the work may not begin yet."""
    if must_wait(until, begin_early, today):
        raise Refused(
            say(
                "This was agreed at a distance and can be cancelled until {until}. The customer did not ask you to "
                "begin before that; begin on the day after.",
                until=until,
            )
        )
