"""Handing a device over at the counter: one page, few taps; and what is shown and printed once it is done."""

from __future__ import annotations

import json
from datetime import timedelta
from functools import partial
from typing import Any

from flask import render_template, request
from flask.typing import ResponseReturnValue

from portal.actions import collection_codes, handover, return_ways
from portal.actions.desk import find
from portal.actions.handover import Handed, owing_in_words
from portal.actions.return_ways import Wanted
from portal.actions.warranty import warranty_of
from portal.rules.collection_days import open_days
from portal.rules.handing_over import CHECKS
from portal.rules.return_ways import WAY_WORDS, Way
from portal.rules.stages import Ending
from portal.store import handovers, money, records, tickets, visits, wishes
from portal.store.tickets import Ticket
from portal.web import guard
from portal.web.bench import blueprint
from portal.web.bench.doing import do, form_context
from portal.web.forms import Answer, typed
from portal.web.request_context import connection, desk, policy
from portal.web.signature import paths


@blueprint.get("/<number>/handover")
def handing_over(number: str) -> ResponseReturnValue:
    """The form for the counter; once the device has left, what was looked at."""
    return handover_page(find(connection(), number))


@blueprint.post("/<number>/handover")
def hand_over(number: str) -> ResponseReturnValue:
    """Hand the device over."""
    deed = partial(handover.hand_over, handed=_handed(), confirmed=typed("confirmed") == "1")
    return do(number, "handover", deed, handover_page, ".handed_over")


@blueprint.post("/<number>/choice")
def choose_for_customer(number: str) -> ResponseReturnValue:
    """Write down how the customer wants the device back, as they said."""
    wanted = Wanted(typed("way"), typed("day"), typed("person"), typed("address"), typed("confirmed_address") == "1")
    return do(number, "choice", partial(return_ways.choose, wanted=wanted), handover_page, ".handing_over")


@blueprint.get("/<number>/handed-over")
def handed_over(number: str) -> ResponseReturnValue:
    """What is said at the counter once the device is gone: the warranty's end, and its card to print."""
    return _done_page(find(connection(), number), Answer())


@blueprint.post("/<number>/undo-handover")
def undo_handover(number: str) -> ResponseReturnValue:
    """Undo an end that was a mistake."""

    def page(found: Ticket, answer: Answer, _form: str) -> ResponseReturnValue:
        return _done_page(found, answer)

    return do(number, "undo", partial(handover.undo, why=typed("why")), page, ".ticket")


def handover_page(found: Ticket, answer: Answer | None = None, form: str = "") -> ResponseReturnValue:
    """The page, after a refusal with everything typed still in it."""
    if found.ending:
        return _done_page(found, answer or Answer())
    answer = answer or Answer()
    rules, version = policy(), records.newest(connection(), found.id)
    contacts = visits.contacts_of(connection(), found.visit_id)
    last = rules.stages[-1]
    page = render_template(
        "bench/handover.html",
        ticket=found,
        is_ready=found.stage == last.key,
        last=last,
        items=version.record.items if version else (),
        choice=handovers.choice(connection(), found.id),
        way_words=WAY_WORDS,
        Way=Way,
        offers=[Way(way) for way in rules.handover.offers],
        days=[each.day for each in open_days(desk().clock.now(), rules)],
        may_be_posted=return_ways.may_be_posted(connection(), found),
        owner=next((each for each in contacts if each.role == "owner"), None),
        siblings=[each for each in _siblings(found) if each.stage == last.key and each.ending is None],
        has_stub=collection_codes.needs_stub(contacts, rules),
        owing=owing_in_words(connection(), found, rules),
        is_keeper=guard.me().is_keeper,
        may_without=guard.me().is_keeper or rules.handover.bench_without_code,
        checks=CHECKS,
        **form_context(answer, form),
    )
    return page, answer.status


def _done_page(found: Ticket, answer: Answer) -> ResponseReturnValue:
    rules, now = policy(), desk().clock.now()
    minutes = rules.handover.undo_minutes
    went = handovers.newest(connection(), found.id) if found.ending is Ending.COLLECTED else None
    page = render_template(
        "bench/handed_over.html",
        ticket=found,
        went=went,
        statement=money.standing_statement(connection(), found.id),
        parcel=handovers.parcel(connection(), found.id),
        signature=paths(wishes.signature(connection(), found.id, went.entry)) if went else [],
        warranty_until=warranty_of(found, policy()),
        checks=CHECKS,
        siblings=[each for each in _siblings(found) if each.ending is None],
        may_undo=bool(found.ended_at and now - found.ended_at <= timedelta(minutes=minutes)),
        undo_minutes=minutes,
        **form_context(answer),
    )
    return page, answer.status


def _siblings(found: Ticket) -> list[Ticket]:
    return [each for each in tickets.of_visit(connection(), found.visit_id) if each.id != found.id]


def _handed() -> Handed:
    places = [int(place) for place in request.form.getlist("went") if place.isdecimal() and len(place) < 4]
    return Handed(
        code=typed("code"),
        why=typed("why"),
        checked=request.form.getlist("checked"),
        items=places,
        missing=typed("missing"),
        unsettled=typed("unsettled"),
        tested=typed("tested") == "1",
        strokes=_strokes(),
    )


def _strokes() -> Any:
    """What was drawn, or None where nobody signed; what cannot be read is left to the rules to refuse."""
    text = typed("strokes")
    if text in ("", "[]"):
        return None
    try:
        return json.loads(text)
    except (ValueError, RecursionError):
        return text
