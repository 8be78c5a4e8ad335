"""A breach of personal data: what must be told to whom, and until when (GDPR Art. 33 and 34). Not legal advice."""

from __future__ import annotations

from datetime import datetime

from portal.rules.deadlines import notice_of_breach_due
from portal.rules.refusals import Unfit
from portal.rules.sentences import say


def check_times(aware_at: datetime, told_at: datetime | None, people_told_at: datetime | None, now: datetime) -> None:
    """Nobody was aware, or told, in the future, nor told before anybody was aware. Raises Unfit."""
    if aware_at > now:
        raise Unfit("aware_at", say("That time is still to come."))
    for field, at in (("told_at", told_at), ("people_told_at", people_told_at)):
        if at is not None and not aware_at <= at <= now:
            raise Unfit(field, say("That time lies before you knew of it, or is still to come."))


def check_reason(aware_at: datetime, told_at: datetime | None, late_because: str) -> None:
    """Who tells the authority after 72 hours says why (Art. 33(1), second sentence). Raises Unfit."""
    if told_at is not None and told_at > notice_of_breach_due(aware_at) and not late_because:
        raise Unfit("late_because", say("The authority was told after 72 hours: please write down why."))
