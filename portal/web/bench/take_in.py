"""Quick take-in at the counter, and the page that shows what came of it."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from functools import partial
from itertools import zip_longest

from flask import redirect, render_template, request, url_for
from flask.typing import ResponseReturnValue

from portal.actions import publication
from portal.actions.desk import NotFound, find
from portal.actions.intake import MOST_DEVICES, NewDevice, NewVisit, Second, TakenIn, take_in
from portal.actions.price_terms import TypedTerms
from portal.actions.shelf import day
from portal.actions.terms import accept_terms
from portal.actions.warranty import warranty_of
from portal.rules.numbers import spoken
from portal.rules.price_terms import WAY_WORDS
from portal.rules.publication import ALLOWS
from portal.rules.refusals import Unfit
from portal.rules.sentences import say
from portal.store import acceptances, questions, tickets, visits, windows
from portal.web import guard
from portal.web.bench import blueprint
from portal.web.forms import Answer, DeedForm, Filled, attempt, checked_form, new_deed_key, typed
from portal.web.request_context import connection, desk, local_today, policy, refresh


@blueprint.get("/take-in")
def new_visit() -> ResponseReturnValue:
    """The empty form; with `like`, the contact of an earlier visit in it."""
    earlier = request.args.get("like", "")
    if not earlier:
        return _form(Answer(), {}, 1)
    answer = attempt(lambda: _contact_of(earlier))
    contact = answer.result if isinstance(answer.result, dict) else {}
    return _form(answer, contact | {"like": earlier}, 1)


@blueprint.post("/take-in")
def take_devices_in() -> ResponseReturnValue:
    """Take the devices in; "another" only makes room for one more."""
    form = checked_form()
    count = len(request.form.getlist("device"))
    if "another" in request.form:
        return _form(Answer(), request.form, min(count + 1, MOST_DEVICES))
    answer = attempt(lambda: take_in(desk(), guard.me().by, _typed_visit(), deed_key=form.key()))
    if not answer.done:
        return _form(answer, request.form, count)
    taken = answer.result
    assert isinstance(taken, TakenIn)
    if typed("terms"):
        attempt(lambda: accept_terms(desk(), guard.me().by, taken.visit_ref, typed("terms"), "tick"))
    for number in taken.numbers if typed("may_publish") else ():
        attempt(partial(publication.allow, desk(), guard.me().by, number, typed("language")))
    return redirect(url_for(".taken_in", number=spoken(taken.numbers[0])), 303)


@blueprint.get("/<number>/taken-in")
def taken_in(number: str) -> ResponseReturnValue:
    """The number, large, what to print, and whether the terms are accepted."""
    return _taken_in_page(number, Answer())


@blueprint.post("/<number>/terms")
def accept(number: str) -> ResponseReturnValue:
    """Note that the customer, here at the counter, accepts the terms."""
    checked_form()
    visit = visits.by_id(connection(), find(connection(), number).visit_id)
    answer = attempt(lambda: accept_terms(desk(), guard.me().by, visit.ref, typed("version"), "tick"))
    if answer.done:
        return redirect(url_for(".taken_in", number=number), 303)
    refresh()
    return _taken_in_page(number, answer)


def _taken_in_page(number: str, answer: Answer) -> ResponseReturnValue:
    found = find(connection(), number)
    terms = policy().terms
    accepted = acceptances.of_visit(connection(), found.visit_id)
    page = render_template(
        "bench/taken_in.html",
        ticket=found,
        siblings=tickets.of_visit(connection(), found.visit_id),
        contacts=visits.contacts_of(connection(), found.visit_id),
        accepted=accepted,
        prices=questions.terms_of_visit(connection(), found.visit_id),
        windows={each.number: each.kept for each in windows.of_visit(connection(), found.visit_id)},
        asked=terms if terms and all(each.terms_version != terms.version for each in accepted) else None,
        answer=answer,
        csrf=DeedForm(),
    )
    return page, answer.status


def _typed_visit() -> NewVisit:
    names = ("device", "fault", "kind", "price_way", "price_amount", "price_what")
    rows = zip_longest(*(request.form.getlist(name) for name in names), fillvalue="")
    needed_by = day("needed_by", typed("needed_by"))
    express = typed("express") == "1"
    devices = [
        NewDevice(device, fault, kind, needed_by=needed_by, express=express, price=TypedTerms(*price))
        for place, (device, fault, kind, *price) in enumerate(rows)
        if place == 0 or device.strip() or fault.strip()
    ]
    rights = request.form.getlist("second_may")
    return NewVisit(
        devices,
        name=typed("name"),
        email=typed("email"),
        phone=typed("phone"),
        phone_is_on_bench=typed("phone_is_on_bench") == "1",
        language=typed("language"),
        second=Second(
            typed("second_name"),
            typed("second_email"),
            typed("second_phone"),
            "told" in rights,
            "agree" in rights,
            "collect" in rights,
        ),
    )


def _contact_of(number: str) -> dict[str, str]:
    """What the form takes over from an earlier visit that still has its contact."""
    try:
        found = find(connection(), number)
    except (Unfit, NotFound) as unknown:
        raise Unfit("like", unknown.reasons[0] if isinstance(unknown, Unfit) else unknown.reason) from None
    owners = [contact for contact in visits.contacts_of(connection(), found.visit_id) if contact.role == "owner"]
    if not owners:
        raise Unfit("like", say("The contact of this repair is no longer on file."))
    visit = visits.by_id(connection(), found.visit_id)
    owner = owners[0]
    return {"name": owner.name, "email": owner.email, "phone": owner.phone, "language": visit.language}


def _under_warranty(number: str) -> tuple[str, date] | None:
    """The number and the last day of an earlier repair whose warranty lasts: its device comes back to that one."""
    try:
        found = find(connection(), number)
    except (Unfit, NotFound):
        return None
    until = warranty_of(found, policy())
    return (found.number, until) if until and local_today() <= until else None


def _form(answer: Answer, values: Mapping[str, str], count: int) -> ResponseReturnValue:
    page = render_template(
        "bench/take_in.html",
        answer=answer,
        typed=Filled(values),
        under_warranty=_under_warranty(values.get("like", "")),
        devices=request.form.getlist("device"),
        faults=request.form.getlist("fault"),
        kinds=request.form.getlist("kind"),
        ways=WAY_WORDS,
        allows=ALLOWS,
        price_ways=request.form.getlist("price_way"),
        price_amounts=request.form.getlist("price_amount"),
        price_whats=request.form.getlist("price_what"),
        count=max(count, 1),
        policy=policy(),
        deed_key=request.form.get("deed_key") or new_deed_key(),
        csrf=DeedForm(),
    )
    return page, answer.status
