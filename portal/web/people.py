"""The keeper's page of people: add, give another role, give a new password, disable. Each asks the keeper's own
password again, for a keeper's device may lie open on the bench."""

from __future__ import annotations

from collections.abc import Callable

from flask import Blueprint, redirect, render_template, request, url_for
from flask.typing import ResponseReturnValue

from portal.actions import people
from portal.actions.desk import By
from portal.web import guard
from portal.web.forms import Answer, attempt, typed
from portal.web.request_context import desk

blueprint = Blueprint("people", __name__, url_prefix="/shop/people")
blueprint.before_request(guard.keeper_only)


@blueprint.get("")
def everybody() -> ResponseReturnValue:
    """Who may log in."""
    return _page(Answer(), "")


@blueprint.post("/add")
def add() -> ResponseReturnValue:
    """Add somebody."""
    return _do("add", lambda by: people.add_staff(desk(), by, typed("name"), typed("password"), typed("role")))


@blueprint.post("/role")
def change_role() -> ResponseReturnValue:
    """Give somebody another role."""
    return _do("role", lambda by: people.change_role(desk(), by, typed("name"), typed("role")))


@blueprint.post("/reset")
def reset() -> ResponseReturnValue:
    """Give somebody a new password."""
    return _do("reset", lambda by: people.reset(desk(), by, typed("name"), typed("password")))


@blueprint.post("/disable")
def disable() -> ResponseReturnValue:
    """Let somebody in no more."""
    return _do("disable", lambda by: people.disable(desk(), by, typed("name")))


def _do(form: str, deed: Callable[[By], object]) -> ResponseReturnValue:
    by = guard.me().by

    def proven() -> object:
        people.prove(desk(), by, typed("own_password"))
        return deed(by)

    answer = attempt(proven)
    if not answer.done:
        return _page(answer, form)
    return redirect(url_for("people.everybody", done=form), 303)


def _page(answer: Answer, form: str) -> ResponseReturnValue:
    page = render_template(
        "account/people.html",
        answer=answer,
        form=form,
        typed_name=typed("name"),
        typed_role=typed("role"),
        everybody=people.everybody(desk()),
        me=guard.me(),
        done=request.args.get("done", ""),
    )
    return page, answer.status
