"""Pairs of photos at the bench: made of a before and an after, shown aligned or as taken, taken apart."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial

from flask import redirect, url_for
from flask.typing import ResponseReturnValue

from portal.actions import photo_pairs as deeds
from portal.actions.desk import find
from portal.rules.numbers import parse_number, spoken
from portal.web import guard
from portal.web.bench import blueprint
from portal.web.bench.photos import photos_page
from portal.web.forms import attempt, checked_form, typed
from portal.web.request_context import connection, desk, installation, refresh


@blueprint.post("/<number>/photo-pairs")
def make_pair(number: str) -> ResponseReturnValue:
    """Make a pair."""
    return _done(
        number, partial(deeds.make, files=installation().photo_files, before=typed("before"), after=typed("after"))
    )


@blueprint.post("/<number>/photo-pairs/<ref>/shown")
def show_pair(number: str, ref: str) -> ResponseReturnValue:
    """Show the after picture as it was taken, or laid over the before picture."""
    return _done(number, partial(deeds.show_as_taken, ref=ref, as_taken=typed("as_taken") == "1"))


@blueprint.post("/<number>/photo-pairs/<ref>/apart")
def take_pair_apart(number: str, ref: str) -> ResponseReturnValue:
    """Make two photos of it again."""
    return _done(number, partial(deeds.take_apart, files=installation().photo_files, ref=ref))


def _done(number: str, deed: Callable[..., object]) -> ResponseReturnValue:
    """Do it and go back to the photos; refused, the page says why."""
    form = checked_form()
    canonical, by = spoken(parse_number(number)), guard.me().by
    refresh()  # laying photos over one another takes a while, and must not hold the database meanwhile
    answer = attempt(partial(deed, desk=desk(), by=by, number=canonical, deed_key=form.key()))
    if answer.done:
        return redirect(url_for(".photos", number=canonical, _anchor="pairs"), 303)
    refresh()
    return photos_page(find(connection(), canonical), answer, [])
