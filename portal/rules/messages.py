"""What kinds of message there are: which may come at night, which are only news, which one may stop by a click."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum

from portal.rules.refusals import Unfit
from portal.rules.sentences import Sentence, say


class Channel(StrEnum):
    """A way to reach a customer, as the policy and the customers name it."""

    MAIL = "mail"
    SMS = "sms"
    RING = "ring"  # somebody of the shop rings
    PUSH = "push"  # a notice on a device of theirs


CHANNEL_WORDS: Mapping[Channel, Sentence] = {
    Channel.MAIL: say("by e-mail"),
    Channel.SMS: say("by text message"),
    Channel.RING: say("by a call"),
    Channel.PUSH: say("by a notice on a device"),
}
NO_REPLIES = say("Replies are not read.")  # to a text message: no gateway brings any
POST = "post"  # what no messenger carries


def channel_words(channel: str) -> Sentence:
    """How a message went, or would have gone, to people; a way that this program does not know by its name."""
    words = {str(known): says for known, says in CHANNEL_WORDS.items()} | {POST: say("by recorded post")}
    return words.get(channel) or say("by “{channel}”", channel=channel)


class Wants(StrEnum):
    """How much a customer wants to hear."""

    ALL = "all"
    FEW = "few"
    NONE = "none"


WANTS_WORDS: Mapping[Wants, Sentence] = {
    Wants.ALL: say("everything"),
    Wants.FEW: say("only questions, and that it is ready"),
    Wants.NONE: say("nothing"),
}


class Pushed(StrEnum):
    """What a notice on a device is to a message: nobody knows whether anybody saw it."""

    ENOUGH = "enough"
    NOT_ENOUGH = "not enough"  # the next channel is asked as well
    NEVER = "never"  # it proves who somebody is, or goes with a paper


@dataclass(frozen=True)
class MessageKind:
    """What an event's message is to the customer.

    `urgent`: goes out at any hour, since it was asked for or somebody must act. `news`: left out for those who want to
    hear only when something is asked of them or their device is ready. `worth_a_call`: told by telephone too.
    `reminder`: repeats what was told, and can be stopped alone. `pushed`: what a notice on a device is to it, and
    `topic` which earlier notices about the same a later one takes the place of ("" for none).
    """

    urgent: bool = False
    news: bool = False
    worth_a_call: bool = False
    reminder: bool = False
    pushed: Pushed = Pushed.ENOUGH
    topic: str = ""


KINDS: Mapping[str, MessageKind] = {
    "taken_in": MessageKind(pushed=Pushed.NEVER),
    "stage_reached": MessageKind(news=True, topic="news"),
    "window_moved": MessageKind(news=True, worth_a_call=True),
    "ready": MessageKind(worth_a_call=True, pushed=Pushed.NOT_ENOUGH, topic="ready"),
    "ready_undone": MessageKind(worth_a_call=True, pushed=Pushed.NOT_ENOUGH, topic="ready"),  # else they come in vain
    "uncollected": MessageKind(worth_a_call=True, reminder=True, pushed=Pushed.NOT_ENOUGH, topic="ready"),
    "question_put": MessageKind(worth_a_call=True, pushed=Pushed.NOT_ENOUGH, topic="question"),
    "question_reminder": MessageKind(worth_a_call=True, reminder=True, pushed=Pushed.NOT_ENOUGH, topic="question"),
    # "If that was not you, ring us at once."
    "question_answered": MessageKind(urgent=True, pushed=Pushed.NOT_ENOUGH, topic="question"),
    "cancelled": MessageKind(urgent=True, pushed=Pushed.NOT_ENOUGH, topic="question"),  # the same
    "question_lapsed": MessageKind(topic="question"),
    "question_withdrawn": MessageKind(topic="question"),
    "price_agreed": MessageKind(urgent=True, pushed=Pushed.NOT_ENOUGH),
    "question_code": MessageKind(urgent=True, pushed=Pushed.NEVER),  # somebody waits for it
    "own_data_code": MessageKind(urgent=True, pushed=Pushed.NEVER),  # the same
    "request_told": MessageKind(pushed=Pushed.NOT_ENOUGH),
    "noted": MessageKind(news=True, topic="news"),
    "answered": MessageKind(),  # they asked
    "ended": MessageKind(urgent=True),  # "if that was not you, ring us at once"
    # The same, and nobody showed the code.
    "handed_over_without_code": MessageKind(urgent=True, worth_a_call=True, pushed=Pushed.NOT_ENOUGH),
    "reopened": MessageKind(urgent=True),
    "posted": MessageKind(),
    "complaint_answered": MessageKind(worth_a_call=True),  # they wait for it
    "fault_compared": MessageKind(worth_a_call=True),  # they may object
    "parcel_came_back": MessageKind(worth_a_call=True, pushed=Pushed.NOT_ENOUGH),
    "link_again": MessageKind(urgent=True, pushed=Pushed.NEVER),  # somebody waits for it
}
# What a call is about, as the bench reads it on its list; what to say stands on the card of the call.
RING_ABOUT: Mapping[str, Sentence] = {
    "window_moved": say("It takes longer."),
    "ready": say("It is ready."),
    "ready_undone": say("It is not ready after all."),
    "uncollected": say("It is ready and was not collected."),
    "question_put": say("A question about money waits for an answer."),
    "question_reminder": say("A question about money still waits for an answer."),
    "handed_over_without_code": say("It was handed over without the collection code."),
    "complaint_answered": say("Their complaint has an answer."),
    "fault_compared": say("Whether it is the same fault was looked at."),
    "parcel_came_back": say("The parcel came back."),
}
OF_WHAT_IS_READY = ("ready", "uncollected", "parcel_came_back")  # not true of a device in any other stage
OF_WHAT_IS_GONE = ("handed_over_without_code", "complaint_answered")  # all others are of a device that is here
# A link or a code is sent to whoever asked for it; that somebody took the device without a code is the owner's to know.
# What a person asked about their data is answered whatever else they want to hear.
# Whoever cancels on their page has the acknowledgement that the law wants (Directive 2011/83/EU Art. 11a, from memory).
HEARD_ALL_THE_SAME = (
    *("link_again", "question_code", "handed_over_without_code", "own_data_code", "request_told"),
    "cancelled",
)
_PLAIN = MessageKind()


def kind_of(event: str) -> MessageKind:
    """What the message of an event is; one that is not named here waits at night and reaches everybody."""
    return KINDS.get(event, _PLAIN)


def wanted(typed: str) -> Wants:
    """How much is wanted, as typed. Raises Unfit."""
    if typed not in list(Wants):
        raise Unfit("wants", say("Choose how much you want to hear."))
    return Wants(typed)


def in_order(typed: Sequence[str], allowed: Collection[str]) -> list[str]:
    """The channels as chosen one after the other, each once; places left empty do not count. Raises Unfit."""
    chosen = list(dict.fromkeys(way for way in typed if way))
    if not chosen or not set(chosen) <= set(allowed):
        raise Unfit("way", say("Choose at least one way in which we reach you, or that you want to hear nothing."))
    return chosen


def with_push(order: Sequence[str]) -> list[str]:
    """The channels with notices on a device before all others."""
    return [Channel.PUSH.value, *(str(way) for way in order if way != Channel.PUSH)]


def without_push(order: Sequence[str] | None) -> list[str] | None:
    """The channels without notices; None, which is the shop's own order, where nothing else was chosen."""
    return [way for way in order or () if way != Channel.PUSH] or None
