"""`/t/<token>/messages`: how, how much and in which language somebody hears from the shop; by their own link only."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

from flask import abort, redirect, render_template, request, url_for
from flask.typing import ResponseReturnValue
from werkzeug.datastructures import MultiDict

from portal.actions import choices, tell
from portal.actions.choices import Chosen
from portal.actions.desk import Outcome
from portal.rules.messages import CHANNEL_WORDS, WANTS_WORDS, Channel, Wants
from portal.rules.sentences import Sentence
from portal.store.visits import Contact, Visit
from portal.web.customer import blueprint
from portal.web.customer.docket import look_up
from portal.web.customer.languages import all_choices, asked
from portal.web.customer.report import back
from portal.web.forms import Answer, Filled, attempt, deed_key_typed, new_deed_key, typed
from portal.web.request_context import desk, installation, policy, refresh


class Way(NamedTuple):
    """A way to reach the reader: in words, and where it leads, mostly hidden."""

    channel: Channel
    says: Sentence
    to: str


@blueprint.get("/t/<token>/messages")
def messages(token: str) -> ResponseReturnValue:
    """What is chosen now, in a form."""
    visit, contact = _reader(token)
    chosen = contact.channels if contact.channels is not None else policy().messages.channels
    ways = [str(way) for way in chosen if way in _installed() and tell.address(contact, way)]
    now = MultiDict([("wants", contact.wants), ("language", visit.language), *(("way", way) for way in ways)])
    if contact.no_reminders:
        now["no_reminders"] = "on"
    return _page(token, contact, now, Answer())


@blueprint.post("/t/<token>/messages")
def choose_messages(token: str) -> ResponseReturnValue:
    """Keep what was chosen."""
    _visit, contact = _reader(token)
    answer = attempt(lambda: _choose(contact.ref))
    if answer.done:
        return redirect(url_for("customer.messages", token=token, lang=asked(), kept=1), 303)
    refresh()
    return _page(token, _reader(token)[1], request.form, answer)


@blueprint.get("/t/<token>/messages/reminders")
def reminders(token: str) -> ResponseReturnValue:
    """The button that stops reminders; opening the page stops nothing, since machines follow links."""
    _visit, contact = _reader(token)
    return render_template("customer/reminders.html", stopped=contact.no_reminders, back=back(token))


@blueprint.post("/t/<token>/messages/reminders")
def stop_reminders(token: str) -> ResponseReturnValue:
    """Stop reminders: by the button, or by a mail program on its own, which wants no redirect (RFC 8058 3.1)."""
    choices.stop_reminders(desk(), _reader(token)[1].ref)
    return render_template("customer/reminders.html", stopped=True, back=back(token))


def _reader(token: str) -> tuple[Visit, Contact]:
    """Whose own link it is, and their visit; the docket's link is everybody's, so it leads nowhere here."""
    reader = look_up(token).reader
    if reader.contact is None:
        abort(404)
    return reader.visit, reader.contact


def _choose(contact_ref: str) -> Outcome:
    chosen = Chosen(typed("wants"), request.form.getlist("way"), bool(typed("no_reminders")), typed("language"))
    return choices.choose(desk(), contact_ref, chosen, _installed(), deed_key=deed_key_typed())


def _page(token: str, contact: Contact, filled: MultiDict[str, str], answer: Answer) -> ResponseReturnValue:
    ways = [
        Way(channel, CHANNEL_WORDS[channel], _hidden(tell.address(contact, channel)))
        for channel in choices.open_ways(contact, _installed())
    ]
    page = render_template(
        "customer/messages.html",
        ways=ways,
        amounts=[(wants, WANTS_WORDS[wants]) for wants in Wants],
        filled=Filled(filled),
        places=_places(filled.getlist("way"), len(ways)),
        languages=all_choices() if contact.role == "owner" else (),
        answer=answer,
        kept="kept" in request.args,
        deed_key=new_deed_key(),
        back=back(token),
    )
    return page, answer.status


def _places(chosen: Sequence[str], ways: int) -> list[str]:
    """What stands in each of the places, the first first."""
    return [*chosen, *[""] * ways][:ways]


def _installed() -> Sequence[str]:
    return list(installation().post_office.channels)


def _hidden(address: str) -> str:
    """Enough of an address for its owner to know it, and too little for anybody else."""
    local, at, domain = address.rpartition("@")
    return f"{local[:1]}…@{domain}" if at else f"…{address[-3:]}"
