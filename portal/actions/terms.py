"""Accepting the shop's terms: who, when, how and which version. Nothing is ever accepted by silence."""

from __future__ import annotations

from typing import Any

from sqlalchemy import Connection

from portal.actions.desk import By, Desk, NotFound, PolicyShelf
from portal.rules.collection import milder
from portal.rules.policy import Policy, Terms
from portal.rules.policy_collection import Storage
from portal.rules.refusals import Refused, Unfit
from portal.rules.sentences import say
from portal.rules.signatures import strokes as fit_strokes
from portal.store import acceptances, visits
from portal.store.acceptances import Acceptance

# How terms may be accepted, by who does the deed: staff tick what a customer said or signed on paper; a customer
# presses the button on their page; a signature is drawn on either's screen.
WAYS = {"staff": ("tick", "signature"), "command": ("tick",), "customer": ("page", "signature")}


def accept_terms(
    desk: Desk, by: By, visit_ref: str, version: str, how: str, *, strokes: Any = None, language: str | None = None
) -> bool:
    """Keep that the terms of this version were accepted for a visit; False when they had been before.

    `version` is the one that was shown, `language` the one it was read in (None: the visit's), `strokes` those of a
    signature. Raises NotFound for no such visit; Refused when the shop has no terms, another version is in force
    by now, or the way is not one for this person; Unfit (field "strokes") for a signature without a line.
    """
    if how not in WAYS.get(by.kind, ()):
        allowed = ", ".join(WAYS.get(by.kind, ())) or "–"
        raise Refused(say("Terms are not accepted by “{how}” here. Allowed: {allowed}.", how=how, allowed=allowed))
    signature = fit_strokes(strokes) if how == "signature" else None
    now = desk.clock.now()
    with desk.writing() as connection:
        visit = visits.by_ref(connection, visit_ref)
        if visit is None:
            raise NotFound(say("There is no such visit here."))
        revision, policy = desk.shelf.read(connection)
        _must_be_in_force(policy.terms, version)
        read_in = _language(policy, language or visit.language)
        accepted = Acceptance(version, revision, read_in, how, by.kind, by.staff_id, now, signature)
        if not acceptances.add(connection, visit.id, accepted):
            return False
        visits.touch(connection, visit.id)
    return True


def agreed_storage(shelf: PolicyShelf, connection: Connection, visit_id: int, policy: Policy) -> Storage | None:
    """What may be asked for storage: never more than the terms say that were last accepted for a visit, nor than today.

    None where they say nothing of it, or the shop asks nothing any more.
    """
    accepted, present = acceptances.of_visit(connection, visit_id), policy.collection.storage
    if present is None or not accepted:
        return None
    then = shelf.read(connection, accepted[-1].policy_revision)[1].collection.storage
    return milder(then, present) if then else None


def _must_be_in_force(terms: Terms | None, version: str) -> None:
    if terms is None:
        raise Refused(say("The shop has no terms to accept."))
    if terms.version != version:
        raise Refused(
            say(
                "The terms have changed meanwhile: version {now} is in force, and you saw {seen}. "
                "Please read them again before you accept.",
                now=terms.version,
                seen=version,
            )
        )


def _language(policy: Policy, tag: str) -> str:
    if tag not in policy.shop.languages:
        allowed = ", ".join(policy.shop.languages)
        raise Unfit(
            "language", say("The shop does not write “{language}”. Allowed: {allowed}.", language=tag, allowed=allowed)
        )
    return tag
