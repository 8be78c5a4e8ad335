"""Putting a contact right while the device is in the shop, or naming a second person afterwards."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import Connection

from portal.actions import tell
from portal.actions.desk import By, Change, Desk, NotFound, Outcome, change_ticket
from portal.rules.contact import email, phone
from portal.rules.policy import Policy
from portal.rules.refusals import Refused
from portal.rules.sentences import say
from portal.rules.stages import Event
from portal.rules.text import line
from portal.rules.tokens import new_ref
from portal.store import pushes, search, tickets, visits
from portal.store.tickets import Ticket
from portal.store.visits import Contact


@dataclass(frozen=True)
class ContactTyped:
    """A contact as typed. What a second person may do is kept for them only: the owner may do all."""

    name: str = ""
    email: str = ""
    phone: str = ""
    phone_is_on_bench: bool = False
    may_be_told: bool = False
    may_agree: bool = False
    may_collect: bool = False


def change_contact(
    desk: Desk,
    by: By,
    number: str,
    role: str,
    typed: ContactTyped,
    *,
    seen: int | None = None,
    deed_key: str | None = None,
    then: Callable[[Connection, Ticket, datetime], None] | None = None,
) -> Outcome:
    """Write the contact with this role ("owner" or "second") anew; a second person may be new.

    A new e-mail address gets a link of its own, and the link that went to the old address dies. Raises Unfit, Refused
    where nothing would change, NotFound for no such role.
    """
    if role not in ("owner", "second"):
        raise NotFound(say("A visit has an owner and at most one second person."))

    def decide(connection: Connection, ticket: Ticket, policy: Policy) -> Change:
        known = _known(connection, ticket, role)
        values = _fitted(typed, role, policy)
        if known and all(getattr(known, name) == value for name, value in values.items()):
            raise Refused(say("Nothing was changed."))
        address_is_new = bool(values["email"]) and (known is None or values["email"] != known.email)

        def write(connection: Connection, ticket: Ticket, now: datetime) -> None:
            contact = _written(desk, connection, ticket, role, values, known)
            if role == "owner":
                for each in tickets.of_visit(connection, ticket.visit_id):
                    search.put(connection, each.id, contact.name, contact.phone, each.device)
            if address_is_new:
                visit = visits.by_id(connection, ticket.visit_id)
                tell.link_again(connection, visit, contact, f"ticket {ticket.ref} after {ticket.revision}", now)

        return Change([Event("contact_changed", {"contact": role})], audience="bench", write=write)

    return change_ticket(desk, by, number, decide, seen=seen, deed_key=deed_key, then=then)


def _fitted(typed: ContactTyped, role: str, policy: Policy) -> dict[str, object]:
    owner = role == "owner"
    return {
        "name": line("name", say("The name"), typed.name, required=not owner),
        "email": email(typed.email),
        "phone": phone(typed.phone, policy.shop.country),
        "phone_is_on_bench": typed.phone_is_on_bench,
        "may_be_told": owner or typed.may_be_told,
        "may_agree": owner or typed.may_agree,
        "may_collect": owner or typed.may_collect,
    }


def _known(connection: Connection, ticket: Ticket, role: str) -> Contact | None:
    return next((each for each in visits.contacts_of(connection, ticket.visit_id) if each.role == role), None)


def _written(
    desk: Desk, connection: Connection, ticket: Ticket, role: str, values: dict[str, object], known: Contact | None
) -> Contact:
    if known is None:
        keys = {"ref": new_ref(desk.chooser), "visit_id": ticket.visit_id, "role": role}
        visits.add_contact(connection, values | keys)
    else:
        visits.change_contact(connection, known.id, values)
        if values["email"] != known.email:
            visits.renew_contact(connection, known.id)
        elif not known.can_be_sent_a_link:  # whoever has the docket is no longer the only one to be told
            pushes.drop_all(connection, known.id)
    contact = _known(connection, ticket, role)
    if contact is None:
        raise RuntimeError("The contact just written cannot be read.")
    return contact
