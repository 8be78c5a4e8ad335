"""What was written and said about one device: the customer's own words, the answers, the calls."""

from __future__ import annotations

from functools import partial

from flask import render_template, request
from flask.typing import ResponseReturnValue

from portal.actions import conversation as deeds
from portal.actions.desk import find
from portal.rules.conversation import HOW_WORDS
from portal.rules.sentences import say
from portal.store import journal, photos
from portal.store.journal import Entry
from portal.store.tickets import Ticket
from portal.web.bench import blueprint
from portal.web.bench.doing import Deed, do, form_context, told
from portal.web.forms import Answer, typed
from portal.web.request_context import connection

_EVENTS = ("wrote", "photo_sent", "said", "rang", "corrected", "publication_refused")
_DONE = {
    "answer": say("The answer is on its way."),
    "read": say("It is marked as read."),
    "said": say("It is entered as the customer’s."),
}


@blueprint.get("/<number>/conversation")
def conversation(number: str) -> ResponseReturnValue:
    """The page."""
    return _page(find(connection(), number), Answer(), "")


@blueprint.post("/<number>/conversation/answer")
def answer_customer(number: str) -> ResponseReturnValue:
    """Answer, or write first."""
    return _do(number, "answer", partial(deeds.answer, text=typed("text"), confirmed=_confirmed()))


@blueprint.post("/<number>/conversation/read")
def words_read(number: str) -> ResponseReturnValue:
    """Mark what the customer wrote as read."""
    return _do(number, "read", deeds.read)


@blueprint.post("/<number>/conversation/said")
def customer_said(number: str) -> ResponseReturnValue:
    """Enter what the customer said elsewhere."""
    return _do(number, "said", partial(deeds.said, how=typed("how"), text=typed("text"), confirmed=_confirmed()))


def _do(number: str, name: str, deed: Deed) -> ResponseReturnValue:
    return do(number, name, deed, _page, ".conversation")


def _confirmed() -> bool:
    return typed("confirmed") == "1"


def _is_unread(entry: Entry, found: Ticket) -> bool:
    return entry.by_kind == "customer" and found.unread_since is not None and entry.at >= found.unread_since


def _page(found: Ticket, answer: Answer, form: str) -> ResponseReturnValue:
    entries = [
        entry
        for entry in reversed(journal.entries(connection(), found.id))
        if entry.event in _EVENTS or (entry.event == "noted" and entry.audience == "customer")
    ]
    unread = [entry for entry in reversed(entries) if _is_unread(entry, found)]
    page = render_template(
        "bench/conversation.html",
        ticket=found,
        unread=told(unread),
        lines=told([entry for entry in entries if entry not in unread]),
        kept_photos=photos.called(connection(), found.id),
        hows=HOW_WORDS,
        done=_DONE.get(request.args.get("done", "")) if answer.done else None,
        **form_context(answer, form),
    )
    return page, answer.status
