"""What kinds of message there are: which may come at night, which are only news, which one may stop by a click."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum


class Channel(StrEnum):
    """A way to reach a customer, as the policy and the customers name it."""

    MAIL = "mail"
    SMS = "sms"
    RING = "ring"  # somebody of the shop rings


@dataclass(frozen=True)
class MessageKind:
    """What an event's message is to the customer.

    `urgent`: goes out at any hour, since it was asked for or somebody must act. `news`: left out for those who want to
    hear only when something is asked of them or their device is ready. `worth_a_call`: told by telephone too.
    `reminder`: repeats what was told, and can be stopped alone.
    """

    urgent: bool = False
    news: bool = False
    worth_a_call: bool = False
    reminder: bool = False


KINDS: Mapping[str, MessageKind] = {
    "taken_in": MessageKind(),
    "stage_reached": MessageKind(news=True),
    "ready": MessageKind(worth_a_call=True),  # the last stage reached
    "uncollected": MessageKind(worth_a_call=True, reminder=True),
    "question_put": MessageKind(worth_a_call=True),
    "question_reminder": MessageKind(worth_a_call=True, reminder=True),
    "question_answered": MessageKind(urgent=True),  # "if that was not you, ring us at once"
    "question_lapsed": MessageKind(),
    "question_withdrawn": MessageKind(),
    "question_code": MessageKind(urgent=True),  # somebody waits for it
    "noted": MessageKind(news=True),
    "ended": MessageKind(urgent=True),  # "if that was not you, ring us at once"
    "link_again": MessageKind(urgent=True),  # somebody waits for it
}
_PLAIN = MessageKind()


def kind_of(event: str) -> MessageKind:
    """What the message of an event is; one that is not named here waits at night and reaches everybody."""
    return KINDS.get(event, _PLAIN)
