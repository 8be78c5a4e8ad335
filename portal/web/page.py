"""What every template may use: words in the page's language, dates in the shop's time, and nothing that decides."""

from __future__ import annotations

from datetime import date, datetime
from typing import Any

import jinja2
from flask import Flask
from markupsafe import Markup

from portal.rules.numbers import spoken
from portal.rules.sentences import Sentence
from portal.web.request_context import policy, speaking


def add_to_templates(app: Flask) -> None:
    """Give the templates their filters, globals and the i18n extension."""
    environment = app.jinja_env
    environment.add_extension("jinja2.ext.i18n")
    environment.install_gettext_callables(_gettext, _ngettext, newstyle=True)  # type: ignore[attr-defined]
    environment.filters.update(
        say=lambda sentence: speaking().say(sentence),
        words=lambda texts: speaking().words(texts),
        moment=lambda at: speaking().moment(at),
        day=lambda day: speaking().day(day),
        since=since,
        number=spoken,
        machine=machine,
        paragraphs=paragraphs,
    )
    environment.globals.update(speaking=speaking, policy=policy)


def since(at: datetime, now: datetime) -> str:
    """How long ago, roughly, in the page's language."""
    return speaking().span(at, now)


def machine(at: datetime | date) -> str:
    """The `datetime` attribute of a time element."""
    return at.isoformat(timespec="seconds") if isinstance(at, datetime) else at.isoformat()


@jinja2.pass_eval_context
def paragraphs(_context: Any, text: str) -> Markup:
    """Typed text with its line breaks kept; everything in it is escaped."""
    return Markup("<br>\n").join(text.split("\n"))


def say_all(sentences: tuple[Sentence, ...]) -> list[str]:
    """Sentences of the rules in the page's language."""
    return [speaking().say(sentence) for sentence in sentences]


def _gettext(text: str) -> str:
    return speaking().gettext(text)


def _ngettext(one: str, many: str, count: int) -> str:
    return speaking().ngettext(one, many, count)
