"""Gateways for text messages, by Apprise's addresses: one a provider, the number filled in where it says `{to}`.

A text costs money and is handed over once: where nobody knows whether a gateway took it, it is not repeated. Several
gateways are asked in order, the next one only where the one before surely did not take it.
"""

from __future__ import annotations

import importlib.util
import re
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from datetime import datetime, timedelta

from notifications.channels import ChannelDown, Hopeless, LineBroke, TryLater, Undelivered
from notifications.channels.gateway import provider
from notifications.letters import Letter

TO = "{to}"
_DIGITS = re.compile(r"\+([1-9]\d{5,14})")  # E.164: at most 15 digits
NO_EXTRA = "the extra “gateways” is not installed: pip install 'benchwindow[gateways]'"


def channel(urls: str) -> GatewayChannel:
    """The channel for a setting: Apprise's addresses with spaces between, each with `{to}` in it.

    Raises ValueError for one without. What an address means is looked at when a text is sent, and by `check`.
    """
    found = urls.split()
    for place, url in enumerate(found, 1):
        if TO not in url or "://" not in url:
            raise ValueError(f"addresses with {TO} where the number goes, spaces between them (look at number {place})")
    return GatewayChannel(found)


class GatewayChannel:
    """Sends texts by gateways. A text that fails is tried three times within half an hour."""

    most_attempts = 3
    repeats = 0
    doubt_moves_on = False
    first_retry = timedelta(minutes=5)

    def __init__(self, urls: Sequence[str]) -> None:
        self._urls = urls

    @contextmanager
    def line(self) -> Iterator[GatewayChannel]:
        """Each text is a request of its own."""
        yield self

    def send(self, letter: Letter, _message_id: str, _now: datetime) -> None:
        """Hand one text over to the first gateway that takes it."""
        number = _DIGITS.fullmatch(letter.to)
        if number is None:
            raise Hopeless("the number is not one with its country")
        if not _installed():
            raise TryLater(NO_EXTRA)
        refusals: list[Undelivered] = []
        for url in self._urls:
            try:
                return provider.send(url.replace(TO, number[1]), letter.text)
            except LineBroke:
                raise
            except Undelivered as refusal:
                refusals.append(refusal)
        raise next((refusal for refusal in refusals if isinstance(refusal, TryLater)), refusals[-1])

    def check(self) -> None:
        """Whether the addresses can be read. Raises ChannelDown. Nothing is sent, so no gateway is asked."""
        if not _installed():
            raise ChannelDown(NO_EXTRA)
        for place, url in enumerate(self._urls, 1):
            if not provider.can_read(url.replace(TO, "447700900123")):
                raise ChannelDown(f"address {place} of the gateways cannot be read")

    def describe(self) -> str:
        """By which kinds of gateway texts go out."""
        return "go out by " + ", then ".join(url.partition("://")[0] for url in self._urls)


def _installed() -> bool:
    return importlib.util.find_spec("apprise") is not None
