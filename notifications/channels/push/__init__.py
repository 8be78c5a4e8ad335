"""Web push: a notice on a customer's own device, by the push service of its browser (RFC 8030).

Whoever has several devices gets it on each. That a push service took a notice does not say that anybody saw it.
"""

from __future__ import annotations

import importlib.util
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from datetime import datetime, timedelta
from functools import cached_property
from typing import TYPE_CHECKING, Protocol

from notifications.channels import ChannelDown, Hopeless, LineBroke, TryLater, Undelivered
from notifications.channels.push import asking
from notifications.channels.push.hosts import Hosts, origin
from notifications.channels.push.sealing import (
    Device,
    Unreadable,
    authorization,
    check_keys,
    private_key,
    public_text,
    seal,
)
from notifications.letters import Letter

if TYPE_CHECKING:
    from cryptography.hazmat.primitives.asymmetric.ec import EllipticCurvePrivateKey

NO_EXTRA = "the extra “push” is not installed: pip install 'benchwindow[push]'"
_GONE = (404, 410)  # RFC 8030 section 7.3 says 404; push services say 410 as well
_LATER = (408, 425, 429)


class Devices(Protocol):
    """Whoever knows the devices on which a recipient listens."""

    def of(self, recipient: str) -> Sequence[Device]:
        """The devices of a recipient."""

    def forget(self, recipient: str, endpoint: str) -> None:
        """A device listens no more."""


class _Gone(Hopeless):
    """The device listens no more."""


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
    def line(self) -> Iterator[PushChannel]:
        """Each notice is a request of its own."""
        yield self

    def send(self, letter: Letter, _message_id: str, now: datetime) -> None:
        """Push to every device of the recipient; taken for one, it has gone out."""
        if not self.works:
            raise TryLater(NO_EXTRA)
        taken = False
        faults: list[Undelivered] = []
        for device in self._devices.of(letter.to):
            try:
                self._push(device, letter, now)
                taken = True
            except _Gone as fault:
                self._devices.forget(letter.to, device.endpoint)
                faults.append(fault)
            except Undelivered as fault:
                faults.append(fault)
        if not taken:
            raise _worst(faults)

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

    def _push(self, device: Device, letter: Letter, now: datetime) -> None:
        if not self._hosts.allow(device.endpoint):
            raise Hopeless("the device’s push service is not on the list of those allowed")
        try:
            body = seal(letter.text.encode(), device)
        except Unreadable:
            raise _Gone("the device’s keys cannot be read") from None
        try:
            addresses = self._hosts.reach(device.endpoint)
        except OSError:
            raise TryLater("the push service’s name is not known") from None
        if not addresses:
            raise Hopeless("the push service’s name leads to an address that is not allowed")
        headers = {
            "Authorization": authorization(self._key, origin(device.endpoint), self._contact, now),
            "Content-Encoding": "aes128gcm",
            "Content-Type": "application/octet-stream",
            **letter.headers,
        }
        _judge(asking.post(device.endpoint, addresses, headers, body, now))


def _judge(answered: asking.Answered) -> None:
    """What a push service's answer means. Only the status is read: its words could say whose device it is."""
    says = f"the push service answered {answered.status}"
    if 200 <= answered.status < 300:
        return
    if answered.status in _GONE:
        raise _Gone(f"{says}: the device listens no more")
    if answered.status in _LATER or answered.status >= 500:
        raise TryLater(says, answered.wait)
    raise Hopeless(says)


def _worst(faults: Sequence[Undelivered]) -> Undelivered:
    """What a notice that no device got means: one that may have arrived comes before one that may be tried again."""
    for kind in (LineBroke, TryLater):
        found = next((fault for fault in faults if isinstance(fault, kind)), None)
        if found:
            return found
    return faults[-1] if faults else Hopeless("no device listens any more")
