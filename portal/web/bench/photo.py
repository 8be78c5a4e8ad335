"""One photo at the bench: its words are put right, parts of it are hidden, something is pointed out on a copy."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from functools import partial
from typing import Any

from flask import redirect, render_template, request, url_for
from flask.typing import ResponseReturnValue
from werkzeug.datastructures import MultiDict

from portal.actions import photo_copies, photo_hiding, photo_words
from portal.actions.desk import find
from portal.actions.photos import found_photo
from portal.rules.numbers import parse_number, spoken
from portal.rules.photo_moments import MOMENT_WORDS
from portal.rules.picture_parts import FIELDS, MOST, POINTERS, read_parts
from portal.store import photos as store
from portal.store.photos import Photo
from portal.web import guard
from portal.web.bench import blueprint
from portal.web.forms import Answer, DeedForm, Filled, attempt, checked_form, new_deed_key, typed
from portal.web.request_context import connection, desk, installation, policy, refresh
from portal.web.uploads import STATUS

Page = Callable[[str, str, Answer], ResponseReturnValue]


@blueprint.get("/<number>/photos/<ref>")
def one_photo(number: str, ref: str) -> ResponseReturnValue:
    """The photo with all that is said of it."""
    return _photo_page(number, ref, Answer())


@blueprint.post("/<number>/photos/<ref>")
def describe_photo(number: str, ref: str) -> ResponseReturnValue:
    """Put right what is said of it."""
    deed = partial(
        photo_words.describe,
        moment=typed("moment"),
        caption=typed("caption"),
        stage=typed("stage"),
        audience=typed("audience"),
    )
    return _do(number, ref, "said", deed, _photo_page)


@blueprint.get("/<number>/photos/<ref>/hide")
def hiding(number: str, ref: str) -> ResponseReturnValue:
    """The photo, to draw rectangles over what is to be hidden."""
    return _hiding_page(number, ref, Answer())


@blueprint.post("/<number>/photos/<ref>/hide")
def hide_parts(number: str, ref: str) -> ResponseReturnValue:
    """Hide what lies under the rectangles, for good."""

    def hide(**who: Any) -> object:
        return photo_hiding.hide(
            files=installation().photo_files, parts=read_parts(_rows()), release=typed("release") == "1", **who
        )

    return _do(number, ref, "hidden", hide, _hiding_page)


@blueprint.get("/<number>/photos/<ref>/point-out")
def pointing_out(number: str, ref: str) -> ResponseReturnValue:
    """The photo, to draw a rectangle around what is to be shown."""
    return _pointing_page(number, ref, Answer())


@blueprint.post("/<number>/photos/<ref>/point-out")
def point_out(number: str, ref: str) -> ResponseReturnValue:
    """Draw a ring or an arrow on a copy."""

    def draw(**who: Any) -> object:
        return photo_copies.point_out(
            files=installation().photo_files,
            drawn=typed("drawn"),
            parts=read_parts(_rows()),
            caption=typed("caption"),
            audience="bench" if typed("audience") == "bench" else "customer",
            **who,
        )

    return _do(number, ref, "pointed-out", draw, _pointing_page)


def _rows() -> list[Mapping[str, str]]:
    return [{field: typed(f"{field}-{place}") for field in FIELDS} for place in range(MOST)]


def _do(number: str, ref: str, name: str, deed: Callable[..., object], page: Page) -> ResponseReturnValue:
    """Do it and go back to the photos; refused, the page comes back as it was typed."""
    form = checked_form()
    canonical, by = spoken(parse_number(number)), guard.me().by
    refresh()  # drawing takes a while, and must not hold the database meanwhile
    answer = attempt(partial(deed, desk=desk(), by=by, number=canonical, ref=ref, deed_key=form.key()))
    if answer.done:
        return redirect(url_for(".photos", number=canonical, done=name), 303)
    refresh()
    return page(canonical, ref, answer)


def _photo_page(number: str, ref: str, answer: Answer) -> ResponseReturnValue:
    return _page("bench/photo.html", number, ref, answer, moments=MOMENT_WORDS, stages=policy().stages)


def _hiding_page(number: str, ref: str, answer: Answer) -> ResponseReturnValue:
    return _page("bench/photo_hiding.html", number, ref, answer)


def _pointing_page(number: str, ref: str, answer: Answer) -> ResponseReturnValue:
    return _page("bench/photo_pointing.html", number, ref, answer, pointers=POINTERS)


def _page(template: str, number: str, ref: str, answer: Answer, **more: object) -> ResponseReturnValue:
    ticket = find(connection(), number)
    photo = found_photo(connection(), ticket, ref)
    page = render_template(
        template,
        ticket=ticket,
        photo=photo,
        copies=[copy for copy, original in store.copies(connection(), ticket.id).items() if original == ref],
        rectangles=MOST,
        fields=FIELDS,
        answer=answer,
        typed=Filled(request.form if request.method == "POST" else _as_it_is(photo)),
        deed_key=new_deed_key(),
        csrf=DeedForm(),
        **more,
    )
    return page, STATUS.get(answer.kind, answer.status)


def _as_it_is(photo: Photo) -> MultiDict[str, str]:
    return MultiDict(
        {
            "moment": photo.moment,
            "caption": photo.caption,
            "stage": photo.stage or "",
            "audience": photo.audience,
        }
    )
