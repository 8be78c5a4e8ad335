"""Posting a device back: the packing list, the parcel, and what became of it."""

from __future__ import annotations

from functools import partial

from flask import render_template, request
from flask.typing import ResponseReturnValue

from portal.actions import posting as deeds
from portal.actions import return_ways
from portal.actions.desk import find
from portal.actions.handover import owing_in_words
from portal.actions.posting import Packed
from portal.actions.return_ways import Wanted
from portal.rules.posting import ASK_THE_CARRIER, PACKING
from portal.rules.return_ways import Way
from portal.store import announcements, handovers
from portal.store.tickets import Ticket
from portal.web import guard
from portal.web.bench import blueprint
from portal.web.bench.doing import do, form_context
from portal.web.forms import Answer, typed
from portal.web.request_context import connection, local_today, policy


@blueprint.get("/<number>/post")
def posting(number: str) -> ResponseReturnValue:
    """The packing list; once the parcel is on its way, the forms for its arrival or return."""
    return posting_page(find(connection(), number))


@blueprint.post("/<number>/post")
def post_back(number: str) -> ResponseReturnValue:
    """The parcel goes."""
    packed = Packed(
        typed("carrier"), typed("reference"), typed("posted_on"), request.form.getlist("packed"), typed("unsettled")
    )
    deed = partial(deeds.post_back, typed=packed, confirmed=typed("confirmed") == "1")
    return do(number, "post", deed, posting_page, ".handed_over")


@blueprint.post("/<number>/post/address")
def write_address(number: str) -> ResponseReturnValue:
    """Write down an address that the customer said and confirmed."""
    wanted = Wanted(Way.POST, address=typed("address"), confirmed=typed("confirmed_address") == "1")
    return do(number, "address", partial(return_ways.choose, wanted=wanted), posting_page, ".posting")


@blueprint.post("/<number>/parcel/arrived")
def parcel_arrived(number: str) -> ResponseReturnValue:
    """The parcel is with its owner."""
    return do(number, "arrived", partial(deeds.arrived, day=typed("day")), posting_page, ".handed_over")


@blueprint.post("/<number>/parcel/came-back")
def parcel_came_back(number: str) -> ResponseReturnValue:
    """The parcel is here again."""
    deed = partial(deeds.came_back, day=typed("day"), why=typed("why"))
    return do(number, "came-back", deed, posting_page, ".ticket")


def posting_page(found: Ticket, answer: Answer | None = None, form: str = "") -> ResponseReturnValue:
    """The page, after a refusal with everything typed still in it."""
    answer = answer or Answer()
    known = announcements.of_ticket(connection(), found.id)
    page = render_template(
        "bench/posting.html",
        ticket=found,
        is_ready=found.stage == policy().stages[-1].key,
        last=policy().stages[-1],
        choice=handovers.choice(connection(), found.id),
        Way=Way,
        parcel=handovers.parcel(connection(), found.id),
        return_address=known.return_address if known else "",
        may_be_posted=return_ways.may_be_posted(connection(), found),
        owing=owing_in_words(connection(), found, policy()),
        is_keeper=guard.me().is_keeper,
        packing=PACKING,
        ask_the_carrier=ASK_THE_CARRIER,
        today=local_today(),
        **form_context(answer, form),
    )
    return page, answer.status
