"""`/t/<token>/messages`: how, how much and in which language somebody hears from the shop; by their own link only."""

from __future__ import annotations

from flask import abort, redirect, render_template, request, url_for
from flask.typing import ResponseReturnValue
from werkzeug.datastructures import MultiDict

from notifications.channels.push.sealing import Device
from portal.actions import choices, pushes
from portal.actions.desk import Outcome
from portal.store.visits import Contact
from portal.web import choosing
from portal.web.customer import blueprint
from portal.web.customer.languages import all_choices, asked
from portal.web.customer.notices import notices, reader_of
from portal.web.customer.report import back
from portal.web.forms import Answer, Filled, attempt, deed_key_typed, new_deed_key, typed
from portal.web.request_context import desk, refresh


@blueprint.get("/t/<token>/messages")
def messages(token: str) -> ResponseReturnValue:
    """What is chosen now, in a form."""
    visit, contact = reader_of(token)
    return _page(token, contact, choosing.chosen_now(visit, contact), Answer())


@blueprint.post("/t/<token>/messages")
def choose_messages(token: str) -> ResponseReturnValue:
    """Keep what was chosen."""
    _visit, contact = reader_of(token)
    answer = attempt(lambda: _choose(contact.ref))
    if answer.done:
        return redirect(url_for("customer.messages", token=token, lang=asked(), kept=1), 303)
    refresh()
    return _page(token, reader_of(token)[1], request.form, answer)


@blueprint.get("/t/<token>/messages/reminders")
def reminders(token: str) -> ResponseReturnValue:
    """The button that stops reminders; opening the page stops nothing, since machines follow links."""
    _visit, contact = reader_of(token)
    return render_template("customer/reminders.html", stopped=contact.no_reminders, back=back(token))


@blueprint.post("/t/<token>/messages/reminders")
def stop_reminders(token: str) -> ResponseReturnValue:
    """Stop reminders: by the button, or by a mail program on its own, which wants no redirect (RFC 8058 3.1)."""
    choices.stop_reminders(desk(), reader_of(token)[1].ref)
    return render_template("customer/reminders.html", stopped=True, back=back(token))


@blueprint.post("/t/<token>/messages/notices")
def show_notices(token: str) -> ResponseReturnValue:
    """Let the browser that sent this show notices."""
    _visit, contact = reader_of(token)
    way = choosing.push_channel()
    if way is None:
        abort(404)
    device = Device(typed("endpoint"), typed("key"), typed("secret"))
    return _after(token, attempt(lambda: pushes.listen(desk(), contact.ref, device, way, deed_key=deed_key_typed())))


@blueprint.post("/t/<token>/messages/notices/stop")
def stop_notices(token: str) -> ResponseReturnValue:
    """Let one device show no more notices."""
    _visit, contact = reader_of(token)
    return _after(token, attempt(lambda: pushes.stop(desk(), contact.ref, typed("device"), deed_key=deed_key_typed())))


def _after(token: str, answer: Answer) -> ResponseReturnValue:
    """The page again, after something about notices was changed or refused."""
    if answer.done:
        address = url_for("customer.messages", token=token, lang=asked(), noted=1, _anchor="notices")
        return redirect(address, 303)
    refresh()
    visit, contact = reader_of(token)
    return _page(token, contact, choosing.chosen_now(visit, contact), answer)


def _choose(contact_ref: str) -> Outcome:
    chosen = choosing.typed_choices()
    return choices.choose(desk(), contact_ref, chosen, choosing.installed(), deed_key=deed_key_typed())


def _page(token: str, contact: Contact, filled: MultiDict[str, str], answer: Answer) -> ResponseReturnValue:
    ways = [way._replace(to=_hidden(way.to)) for way in choosing.ways(contact)]
    page = render_template(
        "customer/messages.html",
        ways=ways,
        amounts=choosing.AMOUNTS,
        filled=Filled(filled),
        places=choosing.places(filled.getlist("way"), len(ways)),
        languages=all_choices() if contact.role == "owner" else (),
        answer=answer,
        kept="kept" in request.args,
        noted="noted" in request.args,
        notices=notices(contact),
        own=url_for("customer.docket", token=token),
        deed_key=new_deed_key(),
        back=back(token),
    )
    return page, answer.status


def _hidden(address: str) -> str:
    """Enough of an address for its owner to know it, and too little for anybody else."""
    local, at, domain = address.rpartition("@")
    if not address:
        return ""
    return f"{local[:1]}…@{domain}" if at else f"…{address[-3:]}"
