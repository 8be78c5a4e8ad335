"""Web push: a notice on a customer's own device, by the push service of its browser (RFC 8030).

Whoever has several devices gets it on each. That a push service took a notice does not say that anybody saw it.
"""

from __future__ import annotations

import importlib.util
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import datetime, timedelta
from functools import cached_property
from typing import TYPE_CHECKING

from notifications.channels import ChannelDown, Line, TryLater
from notifications.channels.push.hosts import Hosts
from notifications.channels.push.line import Devices, PushLine
from notifications.channels.push.sealing import Device, Unreadable, check_keys, private_key, public_text
from notifications.letters import Letter

if TYPE_CHECKING:
    from cryptography.hazmat.primitives.asymmetric.ec import EllipticCurvePrivateKey

NO_EXTRA = "the extra “push” is not installed: pip install 'benchwindow[push]'"


class PushChannel:
    """Pushes notices. One that fails for now is tried three times within half an hour.

    A letter's text is the payload, its headers are the request's. `seed` is 64 secret bytes that the shop's key is made
    from; `contact` is whom push services may write to, a mailto: or https: address.
    """

    most_attempts = 3
    repeats = 1  # a notice shown again takes the place of the first
    doubt_moves_on = True
    first_retry = timedelta(minutes=5)

    def __init__(self, devices: Devices, hosts: Hosts, seed: bytes, contact: str) -> None:
        self._devices, self._hosts, self._seed, self._contact = devices, hosts, seed, contact

    @property
    def works(self) -> bool:
        """Whether what it needs is installed."""
        return all(importlib.util.find_spec(name) for name in ("http_ece", "py_vapid"))

    @cached_property
    def public_key(self) -> str:
        """What a browser must know to listen to this shop, base64url."""
        return public_text(self._key)

    def takes(self, device: Device) -> bool:
        """Whether a device can be written to at all: its push service is on the list, its keys are keys."""
        try:
            check_keys(device)
        except Unreadable:
            return False
        return self._hosts.allow(device.endpoint)

    @contextmanager
    def line(self) -> Iterator[Line]:
        """Open a line. Nothing is connected before the first notice."""
        yield PushLine(self._devices, self._hosts, self._key, self._contact) if self.works else _Lacking()

    def check(self) -> None:
        """Whether what it needs is installed. Raises ChannelDown. Nothing is sent, so no push service is asked."""
        if not self.works:
            raise ChannelDown(NO_EXTRA)

    def describe(self) -> str:
        """By which push services notices may go."""
        return "go out by " + ", ".join([*self._hosts.names, *self._hosts.here])

    @cached_property
    def _key(self) -> EllipticCurvePrivateKey:
        return private_key(self._seed)


class _Lacking:
    """The line where what it needs is not installed."""

    def send(self, _letter: Letter, _message_id: str, _now: datetime) -> None:
        """Nothing can be sent."""
        raise TryLater(NO_EXTRA)
