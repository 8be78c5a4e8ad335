"""What `compose` answers, and what it is asked: the seam between this package and whoever knows what messages mean."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any


@dataclass(frozen=True)
class Due:
    """A message that is due, as compose sees it; of several gathered ones the first, with the facts of all."""

    id: int
    event: str
    cause: str
    recipient: str
    reference: str
    facts: tuple[Mapping[str, Any], ...]
    made_at: datetime
    message_id: str
    expires_at: datetime | None = None  # when it is of no use any more


@dataclass(frozen=True)
class Attachment:
    """A file that goes with a letter."""

    name: str
    media_type: str
    content: bytes = field(repr=False)


@dataclass(frozen=True)
class Letter:
    """A message rendered for one recipient on one channel. Never stored, never logged."""

    to: str = field(repr=False)
    subject: str = field(repr=False)
    text: str = field(repr=False)
    html: str = field(default="", repr=False)
    sender: str = field(default="", repr=False)  # how the shop signs: a name and an address
    reply_to: str = field(default="", repr=False)
    language: str = "en"
    attachments: tuple[Attachment, ...] = ()
    headers: Mapping[str, str] = field(default_factory=dict, repr=False)
    wording: int | None = None  # which words of its author's it is said in; None for the usual ones
    due: Due | None = None  # what it is about, for a channel that only notes it down
    needs_more: bool = False  # taken by this channel, it is not surely with its recipient: the next is asked as well


@dataclass(frozen=True)
class Later:
    """Not now: ask again at `until`."""

    until: datetime


@dataclass(frozen=True)
class Unreachable:
    """Not by this channel: the recipient has no address for it, or none any more. The next channel is asked."""

    why: str


@dataclass(frozen=True)
class Withdrawn:
    """Not any more: what the message says is no longer true, or nobody is there to be told."""

    why: str


Composed = Letter | Later | Unreachable | Withdrawn
Compose = Callable[[Due, str, datetime], Composed]  # (what is due, the channel's name, now)
