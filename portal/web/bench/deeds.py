"""The ticket's forms: one form, one route; done, the page is shown again, refused, it comes back as it was typed."""

from __future__ import annotations

from functools import partial

from flask import request
from flask.typing import ResponseReturnValue

from portal.actions import links, moves, notes, shelf
from portal.actions.contacts import ContactTyped, change_contact
from portal.web.bench import blueprint
from portal.web.bench.doing import Deed, do
from portal.web.bench.ticket import ticket_page
from portal.web.forms import typed


@blueprint.post("/<number>/move")
def move(number: str) -> ResponseReturnValue:
    """Move the ticket to a stage."""
    confirmed = typed("confirmed") == "1"
    return _do(number, "move", partial(moves.move, stage=typed("stage"), why=typed("why"), confirmed=confirmed))


@blueprint.post("/<number>/hold")
def hold(number: str) -> ResponseReturnValue:
    """Make the ticket wait, or go on."""
    return _do(number, "hold", partial(moves.hold, kind=typed("kind"), why=typed("why")))


@blueprint.post("/<number>/note")
def note(number: str) -> ResponseReturnValue:
    """Write a note."""
    audience: notes.Audience = "customer" if typed("audience") == "customer" else "bench"
    return _do(
        number, "note", partial(notes.note, text=typed("text"), audience=audience, confirmed=typed("confirmed") == "1")
    )


@blueprint.post("/<number>/correct")
def correct(number: str) -> ResponseReturnValue:
    """Put an entry right by a new one."""
    entry = typed("entry")
    wanted = int(entry) if entry.isdecimal() and len(entry) < 7 else 0
    return _do(
        number, "correct", partial(notes.correct, entry=wanted, text=typed("text"), confirmed=typed("confirmed") == "1")
    )


@blueprint.post("/<number>/shelf")
def put_on_shelf(number: str) -> ResponseReturnValue:
    """Say where the device lies, until when it is needed, and whether it is urgent."""
    express = typed("express") == "1"
    deed = partial(shelf.put, place=typed("place"), needed_by=typed("needed_by"), express=express)
    return _do(number, "shelf", deed)


@blueprint.post("/<number>/contact/<any(owner, second):role>")
def contact(number: str, role: str) -> ResponseReturnValue:
    """Put a contact right, or name a second person."""
    rights = request.form.getlist("may")
    written = ContactTyped(
        typed("name"),
        typed("email"),
        typed("phone"),
        typed("phone_is_on_bench") == "1",
        "told" in rights,
        "agree" in rights,
        "collect" in rights,
    )
    return _do(number, f"contact-{role}", partial(change_contact, role=role, typed=written))


@blueprint.post("/<number>/renew-link")
def renew_link(number: str) -> ResponseReturnValue:
    """Give the docket a new link; the old one dies."""
    return _do(number, "renew-link", links.renew_docket)


def _do(number: str, name: str, deed: Deed) -> ResponseReturnValue:
    return do(number, name, deed, ticket_page, ".ticket")
