"""What a form of somebody's choices shows and says: the customer's own, and the bench's for whoever asks by phone."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

from flask import request
from werkzeug.datastructures import MultiDict

from notifications.channels.push import PushChannel
from portal.actions import choices, tell
from portal.actions.choices import Chosen
from portal.rules.messages import CHANNEL_WORDS, WANTS_WORDS, Channel, Wants
from portal.rules.sentences import Sentence
from portal.store.visits import Contact, Visit
from portal.web.forms import typed
from portal.web.request_context import installation, policy

AMOUNTS: Sequence[tuple[Wants, Sentence]] = [(wants, WANTS_WORDS[wants]) for wants in Wants]


class Way(NamedTuple):
    """A way to reach somebody: in words, and where it leads ("" where there is no address to show)."""

    channel: Channel
    says: Sentence
    to: str


def installed() -> Sequence[str]:
    """The channels that the shop has."""
    return list(installation().post_office.channels)


def push_channel() -> PushChannel | None:
    """The way notices on devices go, where this shop has set it up."""
    found = installation().post_office.channels.get("push")
    return found if isinstance(found, PushChannel) and found.works else None


def ways(contact: Contact) -> list[Way]:
    """The ways in which a contact can be reached."""
    return [Way(way, CHANNEL_WORDS[way], _to(contact, way)) for way in choices.open_ways(contact, installed())]


def chosen_now(visit: Visit, contact: Contact) -> MultiDict[str, str]:
    """What the form begins with: what is chosen now."""
    chosen = contact.channels if contact.channels is not None else policy().messages.channels
    open_now = [str(way) for way in chosen if way in installed() and tell.address(contact, way)]
    now = MultiDict([("wants", contact.wants), ("language", visit.language), *(("way", way) for way in open_now)])
    if contact.no_reminders:
        now["no_reminders"] = "on"
    return now


def places(chosen: Sequence[str], count: int) -> list[str]:
    """What stands in each of so many places, the first first."""
    return [*chosen, *[""] * count][:count]


def typed_choices() -> Chosen:
    """The posted form."""
    return Chosen(typed("wants"), request.form.getlist("way"), bool(typed("no_reminders")), typed("language"))


def _to(contact: Contact, way: Channel) -> str:
    return "" if way is Channel.PUSH else tell.address(contact, way)
