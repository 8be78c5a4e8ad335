"""Visits and the contacts they carry."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import Connection, bindparam, func, insert, select, update

from portal.store import keeping, pushes
from portal.store.tables import contacts, policies, visits


@dataclass(frozen=True)
class Visit:
    """One hand-in by one customer."""

    id: int
    ref: str
    docket_version: int
    language: str
    made_at: datetime
    revision: int
    link_ends_at: datetime | None  # None while a device is here
    restricted_at: datetime | None = None  # None while the data may be used


@dataclass(frozen=True)
class Contact:
    """Somebody who belongs to a visit. `role` is "owner" or "second"; `phone` is E.164 or ""."""

    id: int
    ref: str
    visit_id: int
    role: str
    name: str
    email: str
    phone: str
    phone_is_on_bench: bool
    may_be_told: bool
    may_agree: bool
    may_collect: bool
    link_version: int
    channels: Sequence[str] | None  # in the order they chose; None for the shop's
    wants: str  # "all", "few" (only what is asked, and that it is ready) or "none" of the messages
    no_reminders: bool
    has_push: bool  # a device of theirs shows notices

    @property
    def reachable(self) -> bool:
        """Whether there is an address to write to."""
        return bool(self.email or self.phone)

    @property
    def can_be_sent_a_link(self) -> bool:
        """Whether there is one that reaches them now: a phone that lies on the bench rings there."""
        return bool(self.email or (self.phone and not self.phone_is_on_bench))


_VISIT = (
    visits.c.id,
    visits.c.ref,
    visits.c.docket_version,
    visits.c.language,
    visits.c.made_at,
    visits.c.revision,
    visits.c.link_ends_at,
    visits.c.restricted_at,
)
_CONTACT = (
    contacts.c.id,
    contacts.c.ref,
    contacts.c.visit_id,
    contacts.c.role,
    contacts.c.name,
    contacts.c.email,
    contacts.c.phone,
    contacts.c.phone_is_on_bench,
    contacts.c.may_be_told,
    contacts.c.may_agree,
    contacts.c.may_collect,
    contacts.c.link_version,
    contacts.c.channels,
    contacts.c.wants,
    contacts.c.no_reminders,
    contacts.c.has_push,
)
_VISIT_BY_REF = select(*_VISIT).where(visits.c.ref == bindparam("ref"))
_VISIT_BY_ID = select(*_VISIT).where(visits.c.id == bindparam("visit_id"))
_CONTACT_BY_REF = select(*_CONTACT).where(contacts.c.ref == bindparam("ref"))
# A customer's page asks for these two first, and for the policy's newest revision in the same round trip.
_POLICY = select(func.max(policies.c.revision)).scalar_subquery()
# Of a docket also whether its owner can be sent no other link: as `Contact.can_be_sent_a_link` says it.
_OWNER = (contacts.c.visit_id == visits.c.id, contacts.c.role == "owner")
_UNREACHED = (contacts.c.email == "", (contacts.c.phone == "") | contacts.c.phone_is_on_bench)
_ALONE = select(contacts.c.id).where(*_OWNER, *_UNREACHED).exists()
_BEHIND_DOCKET = select(*_VISIT, _ALONE, _POLICY).where(visits.c.ref == bindparam("ref"))
_BEHIND_CONTACT = (
    select(*_VISIT, *_CONTACT, _POLICY)
    .join(contacts, contacts.c.visit_id == visits.c.id)
    .where(contacts.c.ref == bindparam("ref"))
)
_CONTACTS_OF = select(*_CONTACT).where(contacts.c.visit_id == bindparam("visit_id")).order_by(contacts.c.id)
_TOUCH = update(visits).where(visits.c.id == bindparam("visit_id")).values(revision=visits.c.revision + 1)
_RAISE = {
    "docket": update(visits)
    .where(visits.c.ref == bindparam("wanted"), visits.c.docket_version < bindparam("version"))
    .values(docket_version=bindparam("version")),
    "contact": update(contacts)
    .where(contacts.c.ref == bindparam("wanted"), contacts.c.link_version < bindparam("version"))
    .values(link_version=bindparam("version")),
}
_END_LINK = update(visits).where(visits.c.id == bindparam("visit_id")).values(link_ends_at=bindparam("ends_at"))
_RENEW_DOCKET = (
    update(visits)
    .where(visits.c.id == bindparam("visit_id"))
    .values(docket_version=visits.c.docket_version + 1, revision=visits.c.revision + 1)
)
_RESTRICT = update(visits).where(visits.c.id == bindparam("visit_id")).values(restricted_at=bindparam("at"))
_LANGUAGE = update(visits).where(visits.c.id == bindparam("visit_id")).values(language=bindparam("tag"))
_ONE_CONTACT = update(contacts).where(contacts.c.id == bindparam("contact_id"))
_RENEW_CONTACT = (
    update(contacts).where(contacts.c.id == bindparam("contact_id")).values(link_version=contacts.c.link_version + 1)
)


def by_ref(connection: Connection, ref: str) -> Visit | None:
    """The visit with this public id, or None."""
    row = connection.execute(_VISIT_BY_REF, {"ref": ref}).first()
    return Visit(*row) if row else None


def by_id(connection: Connection, visit_id: int) -> Visit:
    """The visit of a row that points to it."""
    return Visit(*connection.execute(_VISIT_BY_ID, {"visit_id": visit_id}).one())


def contact_by_ref(connection: Connection, ref: str) -> Contact | None:
    """The contact with this public id, or None."""
    row = connection.execute(_CONTACT_BY_REF, {"ref": ref}).first()
    return Contact(*tuple(row)) if row else None


def behind_docket(connection: Connection, ref: str) -> tuple[Visit, int, bool] | None:
    """The visit with this public id, the policy's newest revision (0 for none), whether its owner can be sent no link.

    In one round trip; None for no such visit.
    """
    row = connection.execute(_BEHIND_DOCKET, {"ref": ref}).first()
    return (Visit(*row[:-2]), row[-1] or 0, bool(row[-2])) if row else None


def behind_contact(connection: Connection, ref: str) -> tuple[Visit, Contact, int] | None:
    """The contact with this public id, their visit and the policy's newest revision, in one round trip, or None."""
    row = connection.execute(_BEHIND_CONTACT, {"ref": ref}).first()
    return (Visit(*row[: len(_VISIT)]), Contact(*row[len(_VISIT) : -1]), row[-1] or 0) if row else None


