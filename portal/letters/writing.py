"""Renders letters from `templates/messages/<event>/`, in the reader's language."""

from __future__ import annotations

from functools import cache

import jinja2

from notifications.letters import Letter
from portal import resources
from portal.language import Language, language
from portal.letters.told import Facts, Letterbox, StaffTold, Told
from portal.rules.numbers import spoken
from portal.rules.tokens import LinkKind


def write(desk: Letterbox, event: str, told: Told, context: Facts, sender_address: str) -> Letter:
    """The letter of an event, rendered for one contact by mail. `context` wins over the usual words."""
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
        return environment(spoken_language).get_template(f"messages/{event}/{file}").render(words).strip()

    return Letter(
        to=told.contact.email,
        subject=rendered("subject.txt"),
        text=rendered("text.txt") + "\n",
        html=rendered("html.html"),
        sender=_sender(shop.name, sender_address),
        reply_to=shop.email,
        language=spoken_language.tag,
    )


def write_to_staff(desk: Letterbox, event: str, told: StaffTold, context: Facts, sender_address: str) -> Letter:
    """The letter of an event for somebody of the staff; its link asks for a login."""
    shop = told.policy.shop
    spoken_language = language(shop.languages[0], shop.zone)
    words = {
        "language": spoken_language,
        "shop": shop,
        "person": told.person,
        "ticket": told.ticket,
        "link": desk.links.bench(spoken(told.ticket.number)),
    } | dict(context)

    def rendered(file: str) -> str:
        return environment(spoken_language).get_template(f"messages/{event}/{file}").render(words).strip()

    return Letter(
        to=told.person.email,
        subject=rendered("subject.txt"),
        text=rendered("text.txt") + "\n",
        html=rendered("html.html"),
        sender=_sender(shop.name, sender_address),
        language=spoken_language.tag,
    )


def _sender(name: str, address: str) -> str:
    quoted = name.replace("\\", "").replace('"', "’")
    return f'"{quoted}" <{address}>'


@cache
def environment(spoken_language: Language) -> jinja2.Environment:
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
    environment.filters.update(
        number=spoken, words=spoken_language.words, day=spoken_language.day, money=spoken_language.money
    )
    return environment
