"""`compose`: turns a due message into words, at the moment it is sent.

Whom to reach, in which language, and whether it is still true is looked up now; so an address that was corrected or
erased meanwhile is used as it stands, and neither letters nor links lie in the database.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from contextlib import AbstractContextManager
from dataclasses import dataclass
from datetime import datetime
from functools import cache
from typing import Any, Protocol

import jinja2
from sqlalchemy import Connection

from notifications.letters import Compose, Composed, Due, Letter, Unreachable, Withdrawn
from portal import resources
from portal.language import Language, language
from portal.links import Links
from portal.rules.numbers import spoken
from portal.rules.policy import Policy
from portal.rules.tokens import LinkKind
from portal.store import journal, tickets, visits
from portal.store.tickets import Ticket
from portal.store.visits import Contact, Visit

Facts = Mapping[str, Any]


class Letterbox(Protocol):
    """What letters are written with; a desk is one."""

    @property
    def links(self) -> Links:
        """Makes the links."""

    def reading(self) -> AbstractContextManager[Connection]:
        """One consistent view."""

    def policy(self, connection: Connection) -> Policy:
        """The policy in force."""


@dataclass(frozen=True)
class Told:
    """What a message is about, as it stands now. `tickets` is one ticket, or all of the visit's."""

    visit: Visit
    contact: Contact
    tickets: Sequence[Ticket]
    policy: Policy
    facts: Sequence[Facts]


def make_composer(desk: Letterbox, sender_address: str) -> Compose:
    """The compose function of an installation. `sender_address` is where its mail comes from."""

    def compose(due: Due, channel: str, _now: datetime) -> Composed:
        with desk.reading() as connection:
            told = _told(connection, due, desk.policy(connection))
            if isinstance(told, Withdrawn):
                return told
            context = STILL_TRUE[due.event](connection, told)
        if isinstance(context, Withdrawn):
            return context
        if channel != "mail" or not told.contact.email:
            return Unreachable("there is no address for this channel any more")
        return _letter(desk, due.event, told, context, sender_address)

    return compose


def _told(connection: Connection, due: Due, policy: Policy) -> Told | Withdrawn:
    contact = visits.contact_by_ref(connection, due.recipient)
    if contact is None:
        return Withdrawn("the contact is no longer on file")
    if not contact.may_be_told and due.event != "link_again":  # a link is sent to whoever asked for it
        return Withdrawn("the contact is not to be told any more")
    visit = visits.by_id(connection, contact.visit_id)
    of_visit = tickets.of_visit(connection, visit.id)
    about = [ticket for ticket in of_visit if ticket.ref == due.reference]
    if not about and due.reference != visit.ref:
        return Withdrawn("the repair is no longer on file")
    return Told(visit, contact, about or of_visit, policy, due.facts)


def _taken_in(_connection: Connection, told: Told) -> Facts | Withdrawn:
    if all(ticket.ending for ticket in told.tickets):
        return Withdrawn("all devices have left the shop")
    return {}


def _stage_reached(_connection: Connection, told: Told) -> Facts | Withdrawn:
    ticket, reached = told.tickets[0], told.facts[-1]["stage"]
    stage = told.policy.stage(reached)
    if ticket.ending or ticket.stage != reached or stage is None:
        return Withdrawn("the device is not in that stage any more")
    return {"stage": stage, "is_ready": stage.key == told.policy.stages[-1].key}


def _noted(connection: Connection, told: Told) -> Facts | Withdrawn:
    wanted = {facts["entry"] for facts in told.facts}
    ticket = told.tickets[0]
    found = journal.entries(connection, ticket.id, after=min(wanted) - 1)
    right = {int(each.data["entry"]): each.text for each in found if each.event == "corrected"}  # the newest counts
    notes = [
        right.get(entry.entry, entry.text)
        for entry in found
        if entry.entry in wanted
        and entry.text
        and entry.audience == "customer"
        and (ticket.ended_at is None or entry.at >= ticket.ended_at)
    ]
    return {"notes": notes} if notes else Withdrawn("the note is no longer on file, or its device has left the shop")


def _ended(_connection: Connection, told: Told) -> Facts | Withdrawn:
    ending = told.tickets[0].ending
    return {"ending": ending} if ending else Withdrawn("the handover was undone")


def _link_again(_connection: Connection, _told: Told) -> Facts | Withdrawn:
    return {}


# event → what its words need beside the usual, or that it is no longer true.
STILL_TRUE: Mapping[str, Callable[[Connection, Told], Facts | Withdrawn]] = {
    "taken_in": _taken_in,
    "stage_reached": _stage_reached,
    "noted": _noted,
    "ended": _ended,
    "link_again": _link_again,
}


def _letter(desk: Letterbox, event: str, told: Told, context: Facts, sender_address: str) -> Letter:
    shop = told.policy.shop
    spoken_language = language(told.visit.language, shop.zone)
    link = desk.links.customer(LinkKind.CONTACT, told.contact.ref, told.contact.link_version)
    words = {
        "language": spoken_language,
        "shop": shop,
        "contact": told.contact,
        "tickets": told.tickets,
        "ticket": told.tickets[0],
        "number": ", ".join(spoken(ticket.number) for ticket in told.tickets),
        "link": link,
    } | dict(context)

    def rendered(file: str) -> str:
        return _environment(spoken_language).get_template(f"messages/{event}/{file}").render(words).strip()

    return Letter(
        to=told.contact.email,
        subject=rendered("subject.txt"),
        text=rendered("text.txt") + "\n",
        html=rendered("html.html"),
        sender=_sender(shop.name, sender_address),
        reply_to=shop.email,
        language=spoken_language.tag,
    )


def _sender(name: str, address: str) -> str:
    quoted = name.replace("\\", "").replace('"', "’")
    return f'"{quoted}" <{address}>'


@cache
def _environment(spoken_language: Language) -> jinja2.Environment:
    """The templates as this language has them."""
    environment = jinja2.Environment(
        loader=jinja2.FileSystemLoader(str(resources.templates())),
        autoescape=jinja2.select_autoescape(["html"]),
        undefined=jinja2.StrictUndefined,
        extensions=["jinja2.ext.i18n"],
        trim_blocks=True,
        lstrip_blocks=True,
    )
    environment.install_gettext_callables(  # type: ignore[attr-defined]
        spoken_language.gettext, spoken_language.ngettext, newstyle=True
    )
    environment.filters.update(number=spoken, words=spoken_language.words)
    return environment
