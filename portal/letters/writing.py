"""Renders letters from `templates/messages/<event>/`, in the reader's language."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from notifications.letters import Attachment, Letter
from portal.language import Language, language
from portal.letters.own_words import LINKS, said
from portal.letters.rendering import rendered
from portal.letters.told import Facts, Letterbox, StaffTold, Told
from portal.rules import sms
from portal.rules.messages import NO_REPLIES
from portal.rules.numbers import spoken
from portal.rules.tokens import LinkKind
from portal.rules.wording import Part, as_text, briefly


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
    words = words_of(desk, told, context)
    text, page = _text_and_page(event, told, words)
    return Letter(
        to=told.contact.email,
        subject=_line(_part(event, Part.SUBJECT, told, words)),
        text=text + "\n",
        html=page,
        sender=_sender(shop.name, sender_address),
        reply_to=shop.email,
        language=words["language"].tag,
        attachments=tuple(attached),
        headers=_one_click(words["choices_link"]) if can_be_stopped else {},
        wording=_revision(told),
    )


def write_sms(desk: Letterbox, event: str, told: Told, context: Facts) -> Letter:
    """The text message of an event for one contact."""
    words = words_of(desk, told, context)
    text = as_sent(_part(event, Part.SMS, told, words), words["language"])
    return Letter(to=told.contact.phone, subject="", text=text, wording=_revision(told))


def as_sent(text: str, spoken_language: Language) -> str:
    """A text message as it goes out: one line, in the cheaper alphabet where that says the same.

    It says that replies are not read, where there is room for it.
    """
    return sms.with_note(sms.plain(_line(text)), spoken_language.say(NO_REPLIES))


def write_to_say(desk: Letterbox, event: str, told: Told, context: Facts) -> tuple[str, str]:
    """What a call of an event is about, and what to say, in the contact's language."""
    words = words_of(desk, told, context)
    return _line(_part(event, Part.SUBJECT, told, words)), _line(_part(event, Part.SAY, told, words))


def write_to_staff(desk: Letterbox, event: str, told: StaffTold, context: Facts, sender_address: str) -> Letter:
    """The letter of an event for somebody of the staff; its link asks for a login."""
    shop = told.policy.shop
    words = staff_words_of(desk, told, context)
    text, page = _text_and_page(event, told, words)
    return Letter(
        to=told.person.email,
        subject=_line(_part(event, Part.SUBJECT, told, words)),
        text=text + "\n",
        html=page,
        sender=_sender(shop.name, sender_address),
        language=words["language"].tag,
        wording=_revision(told),
    )


def words_of(desk: Letterbox, told: Told, context: Facts) -> dict[str, Any]:
    """What a contact's letter may speak of; `context` wins over the usual."""
    shop = told.policy.shop
    link = desk.links.customer(LinkKind.CONTACT, told.contact.ref, told.contact.link_version)
    return {
        "language": language(told.visit.language, shop.zone),
        "shop": shop,
        "shop_briefly": briefly(shop.name),
        "contact": told.contact,
        "tickets": told.tickets,
        "ticket": told.tickets[0],
        "number": ", ".join(spoken(ticket.number) for ticket in told.tickets),
        "link": link,
        "choices_link": f"{link}/messages",
        "attached": None,  # how the mail says what is attached to it
        "to_staff": False,
    } | dict(context)


def staff_words_of(desk: Letterbox, told: StaffTold, context: Facts) -> dict[str, Any]:
    """What a letter to somebody of the staff may speak of; `context` wins over the usual."""
    shop, number = told.policy.shop, spoken(told.ticket.number)
    return {
        "language": language(shop.languages[0], shop.zone),
        "shop": shop,
        "shop_briefly": briefly(shop.name),
        "contact": told.person,
        "tickets": [told.ticket],
        "ticket": told.ticket,
        "number": number,
        "link": desk.links.bench(number),
        "to_staff": True,
    } | dict(context)


def _part(event: str, part: Part, told: Told | StaffTold, words: Mapping[str, Any]) -> str:
    """A part of one line, in the shop's own words or the program's."""
    return as_text(said(told.wording, part, words)) or rendered(f"{event}/{part.value}.txt", words)


def _text_and_page(event: str, told: Told | StaffTold, words: Mapping[str, Any]) -> tuple[str, str]:
    """The text and the HTML of a mail. Both come from the same words, so both say the same."""
    own = said(told.wording, Part.TEXT, words)
    if not own:
        return rendered(f"{event}/text.txt", words), rendered(f"{event}/html.html", words)
    filled_in = {**words, "own": own, "own_text": as_text(own), "own_links": LINKS}
    return rendered("_own.txt", filled_in), rendered("_own.html", filled_in)


def _revision(told: Told | StaffTold) -> int | None:
    return told.wording.id if told.wording else None


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
