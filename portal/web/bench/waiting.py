"""Photos and notes that a script sends one by one, at once or when there is a line again; answered for the script.

Each carries a key of its own that was made on the device, so what is sent twice has one effect. A note says nothing of
the revision it was written at: it waited, and is an addition whatever happened meanwhile.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import partial

from flask import abort, jsonify, request
from flask.typing import ResponseReturnValue
from flask_wtf.csrf import generate_csrf

from portal.actions import notes, photos
from portal.actions.desk import NotFound
from portal.actions.waiting import seal
from portal.rules.sentences import say
from portal.web import guard
from portal.web.bench import blueprint
from portal.web.bench.without_line import shell
from portal.web.forms import Answer, attempt, checked_form, typed
from portal.web.page import say_all
from portal.web.request_context import desk, installation, refresh
from portal.web.uploads import STATUS

_NOTHING = say("Nothing came with the form. Please take the photo again.")


@blueprint.get("/waiting")
def waiting() -> ResponseReturnValue:
    """What a script needs to keep things for this person, and to send them; and the page for where there is no line."""
    mine = seal(desk(), guard.me().person)
    return jsonify(owner=mine.owner, key=mine.key, token=generate_csrf(), shell=shell()._asdict())


@blueprint.post("/<number>/waiting/photo")
def photo_waited(number: str) -> ResponseReturnValue:
    """Take one photo in."""
    key, by, file = _key(), guard.me().by, request.files.get("photo")
    if file is None:
        return _answer(Answer(reasons=(_NOTHING,), status=422))
    refresh()  # a photo may wait for its turn, and must not hold the database meanwhile
    return _do(
        partial(
            photos.add,
            desk(),
            installation().photo_files,
            by,
            number,
            file.stream.read(),
            moment=typed("moment") or "other",
            caption=typed("caption"),
            audience=_audience(),
            confirmed=_confirmed(),
            deed_key=key,
        )
    )


@blueprint.post("/<number>/waiting/note")
def note_waited(number: str) -> ResponseReturnValue:
    """Write one note."""
    key, by = _key(), guard.me().by
    return _do(
        partial(
            notes.note,
            desk(),
            by,
            number,
            typed("text"),
            audience=_audience(),
            confirmed=_confirmed(),
            deed_key=key,
        )
    )


def _key() -> str:
    key = checked_form().key()
    if key is None:
        abort(400)
    return key


def _audience() -> notes.Audience:
    return "customer" if typed("audience") == "customer" else "bench"


def _confirmed() -> bool:
    return typed("confirmed") == "1"


def _do(deed: Callable[[], object]) -> ResponseReturnValue:
    try:
        answer = attempt(deed)
    except NotFound as fault:
        answer = Answer(reasons=(fault.reason,), status=404)
    refresh()
    return _answer(answer)


def _answer(answer: Answer) -> ResponseReturnValue:
    """For the script: whether it was done; else why not, and whether a person's word is enough to do it."""
    body = jsonify(done=answer.done, ask_first=answer.ask_first, reasons=say_all(tuple(answer.reasons)))
    return body, STATUS.get(answer.kind, answer.status)
