"""Deciding about a message that did not arrive, by the forms on the ticket's page."""

from __future__ import annotations

from functools import partial

from flask.typing import ResponseReturnValue

from portal.actions import undelivered
from portal.web.bench import blueprint
from portal.web.bench.doing import do
from portal.web.bench.ticket import ticket_page
from portal.web.forms import typed


@blueprint.post("/<number>/undelivered/<int:message>")
def decide_undelivered(number: str, message: int) -> ResponseReturnValue:
    """Send it again, or leave it, told another way or not."""
    deed = partial(undelivered.decide, message=message, decision=typed("decision"))
    return do(number, "undelivered", deed, ticket_page, ".ticket")
