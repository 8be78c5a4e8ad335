"""Finding a ticket by number, name, last digits of the phone, or device; a scanner may type into it from anywhere."""

from __future__ import annotations

import re

from flask import redirect, render_template, request, url_for
from flask.typing import ResponseReturnValue

from portal.rules.numbers import parse_number, spoken
from portal.rules.refusals import Unfit
from portal.store import search, tickets
from portal.web.bench import blueprint
from portal.web.request_context import connection, desk

_OWN_LABEL = re.compile(r"/bench/([0-9 .\-]+)$", re.IGNORECASE)


@blueprint.get("/find")
def find_tickets() -> ResponseReturnValue:
    """One hit by number goes straight to its page."""
    asked = request.args.get("q", "")[:200]
    label = _OWN_LABEL.search(asked)
    try:
        number = parse_number(label[1] if label else asked)
    except Unfit:
        number = ""
    if number and tickets.by_number(connection(), number):
        return redirect(url_for(".ticket", number=spoken(number)))
    found = search.find(connection(), asked)
    return render_template("bench/find.html", asked=asked, found=found, now=desk().clock.now(), most=search.MOST)
