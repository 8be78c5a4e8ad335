"""The policy as text: read, change, save; and the revisions it had, with who made them and what they changed."""

from __future__ import annotations

from flask import abort, redirect, render_template, url_for
from flask.typing import ResponseReturnValue

from portal.actions import shop
from portal.actions.shop import PolicyMoved
from portal.rules.policy_difference import policy_difference
from portal.store import people, policies
from portal.web import guard
from portal.web.forms import Answer, attempt
from portal.web.request_context import connection, desk
from portal.web.shop import blueprint
from portal.web.shop.proposal import as_typed, edited, in_force, seen_revision, show


@blueprint.get("/policy")
def policy_text() -> ResponseReturnValue:
    """The text in force, to change."""
    return _text_page(in_force()[1], Answer())


@blueprint.post("/policy/look")
def look_over() -> ResponseReturnValue:
    """Check a changed text and show the difference."""
    text = as_typed("text")
    answer = edited(lambda _old: text)
    return show(text) if answer.done else _text_page(text, answer)


@blueprint.post("/policy")
def save() -> ResponseReturnValue:
    """Make the text that was looked over the policy in force."""
    text = as_typed("text")
    answer = attempt(lambda: shop.load_policy(desk(), guard.me().by, text, seen_revision=seen_revision()))
    if answer.done:
        return redirect(url_for("shop.overview", saved=1), 303)
    if answer.kind is PolicyMoved:
        answer.status = 409
        return show(text, answer)
    return _text_page(text, answer)


@blueprint.get("/policy/revisions")
def revisions() -> ResponseReturnValue:
    """Every revision, the newest first."""
    names = {person.id: person.name for person in people.everybody(connection())}
    return render_template("shop/revisions.html", revisions=policies.revisions(connection()), names=names)


@blueprint.get("/policy/revisions/<int:revision>")
def revision(revision: int) -> ResponseReturnValue:
    """One revision: its text, and what it changed."""
    text = policies.document(connection(), revision)
    if text is None:
        abort(404)
    before = policies.document(connection(), revision - 1) or ""
    places = policy_difference(before, text) if before else []
    return render_template("shop/revision.html", revision=revision, text=text, places=places)


def _text_page(text: str, answer: Answer) -> ResponseReturnValue:
    page = render_template("shop/policy.html", text=text, seen=in_force()[0], answer=answer)
    return page, answer.status
