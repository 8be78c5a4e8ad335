"""The keeper's deeds: the policy's revisions."""

from __future__ import annotations

import tomllib

from sqlalchemy import Connection

from portal.actions.desk import By, Desk, NoPolicy, NotFound
from portal.rules.numbers import spoken
from portal.rules.policy import Policy
from portal.rules.policy_check import check
from portal.rules.refusals import Refused
from portal.rules.sentences import say
from portal.rules.stages import stranded
from portal.store import acceptances, policies, tickets


class PolicyMoved(Refused):
    """The policy has a newer revision than the one a form was made from; `revision` is the newest. Nothing changed."""

    def __init__(self, seen: int, revision: int) -> None:
        super().__init__(
            say(
                "The policy has changed meanwhile: you saw revision {seen}, and revision {revision} is in force. "
                "Look at the difference, then save again.",
                seen=seen,
                revision=revision,
            )
        )
        self.revision = revision


def load_policy(desk: Desk, by: By, text: str, *, seen_revision: int | None = None) -> int:
    """Make a text the policy in force, and tell its revision. The text of the newest revision makes no second one.

    `seen_revision` is the one a form was made from (None: whatever is in force). Raises Refused with every fault of
    the text, or with the open tickets whose stage it does not have; PolicyMoved.
    """
    faults = check(text)
    if faults:
        raise Refused(*(fault.sentence() for fault in faults))
    policy = Policy.model_validate(tomllib.loads(text))
    now = desk.clock.now()
    with desk.writing() as connection:
        policies.lock(connection)
        newest = policies.newest(connection)
        if newest and policies.document(connection, newest) == text:
            return newest
        if seen_revision is not None and seen_revision != newest:
            raise PolicyMoved(seen_revision, newest)
        numbers = stranded(tickets.open_standings(connection), policy.stages)
        if numbers:
            raise Refused(
                say(
                    "Open tickets stand in a stage that this policy does not have: {numbers}. "
                    "Keep the stage, or move them first.",
                    numbers=", ".join(spoken(number) for number in numbers),
                )
            )
        _terms_must_keep_their_words(desk, connection, policy)
        return policies.add(connection, text, now, by.staff_id)


def show_policy(desk: Desk, revision: int | None = None) -> str:
    """A revision's TOML as it was written, loadable again; None for the one in force. Raises NoPolicy, NotFound."""
    with desk.reading() as connection:
        newest = policies.newest(connection)
        if not newest:
            raise NoPolicy
        text = policies.document(connection, newest if revision is None else revision)
    if text is None:
        raise NotFound(
            say(
                "There is no revision {revision} of the policy; the newest is {newest}.",
                revision=revision,
                newest=newest,
            )
        )
    return text


def _terms_must_keep_their_words(desk: Desk, connection: Connection, policy: Policy) -> None:
    """A version of the terms that is in force or was accepted is one text for ever. Raises Refused."""
    if policy.terms is None:
        return
    accepted = acceptances.revisions_of(connection, policy.terms.version)
    for revision in {policies.newest(connection), *accepted} - {0}:
        before = desk.shelf.read(connection, revision)[1].terms
        if before and before.version == policy.terms.version and before != policy.terms:
            raise Refused(
                say(
                    "The terms have other words than in revision {revision} and the same version, {version}. "
                    "Give them a new version, so that it stays known which text each customer accepted.",
                    revision=revision,
                    version=before.version,
                )
            )
