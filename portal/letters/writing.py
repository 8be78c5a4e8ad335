"""Renders letters from `templates/messages/<event>/`, in the reader's language."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence
from functools import cache
from typing import Any

import jinja2

from notifications.letters import Attachment, Letter
from portal import resources
from portal.language import Language, language
from portal.letters.told import Facts, Letterbox, StaffTold, Told
from portal.markup import paragraphs
from portal.rules import sms
from portal.rules.numbers import spoken
from portal.rules.tokens import LinkKind

BRIEF = 24  # characters of the shop's name in a text message


def write(
    desk: Letterbox,
    event: str,
    told: Told,
    context: Facts,
    sender_address: str,
    *,
    attached: Sequence[Attachment] = (),
    can_be_stopped: bool = False,
) -> Letter:
    """The letter of an event, rendered for one contact by mail. `context` wins over the usual words.

    One that `can_be_stopped` alone says so to mail programs, which then show a button for it (RFC 8058). They ask over
    https only.
    """
    shop = told.policy.shop
    words = _words(desk, told, context)
    return Letter(
        to=told.contact.email,
        subject=_rendered(event, "subject.txt", words),
        text=_rendered(event, "text.txt", words) + "\n",
        html=_rendered(event, "html.html", words),
        sender=_sender(shop.name, sender_address),
        reply_to=shop.email,
        language=words["language"].tag,
        attachments=tuple(attached),
        headers=_one_click(words["choices_link"]) if can_be_stopped else {},
    )


def write_sms(desk: Letterbox, event: str, told: Told, context: Facts) -> Letter:
    """The text message of an event for one contact: one line, in the cheaper alphabet where that says the same."""
    words = _words(desk, told, context)
    return Letter(to=told.contact.phone, subject="", text=sms.plain(_line(_rendered(event, "sms.txt", words))))


def write_to_say(desk: Letterbox, event: str, told: Told, context: Facts) -> tuple[str, str]:
    """What a call of an event is about, and what to say, in the contact's language."""
    words = _words(desk, told, context)
    return _rendered(event, "subject.txt", words), _line(_rendered(event, "say.txt", words))


def write_to_staff(desk: Letterbox, event: str, told: StaffTold, context: Facts, sender_address: str) -> Letter:
    """The letter of an event for somebody of the staff; its link asks for a login."""
    shop = told.policy.shop
    spoken_language = language(shop.languages[0], shop.zone)
    words: dict[str, Any] = {
        "language": spoken_language,
        "shop": shop,
        "person": told.person,
        "ticket": told.ticket,
        "link": desk.links.bench(spoken(told.ticket.number)),
    } | dict(context)

    return Letter(
        to=told.person.email,
        subject=_rendered(event, "subject.txt", words),
        text=_rendered(event, "text.txt", words) + "\n",
        html=_rendered(event, "html.html", words),
        sender=_sender(shop.name, sender_address),
        language=spoken_language.tag,
    )


def _words(desk: Letterbox, told: Told, context: Facts) -> dict[str, Any]:
    """What a contact's letter may speak of; `context` wins over the usual."""
    shop = told.policy.shop
    link = desk.links.customer(LinkKind.CONTACT, told.contact.ref, told.contact.link_version)
    return {
        "language": language(told.visit.language, shop.zone),
        "shop": shop,
        "shop_briefly": textwrap.shorten(shop.name, BRIEF, placeholder="") or shop.name[:BRIEF],
        "contact": told.contact,
        "tickets": told.tickets,
        "ticket": told.tickets[0],
        "number": ", ".join(spoken(ticket.number) for ticket in told.tickets),
        "link": link,
        "choices_link": f"{link}/messages",
    } | dict(context)


def _rendered(event: str, file: str, words: dict[str, Any]) -> str:
    return environment(words["language"]).get_template(f"messages/{event}/{file}").render(words).strip()


def _one_click(choices_link: str) -> dict[str, str]:
    if not choices_link.startswith("https://"):
        return {}
    return {
        "List-Unsubscribe": f"<{choices_link}/reminders>",
        "List-Unsubscribe-Post": "List-Unsubscribe=One-Click",
    }


def _line(text: str) -> str:
    return " ".join(text.split())


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
        number=spoken,
        paragraphs=paragraphs,
        words=spoken_language.words,
        day=spoken_language.day,
        money=spoken_language.money,
        decimal=spoken_language.decimal,
        say=spoken_language.say,
        moment=spoken_language.moment,
    )
    return environment
