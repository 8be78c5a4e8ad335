"""`/t/<token>/give-up/<number>`: the owner says in writing that they give a device up, or want its data destroyed.

By the owner's own link only, by typing a word; until it is done they can take it back.
"""

from __future__ import annotations

from collections.abc import Callable

from flask import abort, redirect, render_template, request, url_for
from flask.typing import ResponseReturnValue

from portal.actions import giving_up as deeds
from portal.actions.desk import CUSTOMER, Outcome
from portal.actions.links import Reader
from portal.rules.giving_up import DATA_WORDS, DESTROY_WORDS, GIVES_UP, KEEPS, WASTE, WORDS, Data
from portal.rules.numbers import spoken
from portal.store import wishes
from portal.store.tickets import Ticket
from portal.web.customer import blueprint
from portal.web.customer.docket import look_up
from portal.web.customer.doing import attempt_on_ticket
from portal.web.customer.languages import asked
from portal.web.customer.report import back, ticket_of
from portal.web.forms import Answer, Filled, deed_key_typed, new_deed_key, typed
from portal.web.request_context import connection, desk, refresh, speaking


@blueprint.get("/t/<token>/give-up/<number>")
def give_up(token: str, number: str) -> ResponseReturnValue:
    """What giving up means, and the form for the owner."""
    reader = look_up(token).reader
    return _page(token, reader, ticket_of(reader.visit.id, number), Answer())


@blueprint.post("/t/<token>/give-up/<number>")
def wish(token: str, number: str) -> ResponseReturnValue:
    """Say so, by a typed word."""
    gives_up = typed("gives_up") == "1"

    def deed(found: Ticket, key: str | None) -> Outcome:
        tag = speaking().tag
        return deeds.wish_on_page(desk(), found.number, gives_up, typed("data"), typed("word")[:40], tag, deed_key=key)

    return _do(token, number, deed)


@blueprint.post("/t/<token>/give-up/<number>/back")
def wish_back(token: str, number: str) -> ResponseReturnValue:
    """Take it back, while the device is here."""
    return _do(token, number, lambda found, key: deeds.take_back(desk(), CUSTOMER, found.number, deed_key=key))


def is_owner(reader: Reader) -> bool:
    """Whether the owner reads by their own link."""
    return reader.contact is not None and reader.contact.role == "owner"


def _do(token: str, number: str, deed: Callable[[Ticket, str | None], Outcome]) -> ResponseReturnValue:
    reader = look_up(token).reader
    found = ticket_of(reader.visit.id, number)
    if not is_owner(reader):
        abort(403)
    answer = attempt_on_ticket(lambda: deed(found, deed_key_typed()))
    if answer.done:
        return redirect(url_for("customer.give_up", token=token, number=spoken(found.number), lang=asked()), 303)
    refresh()
    reader = look_up(token).reader
    return _page(token, reader, ticket_of(reader.visit.id, number), answer)


def _page(token: str, reader: Reader, found: Ticket, answer: Answer) -> ResponseReturnValue:
    language = speaking().tag.split("-")[0]
    page = render_template(
        "customer/give_up.html",
        ticket=found,
        owner=is_owner(reader),
        kept=wishes.standing(connection(), found.id) if is_owner(reader) else None,
        here=found.ending is None and found.stage is not None,
        data_words=DATA_WORDS,
        Data=Data,
        gives_up=GIVES_UP,
        keeps=KEEPS,
        waste=WASTE,
        word=WORDS.get(language, WORDS["en"]),
        destroy_word=DESTROY_WORDS.get(language, DESTROY_WORDS["en"]),
        token=token,
        answer=answer,
        typed=Filled(request.form),
        deed_key=new_deed_key(),
        back=back(token),
    )
    return page, answer.status
