"""An open line to the push services, for a batch of notices."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import TYPE_CHECKING, Protocol

from notifications.channels import Hopeless, LineBroke, TryLater, Undelivered
from notifications.channels.push import asking
from notifications.channels.push.hosts import Hosts, origin
from notifications.channels.push.sealing import Device, Unreadable, authorization, seal
from notifications.letters import Letter

if TYPE_CHECKING:
    from cryptography.hazmat.primitives.asymmetric.ec import EllipticCurvePrivateKey

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


@dataclass
class PushLine:
    """Pushes notices, each a request of its own.

    A push service that gave no answer is let be until the next batch: whatever else is due would wait for it.
    """

    devices: Devices
    hosts: Hosts
    key: EllipticCurvePrivateKey
    contact: str
    silent: set[str] = field(default_factory=set)  # origins

    def send(self, letter: Letter, _message_id: str, now: datetime) -> None:
        """Push to every device of the recipient; taken for one, it has gone out."""
        taken = False
        faults: list[Undelivered] = []
        for device in self.devices.of(letter.to):
            try:
                self._push(device, letter, now)
                taken = True
            except _Gone as fault:
                self.devices.forget(letter.to, device.endpoint)
                faults.append(fault)
            except Undelivered as fault:
                faults.append(fault)
        if not taken:
            raise _worst(faults)

    def _push(self, device: Device, letter: Letter, now: datetime) -> None:
        if not self.hosts.allow(device.endpoint):
            raise Hopeless("the device’s push service is not on the list of those allowed")
        if origin(device.endpoint) in self.silent:
            raise TryLater("the push service gave no answer a moment ago")
        try:
            body = seal(letter.text.encode(), device)
        except Unreadable:
            raise _Gone("the device’s keys cannot be read") from None
        try:
            addresses = self.hosts.reach(device.endpoint)
        except OSError:
            raise TryLater("the push service’s name is not known") from None
        if not addresses:
            raise Hopeless("the push service’s name leads to an address that is not allowed")
        headers = {
            "Authorization": authorization(self.key, origin(device.endpoint), self.contact, now),
            "Content-Encoding": "aes128gcm",
            "Content-Type": "application/octet-stream",
            **letter.headers,
        }
        try:
            answered = asking.post(device.endpoint, addresses, headers, body, now)
        except Undelivered:
            self.silent.add(origin(device.endpoint))
            raise
        _judge(answered)


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
