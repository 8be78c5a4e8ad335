"""Days: which one it is where the shop is, and one as it was typed."""

from __future__ import annotations

from datetime import date, datetime
from zoneinfo import ZoneInfo

from portal.rules.policy import Policy
from portal.rules.refusals import Unfit
from portal.rules.sentences import say


def local_day(at: datetime, policy: Policy) -> date:
    """The day of a moment by the shop's clock on the wall."""
    return at.astimezone(ZoneInfo(policy.shop.zone)).date()


def read_day(field: str, typed: str) -> date:
    """A day as a date field sends it. Raises Unfit."""
    text = typed.strip()
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise Unfit(field, say("“{typed}” is not a date. Write it like 2026-12-08.", typed=text[:40])) from None