def contacts_of(connection: Connection, visit_id: int) -> list[Contact]:
    """A visit's contacts, the owner first."""
    return [Contact(*tuple(row)) for row in connection.execute(_CONTACTS_OF, {"visit_id": visit_id})]


def add(connection: Connection, values: dict[str, object]) -> int:
    """Insert a visit and tell its id."""
    key = connection.execute(insert(visits), values).inserted_primary_key
    return int(key[0]) if key else 0


def add_contact(connection: Connection, values: dict[str, object]) -> int:
    """Insert a contact and tell its id."""
    key = connection.execute(insert(contacts), values).inserted_primary_key
    return int(key[0]) if key else 0


def change_contact(connection: Connection, contact_id: int, values: dict[str, object]) -> None:
    """Write what is known of a contact anew; `values` are the columns by name."""
    connection.execute(_ONE_CONTACT.values(**values), {"contact_id": contact_id})


def write_in(connection: Connection, visit_id: int, language: str) -> None:
    """Write to a visit's contacts in this language from now on."""
    connection.execute(_LANGUAGE, {"visit_id": visit_id, "tag": language})


def restrict(connection: Connection, visit_id: int, at: datetime | None) -> None:
    """Say that a visit's data is only stored from now on, or (None) that it may be used again."""
    connection.execute(_RESTRICT, {"visit_id": visit_id, "at": at})


def touch(connection: Connection, visit_id: int) -> None:
    """Say that something on the customer's page changed."""
    connection.execute(_TOUCH, {"visit_id": visit_id})


def end_link_at(connection: Connection, visit_id: int, ends_at: datetime | None) -> None:
    """Say when the customer's page ends, from when on what is kept of the visit goes; None while a device is here."""
    connection.execute(_END_LINK, {"visit_id": visit_id, "ends_at": ends_at})
    if ends_at is None:
        keeping.stop(connection, visit_id)
    else:
        keeping.begin(connection, visit_id, ends_at)


def raise_versions(connection: Connection, what: str, ref: str, version: int) -> None:
    """See to it that a link ("docket" or "contact") is of this version at least: older ones are dead.

    The devices that were let show notices by an older one show none any more.
    """
    if connection.execute(_RAISE[what], {"wanted": ref, "version": version}).rowcount == 0:
        return
    if what == "contact" and (contact := contact_by_ref(connection, ref)):
        pushes.drop_all(connection, contact.id)
    if what == "docket" and (visit := by_ref(connection, ref)):
        _drop_devices_by_docket(connection, visit.id)


def renew_docket(connection: Connection, visit_id: int) -> None:
    """Kill the docket's present link by raising its version; devices that were let show notices by it show no more."""
    connection.execute(_RENEW_DOCKET, {"visit_id": visit_id})
    _drop_devices_by_docket(connection, visit_id)


def renew_contact(connection: Connection, contact_id: int) -> None:
    """Kill one contact's present link by raising its version; devices that were let show notices by it show no more."""
    connection.execute(_RENEW_CONTACT, {"contact_id": contact_id})
    pushes.drop_all(connection, contact_id)


def _drop_devices_by_docket(connection: Connection, visit_id: int) -> None:
    """The docket's link lets a device show notices for those alone who can be sent no other."""
    for contact in contacts_of(connection, visit_id):
        if not contact.can_be_sent_a_link:
            pushes.drop_all(connection, contact.id)
