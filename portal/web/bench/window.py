"""When a device will be ready: a day promised by hand, and the word to its customer when a window moves."""

from __future__ import annotations

from functools import partial

from flask.typing import ResponseReturnValue

from portal.actions import windows
from portal.web.bench import blueprint
from portal.web.bench.doing import do
from portal.web.bench.ticket import ticket_page
from portal.web.forms import typed


@blueprint.post("/<number>/promise")
def promise(number: str) -> ResponseReturnValue:
    """Promise a day by hand."""
    return do(number, "promise", partial(windows.promise, promised_on=typed("promised_on")), ticket_page, ".ticket")


@blueprint.post("/<number>/window-moved")
def tell_moved(number: str) -> ResponseReturnValue:
    """Tell the customer that it takes longer."""
    return do(number, "window-moved", partial(windows.tell_moved, because=typed("because")), ticket_page, ".ticket")
