"""A device that its owner gives up, or whose data they want destroyed: the wish in writing, and its end."""

from __future__ import annotations

from functools import partial

from flask import render_template
from flask.typing import ResponseReturnValue

from portal.actions import giving_up as deeds
from portal.actions.desk import find
from portal.rules.giving_up import DATA_WORDS, GIVES_UP, HOW_WORDS, KEEPS, WASTE, Data, How
from portal.store import wishes
from portal.store.tickets import Ticket
from portal.web import guard
from portal.web.bench import blueprint
from portal.web.bench.doing import do, form_context
from portal.web.forms import Answer, typed
from portal.web.request_context import connection


@blueprint.get("/<number>/give-up")
def giving_up(number: str) -> ResponseReturnValue:
    """The wish that stands, or the form to write one down."""
    return giving_up_page(find(connection(), number))


@blueprint.post("/<number>/give-up/wish")
def write_wish(number: str) -> ResponseReturnValue:
    """Write down what the owner wrote."""
    gives_up = typed("gives_up") == "1"
    deed = partial(deeds.wish_on_paper, gives_up=gives_up, data=typed("data"), how=typed("how"), where=typed("where"))
    return do(number, "wish", deed, giving_up_page, ".giving_up")


@blueprint.post("/<number>/give-up/back")
def take_wish_back(number: str) -> ResponseReturnValue:
    """The owner takes the wish back."""
    return do(number, "back", deeds.take_back, giving_up_page, ".giving_up")


@blueprint.post("/<number>/give-up/destroyed")
def destroy_data(number: str) -> ResponseReturnValue:
    """What carries data was destroyed; the device itself stays the owner's."""
    return do(number, "destroyed", partial(deeds.destroy_data, how=typed("destroyed")), giving_up_page, ".ticket")


@blueprint.post("/<number>/give-up")
def give_up(number: str) -> ResponseReturnValue:
    """End the ticket of a device that was given up."""
    deed = partial(deeds.give_up, data_done=typed("data_done"), recycler=typed("recycler"))
    return do(number, "give-up", deed, giving_up_page, ".handed_over")


def giving_up_page(found: Ticket, answer: Answer | None = None, form: str = "") -> ResponseReturnValue:
    """The page, after a refusal with everything typed still in it."""
    answer = answer or Answer()
    page = render_template(
        "bench/giving_up.html",
        ticket=found,
        kept=wishes.standing(connection(), found.id),
        is_keeper=guard.me().is_keeper,
        data_words=DATA_WORDS,
        how_words=HOW_WORDS,
        hows=[how for how in How if how is not How.PAGE],
        Data=Data,
        gives_up=GIVES_UP,
        keeps=KEEPS,
        waste=WASTE,
        **form_context(answer, form),
    )
    return page, answer.status
