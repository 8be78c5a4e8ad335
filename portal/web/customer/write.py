"""`/t/<token>/write/<number>`: the customer writes to the shop about one device, and reads what was answered."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from flask import redirect, render_template, request, url_for
from flask.typing import ResponseReturnValue

from portal.actions import conversation
from portal.actions.desk import Outcome
from portal.actions.links import Reader
from portal.rules.conversation import LONGEST, Writer
from portal.rules.journal_words import for_customer
from portal.rules.numbers import spoken
from portal.rules.sentences import Sentence
from portal.store import journal, photos
from portal.store.journal import Entry
from portal.store.tickets import Ticket
from portal.web.customer import blueprint
from portal.web.customer.docket import look_up
from portal.web.customer.doing import attempt_on_ticket
from portal.web.customer.languages import asked
from portal.web.customer.report import back, ticket_of
from portal.web.forms import Answer, Filled, deed_key_typed, new_deed_key, typed
from portal.web.request_context import connection, desk, installation, policy, refresh
from portal.web.uploads import MEGABYTES, STATUS

_EVENTS = ("wrote", "said", "photo_sent", "noted", "corrected")


@dataclass(frozen=True)
class Line:
    """What was written, with its heading; `photo` is the ref of a photo that can still be seen, or ""."""

    entry: Entry
    says: Sentence
    photo: str


@blueprint.get("/t/<token>/write/<number>")
def write(token: str, number: str) -> ResponseReturnValue:
    """The form, and what was written so far."""
    reader = look_up(token).reader
    return _page(token, ticket_of(reader.visit.id, number), Answer())


@blueprint.post("/t/<token>/write/<number>")
def send_words(token: str, number: str) -> ResponseReturnValue:
    """Write, with a photo or without."""
    reader = look_up(token).reader
    found = ticket_of(reader.visit.id, number)
    refresh()  # a photo may wait for its turn, and must not hold the database meanwhile
    answer = attempt_on_ticket(lambda: _send(found, reader))
    if answer.done:
        to = url_for("customer.write", token=token, number=spoken(found.number), lang=asked(), sent=1)
        return redirect(to, 303)
    answer.status = STATUS.get(answer.kind, answer.status)
    refresh()
    reader = look_up(token).reader
    return _page(token, ticket_of(reader.visit.id, number), answer)


def _send(found: Ticket, reader: Reader) -> Outcome:
    file = request.files.get("photo")
    return conversation.write(
        desk(),
        installation().photo_files,
        found.number,
        Writer(reader.contact.role) if reader.contact else Writer.DOCKET,
        typed("text"),
        photo=file.stream.read() if file and file.filename else b"",
        confirmed=typed("confirmed") == "1",
        deed_key=deed_key_typed(),
    )


def _page(token: str, found: Ticket, answer: Answer) -> ResponseReturnValue:
    page = render_template(
        "customer/write.html",
        ticket=found,
        lines=_lines(found),
        longest=LONGEST,
        megabytes=MEGABYTES,
        token=token,
        answer=answer,
        typed=Filled(request.form),
        photo_lost=bool(not answer.done and request.files.get("photo")),
        sent="sent" in request.args and answer.done,
        deed_key=new_deed_key(),
        back=back(token),
    )
    return page, answer.status


def _lines(found: Ticket) -> Sequence[Line]:
    """The newest first."""
    told = [entry for entry in journal.entries_for_customer(connection(), found.id) if entry.event in _EVENTS]
    called = photos.called(connection(), found.id) if any("photo" in entry.data for entry in told) else {}
    return [
        Line(entry, heading, called.get(entry.data.get("photo", ""), ""))
        for entry in reversed(told)
        if (heading := for_customer(entry.event, entry.data, policy()))
    ]
