"""Templates of letters as a language has them."""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache
from typing import Any

import jinja2

from portal import resources
from portal.language import Language
from portal.markup import paragraphs
from portal.rules.numbers import spoken


def rendered(file: str, words: Mapping[str, Any]) -> str:
    """A template of `templates/messages/`, in the language that the words hold."""
    language: Language = words["language"]
    return environment(language).get_template(f"messages/{file}").render(words).strip()


def sheet(template: str, language: Language, **facts: object) -> str:
    """A template of `templates/` that is a page of its own, in a language."""
    return environment(language).get_template(template).render(language=language, **facts)


@cache
def environment(spoken_language: Language) -> jinja2.Environment:
    """The templates as this language has them."""
    environment = jinja2.Environment(
        loader=jinja2.FileSystemLoader(str(resources.templates())),
        autoescape=jinja2.select_autoescape(["html"]),
        undefined=jinja2.StrictUndefined,
        extensions=["jinja2.ext.i18n"],
        trim_blocks=True,
        lstrip_blocks=True,
    )
    environment.install_gettext_callables(  # type: ignore[attr-defined]
        spoken_language.gettext, spoken_language.ngettext, newstyle=True
    )
    environment.filters.update(
        number=spoken,
        paragraphs=paragraphs,
        words=spoken_language.words,
        day=spoken_language.day,
        money=spoken_language.money,
        decimal=spoken_language.decimal,
        say=spoken_language.say,
        moment=spoken_language.moment,
    )
    return environment
