"""Forms: what was typed comes back with every refusal, and a form posted twice has one effect."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from zoneinfo import ZoneInfo

from flask import abort, request
from flask_wtf import FlaskForm
from werkzeug.datastructures import MultiDict
from wtforms import HiddenField

from portal.actions.desk import Stale
from portal.rules.hours import at_wall_time
from portal.rules.refusals import AskFirst, Refused, Unfit
from portal.rules.sentences import Sentence, say
from portal.store.journal import Entry
from portal.web import doors
from portal.web.request_context import policy


def new_deed_key() -> str:
    """The key of one rendered form."""
    return doors.new_key()


def deed_key_typed() -> str | None:
    """The key of a posted form that has no session's token, or None for what could be none."""
    return _deed_key(typed("deed_key"))


def _deed_key(text: str) -> str | None:
    return text if len(text) == 32 and text.isalnum() else None


class DeedForm(FlaskForm):  # type: ignore[misc]
    """A form that does a deed: `seen` is the revision it was shown at, `deed_key` makes it count once."""

    seen = HiddenField()
    deed_key = HiddenField()
    confirmed = HiddenField()

    def seen_revision(self) -> int | None:
        """The revision the form was shown at, or None for what is none."""
        text = self.seen.data or ""
        return int(text) if text.isdecimal() and len(text) < 10 else None

    def key(self) -> str | None:
        """The form's key, or None for what could be none."""
        return _deed_key(self.deed_key.data or "")


def checked_form() -> DeedForm:
    """The posted form; one that does not carry its session's token is answered with 400."""
    form = DeedForm()
    if not form.validate():
        abort(400)
    return form


@dataclass
class Answer:
    """What came of a deed: its result, or the reasons against it and what happened meanwhile."""

    result: object = None
    reasons: Sequence[Sentence] = ()
    at_field: str = ""
    ask_first: bool = False
    kind: type[Exception] | None = None
    meanwhile: Sequence[Entry] = field(default_factory=tuple)
    status: int = 200

    @property
    def done(self) -> bool:
        """Whether the deed was done."""
        return self.status == 200


def attempt(deed: Callable[[], object]) -> Answer:
    """Do a deed, and catch what a person should read. Everything else is for the error pages.

    Words that look like a secret are asked about before anything is done.
    """
    try:
        doors.ask_about_typed()
        return Answer(deed())
    except Stale as stale:
        return Answer(meanwhile=stale.since, status=409)
    except AskFirst as question:
        return Answer(reasons=question.reasons, ask_first=True, status=422)
    except Unfit as unfit:
        return Answer(reasons=unfit.reasons, at_field=unfit.field, status=422)
    except Refused as refused:
        return Answer(reasons=refused.reasons, kind=type(refused), status=422)


class Filled:
    """What a form shows in its fields, by their names: what was typed, or what it begins with. Nothing is ''."""

    def __init__(self, values: Mapping[str, str]) -> None:
        self._values = values

    def __getitem__(self, name: str) -> str:
        return self._values.get(name, "")

    def __contains__(self, name: object) -> bool:
        return name in self._values

    def all(self, name: str) -> list[str]:
        """Every value of a field that may stand several times."""
        return self._values.getlist(name) if isinstance(self._values, MultiDict) else []


def typed(name: str) -> str:
    """What was typed into a field of the posted form, or an empty text."""
    return request.form.get(name, "")


def at_wall(name: str, text: str) -> datetime:
    """The moment that a field of type "datetime-local" names, by the shop's clock on the wall. Raises Unfit."""
    try:
        local = datetime.fromisoformat(text)
    except ValueError:
        local = None
    if local is None or local.tzinfo is not None:
        raise Unfit(name, say("“{typed}” is not a day and time. Write it like 2026-12-08T14:05.", typed=text))
    return at_wall_time(local.date(), local.time(), ZoneInfo(policy().shop.zone))
