"""Parts of a ticket and work given free; and the one list of all parts awaited, where a delivery is ticked off."""

from __future__ import annotations

from functools import partial

from flask import abort, redirect, render_template, request, url_for
from flask.typing import ResponseReturnValue

from portal.actions import cautions
from portal.actions import parts as deeds
from portal.actions.desk import By, Desk, Outcome, find
from portal.actions.parts import Tick
from portal.actions.shelf import day
from portal.rules import parts as rules
from portal.rules.refusals import Unfit, needs
from portal.rules.sentences import say
from portal.store import parts as store
from portal.store.tickets import Ticket
from portal.web import guard
from portal.web.bench import blueprint
from portal.web.bench.doing import do, form_context
from portal.web.bench.ticket import ticket_page
from portal.web.forms import Answer, DeedForm, Filled, attempt, checked_form, new_deed_key, typed
from portal.web.request_context import connection, desk, local_today, policy

STATE_WORDS = {
    rules.State.ORDERED: say("ordered"),
    rules.State.FITTED: say("fitted"),
    **rules.DELIVERY_WORDS,
}


@blueprint.get("/<number>/parts")
def parts(number: str) -> ResponseReturnValue:
    """The ticket's parts."""
    return parts_page(find(connection(), number))


@blueprint.post("/<number>/parts/order")
def order_part(number: str) -> ResponseReturnValue:
    """Order a part; the ticket waits for it."""

    def deed(at: Desk, by: By, wanted: str, *, seen: int, deed_key: str | None) -> Outcome:
        expected = day("expected_on", typed("expected_on"))
        if expected is None:
            raise needs("expected_on", say("The day it is expected"))
        return deeds.order(
            at,
            by,
            wanted,
            typed("what"),
            typed("supplier"),
            expected,
            reference=typed("reference"),
            warranty_months=_months(),
            seen=seen,
            deed_key=deed_key,
        )

    return do(number, "order", deed, parts_page, ".parts")


@blueprint.post("/<number>/parts/fit")
def fit_part(number: str) -> ResponseReturnValue:
    """Fit a part that has arrived."""
    text = typed("part")
    part = int(text) if text.isdecimal() and len(text) < 6 else 0
    return do(number, "fit", partial(deeds.fit, part=part), parts_page, ".parts")


@blueprint.post("/<number>/parts/stock")
def fit_from_stock(number: str) -> ResponseReturnValue:
    """Fit a part that was at hand."""

    def deed(at: Desk, by: By, wanted: str, *, seen: int, deed_key: str | None) -> Outcome:
        return deeds.fit_from_stock(
            at,
            by,
            wanted,
            typed("what"),
            supplier=typed("supplier"),
            reference=typed("reference"),
            warranty_months=_months(),
            used=typed("used") == "1",
            donor=_donor(),
            seen=seen,
            deed_key=deed_key,
        )

    return do(number, "stock", deed, parts_page, ".parts")


@blueprint.post("/<number>/parts/courtesy")
def give_free(number: str) -> ResponseReturnValue:
    """List work as given free."""
    return do(number, "courtesy", partial(deeds.give, what=typed("what")), parts_page, ".parts")


@blueprint.post("/<number>/cautions")
def acknowledge(number: str) -> ResponseReturnValue:
    """The cautions shown were read."""

    def deed(at: Desk, by: By, wanted: str, *, seen: int, deed_key: str | None) -> Outcome:
        return cautions.acknowledge(at, by, wanted, deed_key=deed_key)

    return do(number, "cautions", deed, ticket_page, ".ticket")


@blueprint.get("/parts")
def parts_due() -> ResponseReturnValue:
    """All parts awaited."""
    return _due_page(Answer())


@blueprint.post("/parts")
def tick_off() -> ResponseReturnValue:
    """Tick a delivery off; tickets for which nothing more is awaited go on."""
    form = checked_form()
    ticks = [
        Tick(number, int(part), typed(f"how {number} {part}"))
        for number, _, part in (each.partition(" ") for each in request.form.getlist("part"))
        if part.isdecimal() and len(part) < 6 and typed(f"how {number} {part}")
    ]
    answer = attempt(lambda: deeds.settle_delivery(desk(), guard.me().by, ticks, deed_key=form.key()))
    if answer.done:
        return redirect(url_for(".parts_due"), 303)
    return _due_page(answer)


@blueprint.get("/donors")
def donors() -> ResponseReturnValue:
    """The devices that parts are taken from, where the shop keeps such a list."""
    return _donors_page(Answer())


@blueprint.post("/donors")
def add_donor() -> ResponseReturnValue:
    """Put a device on the list, with its owner's written consent."""
    checked_form()
    answer = attempt(lambda: deeds.add_donor(desk(), typed("device"), typed("whose"), typed("consent")))
    if answer.done:
        return redirect(url_for(".donors"), 303)
    return _donors_page(answer)


def _donors_page(answer: Answer) -> ResponseReturnValue:
    if not policy().bench.donors:
        abort(404)
    listed = [(donor, store.taken_from(connection(), donor.id)) for donor in store.all_donors(connection())]
    page = render_template(
        "bench/donors.html", donors=listed, answer=answer, typed=Filled(request.form), csrf=DeedForm()
    )
    return page, answer.status


def parts_page(found: Ticket, answer: Answer | None = None, form: str = "") -> ResponseReturnValue:
    """The page; after a refusal with what was typed still in it."""
    answer = answer or Answer()
    page = render_template(
        "bench/parts.html",
        ticket=found,
        parts=store.of_ticket(connection(), found.id),
        given=store.given(connection(), found.id),
        states=STATE_WORDS,
        origins=rules.ORIGIN_WORDS,
        donors=store.all_donors(connection()) if policy().bench.donors else [],
        **form_context(answer, form),
    )
    return page, answer.status


def _due_page(answer: Answer) -> ResponseReturnValue:
    page = render_template(
        "bench/parts_due.html",
        due=store.due(connection()),
        today=local_today(),
        how=rules.DELIVERY_WORDS,
        answer=answer,
        typed=Filled(request.form),
        deed_key=new_deed_key(),
        csrf=DeedForm(),
    )
    return page, answer.status


def _donor() -> int | None:
    text = typed("donor")
    return int(text) if text.isdecimal() and len(text) < 9 else None


def _months() -> int | None:
    text = typed("warranty_months").strip()
    if not text:
        return None
    if not text.isdecimal() or len(text) > 4:
        raise Unfit("warranty_months", say("“{typed}” is no number of months.", typed=text))
    return int(text)
