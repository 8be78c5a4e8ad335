"""The devices on which contacts listen. That there are any stands in the contact's own row: no page must ask here."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlalchemy import Connection, bindparam, delete, insert, select, update

from notifications.channels.push.sealing import Device
from portal.store.push_tables import push_devices
from portal.store.tables import contacts


@dataclass(frozen=True)
class Listening:
    """A device that listens: its public id, since when, and how it is written to."""

    ref: str
    since: datetime
    device: Device


_CONTACT = bindparam("contact", type_=push_devices.c.contact_id.type)
_DEVICES = select(
    push_devices.c.ref,
    push_devices.c.since,
    push_devices.c.endpoint,
    push_devices.c.key,
    push_devices.c.secret,
).order_by(push_devices.c.id)
_OF_CONTACT = _DEVICES.where(push_devices.c.contact_id == _CONTACT)
_OF_REF = _DEVICES.join(contacts).where(contacts.c.ref == bindparam("contact_ref"))
_ALL = delete(push_devices).where(push_devices.c.contact_id == _CONTACT)
_ONE = _ALL.where(push_devices.c.ref == bindparam("wanted"))
_AT = _ALL.where(push_devices.c.endpoint == bindparam("wanted"))
_LISTENERS = select(push_devices.c.contact_id).where(push_devices.c.endpoint == bindparam("old"))
_MOVE = (
    update(push_devices)
    .where(push_devices.c.endpoint == bindparam("old"))
    .values(endpoint=bindparam("new"), key=bindparam("new_key"), secret=bindparam("new_secret"))
)
_OF_VISIT = select(contacts.c.id).where(contacts.c.visit_id == bindparam("visit"))
_FORGET = delete(push_devices).where(push_devices.c.contact_id.in_(_OF_VISIT))
_SILENT = update(contacts).where(contacts.c.visit_id == bindparam("visit"), contacts.c.has_push).values(has_push=False)
_HAS = update(contacts).where(contacts.c.id == _CONTACT).values(has_push=bindparam("has"))


def of_contact(connection: Connection, contact_id: int) -> list[Listening]:
    """The devices on which a contact listens, the longest listening first."""
    return _listening(connection.execute(_OF_CONTACT, {"contact": contact_id}))


def of(connection: Connection, contact_ref: str) -> Sequence[Device]:
    """The same by the contact's public id, as they are written to; none for a contact no longer on file."""
    return [each.device for each in _listening(connection.execute(_OF_REF, {"contact_ref": contact_ref}))]


def keep(connection: Connection, contact_id: int, ref: str, device: Device, now: datetime) -> None:
    """Keep a device, in place of what was known of it before."""
    connection.execute(_AT, {"contact": contact_id, "wanted": device.endpoint})
    values = {"ref": ref, "contact_id": contact_id, "endpoint": device.endpoint, "since": now}
    connection.execute(insert(push_devices), values | {"key": device.key, "secret": device.secret})
    connection.execute(_HAS, {"contact": contact_id, "has": True})


def is_known(connection: Connection, endpoint: str) -> bool:
    """Whether a device listens at this endpoint."""
    return connection.execute(_LISTENERS.limit(1), {"old": endpoint}).first() is not None


def move(connection: Connection, old: str, device: Device) -> None:
    """What listened at the `old` endpoint listens as this device now, for every contact that let it."""
    for contact_id in connection.execute(_LISTENERS, {"old": old}).scalars().all():
        connection.execute(_AT, {"contact": contact_id, "wanted": device.endpoint})
    values = {"old": old, "new": device.endpoint, "new_key": device.key, "new_secret": device.secret}
    connection.execute(_MOVE, values)


def drop(connection: Connection, contact_id: int, *, ref: str = "", endpoint: str = "") -> bool:
    """Forget the device with this public id, or at this endpoint. Tells whether the contact has another."""
    which, wanted = (_ONE, ref) if ref else (_AT, endpoint)
    connection.execute(which, {"contact": contact_id, "wanted": wanted})
    left = bool(of_contact(connection, contact_id))
    connection.execute(_HAS, {"contact": contact_id, "has": left})
    return left


def drop_all(connection: Connection, contact_id: int) -> None:
    """Forget every device of a contact."""
    connection.execute(_ALL, {"contact": contact_id})
    connection.execute(_HAS, {"contact": contact_id, "has": False})


def forget(connection: Connection, visit_id: int) -> None:
    """Erase every device of a visit's contacts."""
    connection.execute(_FORGET, {"visit": visit_id})
    connection.execute(_SILENT, {"visit": visit_id})


def _listening(rows: Iterable[Any]) -> list[Listening]:
    return [Listening(ref, since, Device(endpoint, key, secret)) for ref, since, endpoint, key, secret in rows]
