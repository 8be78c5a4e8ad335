"""What a customer said at the counter on publishing pictures of the device; silence is a no."""

from __future__ import annotations

from functools import partial

from flask import redirect, url_for
from flask.typing import ResponseReturnValue

from portal.actions import publication as deeds
from portal.actions.desk import find
from portal.rules.numbers import parse_number, spoken
from portal.web import guard
from portal.web.bench import blueprint
from portal.web.bench.photos import photos_page
from portal.web.forms import attempt, checked_form, typed
from portal.web.request_context import connection, desk, refresh


@blueprint.post("/<number>/publication")
def say_publication(number: str) -> ResponseReturnValue:
    """Note that they allow it, or take it back."""
    form = checked_form()
    canonical = spoken(parse_number(number))
    deed = deeds.allow if typed("may") == "yes" else deeds.take_back
    answer = attempt(partial(deed, desk(), guard.me().by, canonical, deed_key=form.key()))
    if answer.done:
        return redirect(url_for(".photos", number=canonical, done="publication", _anchor="publication"), 303)
    refresh()
    return photos_page(find(connection(), canonical), answer, [])
