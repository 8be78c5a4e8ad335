"""`/t/<token>/record/<number>`: what we wrote down when the device came, and the customer's one answer to it."""

from __future__ import annotations

from flask import abort, redirect, render_template, url_for
from flask.typing import ResponseReturnValue

from portal.actions import record as deeds
from portal.actions.desk import Outcome
from portal.rules.imei import shown
from portal.rules.intake_record import CUSTOMER_SAFETY, unsafe
from portal.rules.intake_words import FLAG_WORDS, noted
from portal.rules.numbers import spoken
from portal.store import records
from portal.store.tickets import Ticket
from portal.web.customer import blueprint
from portal.web.customer.docket import look_up
from portal.web.customer.doing import attempt_on_ticket
from portal.web.customer.languages import asked
from portal.web.customer.report import back, ticket_of
from portal.web.forms import Answer, deed_key_typed, new_deed_key, typed
from portal.web.request_context import connection, desk, refresh


@blueprint.get("/t/<token>/record/<number>")
def record(token: str, number: str) -> ResponseReturnValue:
    """The record, and the form to answer it where it waits for an answer."""
    reader = look_up(token).reader
    may_answer = reader.contact is None or reader.contact.may_agree
    return _page(token, ticket_of(reader.visit.id, number), may_answer, Answer())


@blueprint.post("/t/<token>/record/<number>")
def answer_record(token: str, number: str) -> ResponseReturnValue:
    """Say that the record is right, or what is not right: once, to the version that was read."""
    reader = look_up(token).reader
    found = ticket_of(reader.visit.id, number)
    if reader.contact and not reader.contact.may_agree:
        abort(403)
    answer = attempt_on_ticket(lambda: _answer(found))
    if answer.done:
        to = url_for("customer.record", token=token, number=spoken(found.number), lang=asked())
        return redirect(to, 303)
    refresh()
    look_up(token)
    return _page(token, found, may_answer=True, answer=answer)


def _answer(found: Ticket) -> Outcome:
    text, deed_key = typed("version"), deed_key_typed()
    version = int(text) if text.isdecimal() and len(text) < 6 else 0
    if typed("answer") == "right":
        return deeds.agree(desk(), found.number, version, deed_key=deed_key)
    return deeds.object_to(desk(), found.number, version, typed("objection"), deed_key=deed_key)


def _page(token: str, found: Ticket, may_answer: bool, answer: Answer) -> ResponseReturnValue:
    last = records.newest(connection(), found.id)
    written = last.record if last else None
    page = render_template(
        "customer/record.html",
        ticket=found,
        version=last,
        record=written,
        noted=noted(written) if written else [],
        serial=shown(written.serial) if written and written.serial else "",
        flag_words=FLAG_WORDS,
        safety=CUSTOMER_SAFETY if last and unsafe(written, made_safe=last.made_safe_at is not None) else None,
        asks=bool(last and not last.answer and not found.ending and may_answer),
        answer=answer,
        objection=typed("objection"),
        deed_key=new_deed_key(),
        back=back(token),
    )
    return page, answer.status
