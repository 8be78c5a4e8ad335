"""What a customer asks for on the telephone about their messages: how they hear from us, how much, which language."""

from __future__ import annotations

from dataclasses import dataclass
from functools import partial

from flask import render_template, request
from flask.typing import ResponseReturnValue
from werkzeug.datastructures import MultiDict

from portal.actions import choices as deeds
from portal.actions.desk import find
from portal.store import visits
from portal.store.tickets import Ticket
from portal.store.visits import Contact, Visit
from portal.web import choosing
from portal.web.bench import blueprint
from portal.web.bench.doing import do, form_context
from portal.web.choosing import Way
from portal.web.customer.languages import all_choices
from portal.web.forms import Answer, Filled
from portal.web.request_context import connection


@dataclass(frozen=True)
class Form:
    """One contact's form: what it is called, its ways, what stands in it."""

    contact: Contact
    name: str
    ways: list[Way]
    filled: Filled
    places: list[str]


@blueprint.get("/<number>/choices")
def choices(number: str) -> ResponseReturnValue:
    """What each contact has chosen, in forms."""
    return _page(find(connection(), number), Answer(), "")


@blueprint.post("/<number>/choices/<any(owner, second):role>")
def choose(number: str, role: str) -> ResponseReturnValue:
    """Keep what a contact asked for."""
    deed = partial(deeds.choose_for, role=role, chosen=choosing.typed_choices(), installed=choosing.installed())
    return do(number, f"choices-{role}", deed, _page, ".choices")


def _page(found: Ticket, answer: Answer, form: str) -> ResponseReturnValue:
    visit = visits.by_id(connection(), found.visit_id)
    page = render_template(
        "bench/choices.html",
        ticket=found,
        forms=[_form(visit, contact, form) for contact in visits.contacts_of(connection(), visit.id)],
        amounts=choosing.AMOUNTS,
        languages=all_choices(),
        done="done" in request.args and answer.done,
        **form_context(answer, form),
    )
    return page, answer.status


def _form(visit: Visit, contact: Contact, form: str) -> Form:
    name, ways = f"choices-{contact.role}", choosing.ways(contact)
    filled: MultiDict[str, str] = request.form if form == name else choosing.chosen_now(visit, contact)
    return Form(contact, name, ways, Filled(filled), choosing.places(filled.getlist("way"), len(ways)))
