"""Refusals and faults as pages in the reader's words; the one place where they get a status.

These pages must come even when the database or the policy cannot be reached, so each has a plain form that needs
neither.
"""

from __future__ import annotations

import errno
import logging
import secrets
import traceback

from flask import Flask, render_template
from flask.typing import ResponseReturnValue
from flask_wtf.csrf import CSRFError
from markupsafe import Markup
from sqlalchemy.exc import OperationalError
from werkzeug.exceptions import HTTPException

from portal.actions.desk import NoPolicy, NotFound
from portal.rules.refusals import Refused
from portal.rules.sentences import Sentence, say
from portal.rules.throttle import TooOften
from portal.store.photo_files import FULL, StoreSilent
from portal.web import kept

log = logging.getLogger(__name__)

_SENTENCES = {
    400: say("The site could not read what was sent. Go back and try again; what you typed is still in the form."),
    403: say("This is not open to you. Log in as somebody who may do it, or ask the keeper of the shop."),
    404: say("There is nothing at this address. Please look at the letters of the address again."),
    405: say("This address does not take that kind of request. Go back and use the buttons of the page."),
    410: say("This link has ended. If you still need something, please ring the shop or write to it."),
    413: say("That was too much at once. Send less text, or fewer or smaller files."),
    415: say("The site does not know this kind of file or form. Go back and use the page’s own form."),
    429: say("That was tried too often. Please wait a few minutes and try again."),
}
_NOT_READY = say("The shop’s site cannot answer just now. Nothing was changed. Please try again in a few minutes.")
_NO_ROOM = say("The shop’s computer has no room left. Nothing was kept. Please tell the keeper of the shop.")
_PLAIN = Markup(
    '<!doctype html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n'
    '<meta name="viewport" content="width=device-width, initial-scale=1">\n<title>That did not work</title>\n'
    "</head>\n<body>\n<main>\n<h1>That did not work</h1>\n{}</main>\n</body>\n</html>\n"
)


def register(app: Flask) -> None:
    """Register the handlers."""
    app.register_error_handler(CSRFError, lambda _fault: kept.wrong_session())
    app.register_error_handler(HTTPException, _http)
    app.register_error_handler(NotFound, lambda fault: _page(404, fault.reason))
    app.register_error_handler(TooOften, lambda fault: _page(429, *fault.reasons))
    app.register_error_handler(Refused, lambda fault: _page(422, *fault.reasons))
    app.register_error_handler(NoPolicy, _not_ready)
    app.register_error_handler(OperationalError, _not_ready)
    app.register_error_handler(StoreSilent, _not_ready)
    app.register_error_handler(OSError, _no_room)
    app.register_error_handler(Exception, _unexpected)


def _http(fault: HTTPException) -> ResponseReturnValue:
    status = fault.code or 500
    if fault.response is not None or status < 400:
        return fault.get_response()
    body, status = _page(status, _SENTENCES.get(status, say("The site could not do this.")))
    # What the standard asks for beside the body, as `Allow` with 405 (RFC 9110 section 15.5.6).
    return body, status, [(name, value) for name, value in fault.get_headers() if name == "Allow"]


def _not_ready(fault: Exception) -> ResponseReturnValue:
    log.error("The site is not ready: %s", type(fault).__name__)
    body, status = _page(503, _NOT_READY)
    return body, status, {"Retry-After": "60"}


def _no_room(fault: OSError) -> ResponseReturnValue:
    """For what a full disk breaks anywhere, for example where a large form is put down before it is read."""
    if fault.errno not in FULL:
        return _unexpected(fault)
    log.error("There is no room left: %s", errno.errorcode[fault.errno])
    return _page(507, _NO_ROOM)


def _unexpected(fault: Exception) -> ResponseReturnValue:
    """Log where it happened, and not the fault's own text: that may hold what somebody typed."""
    reference = secrets.token_hex(4)
    where = "".join(traceback.format_tb(fault.__traceback__))
    log.error("Unexpected fault %s: %s\n%s", reference, type(fault).__name__, where)
    return _page(
        500,
        say(
            "Something went wrong on our side. Nothing was changed. If it happens again, tell the shop this reference: "
            "{reference}.",
            reference=reference,
        ),
    )


def _page(status: int, *reasons: Sentence) -> tuple[str, int]:
    try:
        return render_template("error.html", status=status, reasons=reasons), status
    except Exception as fault:
        log.error("The page of an error could not be made: %s", type(fault).__name__)
        return _PLAIN.format(Markup("").join(Markup("<p>{}</p>\n").format(str(reason)) for reason in reasons)), status
