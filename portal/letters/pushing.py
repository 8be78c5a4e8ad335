"""Notices for devices: a line of words and a link, sealed by the channel; nothing that a passer-by should not read."""

from __future__ import annotations

import hashlib
import json
from base64 import urlsafe_b64encode
from datetime import datetime
from urllib.parse import urlsplit

from notifications.letters import Due, Letter
from notifications.outbox import LIFE
from portal.letters.own_words import parts_of, said
from portal.letters.rendering import rendered
from portal.letters.told import Facts, Letterbox, Told
from portal.letters.writing import words_of
from portal.rules.messages import MessageKind, Pushed, kind_of
from portal.rules.tokens import LinkKind
from portal.rules.wording import Part, as_text

MOST_WORDS, MOST_TITLE = 300, 60  # characters; a notice shows fewer
_TOPIC_LETTERS = 32  # RFC 8030 section 5.4


def write_push(desk: Letterbox, due: Due, told: Told, context: Facts, now: datetime) -> Letter:
    """The notice of an event for the devices of one contact. Its text is what the service worker reads."""
    kind, words = kind_of(due.event), words_of(desk, told, context)
    topic = _topic(due, kind)
    notice = {
        "title": told.policy.shop.name[:MOST_TITLE],
        "body": _body(due.event, told, words)[:MOST_WORDS],
        "link": urlsplit(_link(desk, told, words)).path,
        "tag": topic or due.message_id,
        "lang": words["language"].tag,
    }
    left = (due.expires_at or due.made_at + LIFE) - now
    headers = {"TTL": str(max(int(left.total_seconds()), 0))}
    headers["Urgency"] = "high" if kind.urgent or kind.worth_a_call else "normal"
    if topic:
        headers["Topic"] = topic
    return Letter(
        to=told.contact.ref,
        subject="",
        text=json.dumps(notice, ensure_ascii=False),
        headers=headers,
        wording=told.wording.id if told.wording else None,
        needs_more=kind.pushed is Pushed.NOT_ENOUGH,
    )


def _body(event: str, told: Told, words: Facts) -> str:
    """The words: the shop's own, or the program's; an event with none for a notice says what its text says."""
    if own := as_text(said(told.wording, Part.PUSH, words)):
        return own
    if Part.PUSH in parts_of(event):
        plain = rendered(f"{event}/push.txt", words)
    else:
        plain = rendered(f"{event}/sms.txt", {**words, "shop_briefly": "", "link": ""}).removeprefix(":")
    line = " ".join(plain.split())
    return line[:1].upper() + line[1:]


def _link(desk: Letterbox, told: Told, words: Facts) -> str:
    """The contact's own link; the docket's for those who can only have let us show notices by that one.

    Else whoever found the paper would get a link that may agree to costs.
    """
    if told.contact.can_be_sent_a_link:
        return str(words["link"])
    return desk.links.customer(LinkKind.DOCKET, told.visit.ref, told.visit.docket_version)


def _topic(due: Due, kind: MessageKind) -> str:
    """What a later notice has in common with the one it takes the place of: whom, about what. Says neither."""
    if not kind.topic:
        return ""
    about = f"{due.recipient} {due.reference} {kind.topic} {due.facts[0].get('question', '')}"
    return urlsafe_b64encode(hashlib.sha256(about.encode()).digest()).decode()[:_TOPIC_LETTERS]
