"""Keeping what somebody had typed when their login ended under it: it travels through the login page and comes back.

Nothing is done with it until the person, logged in again, has seen it and sends it: a form that a stranger slipped in
would be shown too, and needs that same press of a button.
"""

from __future__ import annotations

import json
import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from flask import make_response, redirect, render_template, request, url_for
from flask.typing import ResponseReturnValue
from flask_login import current_user

from portal.rules.sentences import Sentence, say
from portal.store import people
from portal.store.people import Login
from portal.web.request_context import connection, desk

HOME = "/bench/"
_OWN_PATH = re.compile(r"/(?![/\\])[^\\\x00-\x20\x7f]*")  # browsers read “//host” and “/\host” as another site
# Forms with passwords and PINs in them are typed again instead.
_SECRET_BLUEPRINTS = ("account", "people")
_NOT_SHOWN = ("csrf_token", "deed_key", "seen", "confirmed")
_ENDED = say("Your login has ended meanwhile. Nothing you typed is lost: log in, look it over, and send it.")
_ENDED_EMPTY = say("Your login has ended meanwhile. Please log in.")


@dataclass(frozen=True)
class KeptForm:
    """A posted form: where it was going, its fields in order, and whether it had files (those cannot be kept)."""

    path: str
    fields: Sequence[tuple[str, str]]
    had_files: bool = False

    @property
    def shown(self) -> list[str]:
        """What a person typed or chose in it."""
        return [value for name, value in self.fields if name not in _NOT_SHOWN and value.strip()]

    def packed(self) -> str:
        """As one hidden field carries it."""
        return json.dumps([self.path, self.fields, self.had_files])


def posted() -> KeptForm | None:
    """The form that this request brought, if it can be kept."""
    if request.method != "POST" or request.blueprint in _SECRET_BLUEPRINTS or not _is_own(request.full_path):
        return None
    fields = [(name, value) for name, value in request.form.items(multi=True) if name != "csrf_token"]
    return KeptForm(request.full_path.rstrip("?"), fields, bool(request.files))


def unpacked(text: str) -> KeptForm | None:
    """The form that a hidden field carries, or None for what is none."""
    try:
        path, fields, had_files = json.loads(text)
        pairs = [(name, value) for name, value in fields]
    except (ValueError, TypeError, RecursionError):
        return None
    whole = all(isinstance(part, str) for pair in pairs for part in pair) and isinstance(had_files, bool)
    return KeptForm(path, pairs, had_files) if whole and isinstance(path, str) and _is_own(path) else None


def own_path(path: str) -> str:
    """A path of this site to go on to; whatever could lead elsewhere becomes the bench."""
    return path if _is_own(path) else HOME


def ask_who(login: Login | None) -> ResponseReturnValue:
    """Ask whoever sent this request to log in, or to unlock the device, and keep what they sent."""
    if request.method in ("GET", "HEAD"):
        target = request.full_path.rstrip("?")
        page = "account.unlock" if login else "account.login"
        return redirect(url_for(page, next=target if _is_own(target) else None))
    form = posted()
    reason = _ENDED if form else _ENDED_EMPTY
    return entrance(login, status=403, reasons=(reason,), form=form.packed() if form else "")


def wrong_session() -> ResponseReturnValue:
    """Answer a form whose login is not the one of now: log in first, or look it over and send it again."""
    if request.endpoint == "account.log_in":
        return entrance(None, status=400, reasons=(say("This page was open for long. Please send it once more."),))
    if not current_user.is_authenticated:
        return ask_who(getattr(current_user, "login", None))
    form = posted()
    if form is None:
        said = say("This page was opened in another login. Open it anew and fill it in again.")
        return render_template("error.html", status=400, reasons=(said,)), 400
    return once_more(form), 400


def once_more(form: KeptForm) -> str:
    """The page that shows what was typed and sends it at the press of a button."""
    return render_template("account/again.html", form=form)


def entrance(
    login: Login | None,
    *,
    status: int = 200,
    reasons: Sequence[Sentence] = (),
    form: str | None = None,
    retry_at: datetime | None = None,
) -> ResponseReturnValue:
    """The login page, or the locked device's page. `form` is a packed kept form; default: the one posted along."""
    body = render_template(
        "account/unlock.html" if login else "account/login.html",
        reasons=reasons,
        name=request.form.get("name", "") if request.blueprint == "account" else "",
        next=own_path(request.values.get("next", "")),
        kept=request.form.get("kept", "") if form is None else form,
        retry_at=retry_at,
        names=[person.name for person in people.with_pin(connection())] if login else [],
    )
    page = make_response(body, status)
    if retry_at:
        page.headers["Retry-After"] = str(max(1, int((retry_at - desk().clock.now()).total_seconds())))
    return page


def _is_own(path: str) -> bool:
    return len(path) <= 2000 and bool(_OWN_PATH.fullmatch(path))
