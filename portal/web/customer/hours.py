"""The shop's hours on the customer's page. They hold for a whole day, so a page need not change with the hour."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from zoneinfo import ZoneInfo

from portal.language import Language
from portal.rules.hours import closed_on, coming_closures, holiday_on, next_working_day, open_spans
from portal.rules.policy import Closed, Policy
from portal.rules.sentences import Sentence, say


@dataclass(frozen=True)
class OpeningHours:
    """Today's hours, the next day with any, and the times closed that a customer should know of."""

    today: str
    next: str  # empty where the shop does not open again
    banners: Sequence[str]


def opening_hours(policy: Policy, today: date, language: Language) -> OpeningHours:
    """The hours as the page shows them."""
    following = next_working_day(today + timedelta(days=1), policy)
    return OpeningHours(
        today=language.say(_today(policy, today, language)),
        next=language.say(_next(policy, following, language)) if following else "",
        banners=[language.say(_banner(closed, language)) for closed in coming_closures(today, policy.hours)],
    )


def _next(policy: Policy, day: date, language: Language) -> Sentence:
    return say("Open again {day}, {spans}.", day=language.day(day), spans=_spans(policy, day, language))


def _today(policy: Policy, today: date, language: Language) -> Sentence:
    if closed := closed_on(today, policy.hours):
        return say("Closed today. {note}", note=closed.note)
    if holiday := holiday_on(today, policy.hours):
        return say("Closed today: {holiday}.", holiday=holiday)
    spans = _spans(policy, today, language)
    return say("Open today {spans}.", spans=spans) if spans else say("Closed today.")


def _spans(policy: Policy, day: date, language: Language) -> str:
    zone = ZoneInfo(policy.shop.zone)
    return ", ".join(
        f"{language.hour(span.opens.astimezone(zone).time())}–{language.hour(span.closes.astimezone(zone).time())}"
        for span in open_spans(day, policy.hours, zone)
    )


def _banner(closed: Closed, language: Language) -> Sentence:
    first, last = language.day(closed.first), language.day(closed.last)
    if closed.first == closed.last:
        return say("We are closed on {day}. {note}", day=first, note=closed.note)
    return say("We are closed from {first} to {last}. {note}", first=first, last=last, note=closed.note)
