"""Refusals and faults as pages in the reader's words; the one place where they get a status."""

from __future__ import annotations

import logging
import secrets

from flask import Flask, render_template
from flask.typing import ResponseReturnValue
from flask_wtf.csrf import CSRFError
from werkzeug.exceptions import HTTPException

from portal.actions.desk import NotFound
from portal.rules.refusals import Refused
from portal.rules.sentences import Sentence, say

log = logging.getLogger(__name__)

_SENTENCES = {
    400: say("The site could not read what was sent. Go back and try again; what you typed is still in the form."),
    403: say("This is not open to you. Log in as somebody who may do it, or ask the keeper of the shop."),
    404: say("There is nothing at this address. Please look at the letters of the address again."),
    405: say("This address does not take that kind of request. Go back and use the buttons of the page."),
    410: say("This link has ended. If you still need something, please ring the shop or write to it."),
    413: say("That was too much at once. Send less text or a smaller file."),
    429: say("That was tried too often. Please wait a few minutes and try again."),
}


def register(app: Flask) -> None:
    """Register the handlers."""
    app.register_error_handler(HTTPException, _http)
    app.register_error_handler(NotFound, lambda fault: _page(404, fault.reason))
    app.register_error_handler(Refused, lambda fault: _page(422, *fault.reasons))
    app.register_error_handler(Exception, _unexpected)


def _http(fault: HTTPException) -> ResponseReturnValue:
    if isinstance(fault, CSRFError):
        return _page(400, say("This form was opened in another login. Go back, log in again and send it once more."))
    status = fault.code or 500
    if fault.response is not None or status < 400:
        return fault.get_response()
    return _page(status, _SENTENCES.get(status, say("The site could not do this.")))


def _unexpected(fault: Exception) -> ResponseReturnValue:
    reference = secrets.token_hex(4)
    log.error("Unexpected fault %s: %s", reference, type(fault).__name__, exc_info=fault)
    return _page(
        500,
        say(
            "Something went wrong on our side. Nothing was changed. If it happens again, tell the shop this reference: "
            "{reference}.",
            reference=reference,
        ),
    )


def _page(status: int, *reasons: Sentence) -> ResponseReturnValue:
    return render_template("error.html", status=status, reasons=reasons), status
