"""The page's language: what the reader chose by `?lang=`, else what the visit or the browser says."""

from __future__ import annotations

from collections.abc import Sequence
from functools import cache
from typing import NamedTuple

from babel import Locale
from flask import g, request, url_for

from portal.rules.policy import Shop
from portal.web.request_context import policy, speak, speaking


class Choice(NamedTuple):
    """A language to change to, by its own name."""

    tag: str
    name: str


def choose(shop: Shop, usual: str = "") -> None:
    """Write the page in the language that was asked for, else in the usual one; without either as the browser says."""
    for tag in (request.args.get("lang", ""), usual):
        if tag in shop.languages:
            speak(tag)
            return
    if usual:
        speak(shop.languages[0])


def asked() -> str | None:
    """The language that the address asks for, to be kept in the links of a page."""
    return request.args.get("lang")


def privacy_link() -> str:
    """The address of the notice, on the reader's own link where there is one."""
    token = g.get("followed")
    if token:
        return url_for("customer.own_privacy", token=token, lang=asked())
    return url_for("customer.privacy", lang=asked())


def choices() -> Sequence[Choice]:
    """The shop's other languages."""
    return [choice for choice in all_choices() if choice.tag != speaking().tag]


def all_choices() -> Sequence[Choice]:
    """The shop's languages."""
    return _named(tuple(policy().shop.languages))


@cache
def _named(tags: tuple[str, ...]) -> list[Choice]:
    return [Choice(tag, Locale.parse(tag, sep="-").display_name or tag) for tag in tags]
