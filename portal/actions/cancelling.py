"""What a customer is told of their right to cancel, and what they asked: where a price is agreed at a distance."""

from __future__ import annotations

from datetime import date, datetime

from sqlalchemy import Connection

from portal.language import language
from portal.rules.cancellation import TO_WORKING_DAY, Settled, Told, last_day, must_be_as_shown, settle
from portal.rules.days import local_day
from portal.rules.hours import holiday_on
from portal.rules.policy import Policy
from portal.store import announcements


def came_unmet(connection: Connection, ticket_id: int) -> bool:
    """Whether a device was announced and came by post: its customer was never in the shop for it."""
    return announcements.of_ticket(connection, ticket_id) is not None


def told(policy: Policy, tag: str, *, at_distance: bool) -> Told | None:
    """What is told of the right to cancel, in a language; None where the policy has none, or they were met."""
    if policy.cancellation is None or not at_distance:
        return None
    speaking, rules = language(tag, policy.shop.zone), policy.cancellation
    right = speaking.words(rules.right)
    if rules.to_working_day:
        right = f"{right.rstrip()}\n\n{speaking.say(TO_WORKING_DAY)}"
    return Told(rules.days, right, speaking.words(rules.request))


def settled(
    words: Told | None, begin: str, agreed_at: datetime, policy: Policy, *, mark: str | None = None
) -> Settled | None:
    """What goes with an agreement for which `words` are told; None where none are.

    `mark` names the words that a form showed; None where staff read them out. Raises Unfit (field "begin"), Refused.
    """
    if words is None:
        return None
    if mark is not None:
        must_be_as_shown(words, mark)
    return settle(words, begin, _last_day(words, local_day(agreed_at, policy), policy))


def _last_day(words: Told, agreed_on: date, policy: Policy) -> date:
    if policy.cancellation and policy.cancellation.to_working_day:
        return last_day(agreed_on, words.days, lambda day: bool(holiday_on(day, policy.hours)))
    return last_day(agreed_on, words.days)
