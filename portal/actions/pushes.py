"""Devices that listen: a customer lets a browser show notices, and stops that again."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from typing import Protocol

from sqlalchemy import Connection

from notifications.channels.push.sealing import Device
from portal.actions.choices import change_contact
from portal.actions.desk import CUSTOMER, Desk, Outcome
from portal.rules.messages import with_push, without_push
from portal.rules.policy import Policy
from portal.rules.refusals import Refused, Unfit
from portal.rules.sentences import say
from portal.rules.stages import Event
from portal.rules.tokens import new_ref
from portal.store import pushes, visits
from portal.store.visits import Contact

MOST = 5  # devices of one contact


class Takes(Protocol):
    """Who knows which devices can be written to; the channel is one."""

    def takes(self, device: Device) -> bool:
        """Whether this one can."""


class Listeners:
    """The devices that the push channel asks for, by the contact's public id."""

    def __init__(self, desk: Desk) -> None:
        self._desk = desk

    def of(self, recipient: str) -> Sequence[Device]:
        """The devices of a contact."""
        with self._desk.reading() as connection:
            return pushes.of(connection, recipient)

    def forget(self, recipient: str, endpoint: str) -> None:
        """A device listens no more. Whoever chose nothing else is reached by the shop's own ways again."""
        with self._desk.writing() as connection:
            contact = visits.contact_by_ref(connection, recipient)
            if contact and not pushes.drop(connection, contact.id, endpoint=endpoint):
                visits.change_contact(connection, contact.id, {"channels": without_push(contact.channels)})


def listen(desk: Desk, contact_ref: str, device: Device, channel: Takes, *, deed_key: str | None = None) -> Outcome:
    """Let a device show notices, before every other way that the contact is reached by.

    Raises Unfit for a device that cannot be written to, Refused for one too many, NotFound for a contact not on file.
    """
    if not channel.takes(device):
        raise Unfit("push", say("This browser’s notices go by a service that this shop does not use."))

    def decide(connection: Connection, contact: Contact, policy: Policy) -> tuple[Event, dict[str, object]]:
        known = pushes.of_contact(connection, contact.id)
        if len(known) >= MOST and device.endpoint not in [each.device.endpoint for each in known]:
            raise Refused(
                say("Notices are shown on {count} devices already. Stop them on one of those first.", count=MOST)
            )
        order = contact.channels if contact.channels is not None else policy.messages.channels
        return Event("push_begun", {"contact": contact.role}), {"channels": with_push(order)}

    def keep(connection: Connection, contact: Contact, now: datetime) -> None:
        pushes.keep(connection, contact.id, new_ref(desk.chooser), device, now)

    return change_contact(desk, CUSTOMER, contact_ref, decide, keep, deed_key=deed_key)


def stop(desk: Desk, contact_ref: str, device_ref: str, *, deed_key: str | None = None) -> Outcome:
    """Show no more notices on one device. Raises Refused where it shows none, NotFound as above."""

    def decide(connection: Connection, contact: Contact, _policy: Policy) -> tuple[Event, dict[str, object]]:
        known = [each.ref for each in pushes.of_contact(connection, contact.id)]
        if device_ref not in known:
            raise Refused(say("This device shows no notices any more."))
        columns: dict[str, object] = {} if len(known) > 1 else {"channels": without_push(contact.channels)}
        return Event("push_stopped", {"contact": contact.role}), columns

    def drop(connection: Connection, contact: Contact, _now: datetime) -> None:
        pushes.drop(connection, contact.id, ref=device_ref)

    return change_contact(desk, CUSTOMER, contact_ref, decide, drop, deed_key=deed_key)


def move(desk: Desk, old: str, device: Device, channel: Takes) -> None:
    """A browser listens under another endpoint than before, by its own choice, and tells us the old one.

    Whoever knows an endpoint is the browser, or its push service. Tells nothing of whether it was known.
    """
    with desk.reading() as connection:
        if old == device.endpoint or not pushes.is_known(connection, old) or not channel.takes(device):
            return
    with desk.writing() as connection:
        pushes.move(connection, old, device)
