"""What a request works with: the installation, one reading connection, the policy and the language."""

from __future__ import annotations

from datetime import date
from typing import cast

from flask import current_app, g, request
from sqlalchemy import Connection

from portal.actions.desk import Desk
from portal.language import Language, language
from portal.main import Installation
from portal.rules.days import local_day
from portal.rules.policy import Policy

EXTENSION = "benchwindow"


def installation() -> Installation:
    """The installation this site belongs to."""
    return cast(Installation, current_app.extensions[EXTENSION])


def desk() -> Desk:
    """The desk that deeds are done at."""
    return installation().desk


def connection() -> Connection:
    """The request's one reading connection, opened when first asked for: one consistent view a page.

    Deeds open their own writing transaction; call `refresh` after one to read what it left.
    """
    held = g.get("connection")
    if held is None:
        held = g.connection = desk().engine.connect()
        held.begin()
    return cast(Connection, held)


def refresh() -> None:
    """Let go of the request's view, so that the next read sees what has been written since."""
    close_connection()
    for name in ("policy",):
        g.pop(name, None)


def close_connection(_error: BaseException | None = None) -> None:
    """Give the connection back to the pool."""
    held = g.pop("connection", None)
    if held is not None:
        held.close()


def policy() -> Policy:
    """The policy in force for this request."""
    return _revision_and_policy()[1]


def policy_revision() -> int:
    """The number of the policy's revision in force for this request."""
    return _revision_and_policy()[0]


def use_policy(revision: int) -> Policy:
    """The policy in force, where its newest revision was read already together with something else."""
    g.policy = desk().shelf.read(connection(), revision)
    return policy()


def local_today() -> date:
    """Which day it is by the shop's clock on the wall."""
    return local_day(desk().clock.now(), policy())


def _revision_and_policy() -> tuple[int, Policy]:
    if "policy" not in g:
        g.policy = desk().shelf.read(connection())
    return cast(tuple[int, Policy], g.policy)


def speaking() -> Language:
    """The language this page is written in: what the page chose (`speak`), else the best the browser asks for."""
    words = g.get("language")
    if words is None:
        shop = policy().shop
        tag = request.accept_languages.best_match(shop.languages) or shop.languages[0]
        words = g.language = language(tag, shop.zone)
    return cast(Language, words)


def speak(tag: str) -> None:
    """Write this page in the given language of the shop."""
    g.language = language(tag, policy().shop.zone)
