"""A change of the policy before it counts: made from what a form says, checked, and shown as a difference first."""

from __future__ import annotations

from collections.abc import Callable

from flask import render_template
from flask.typing import ResponseReturnValue

from portal.actions.retention import Due, would_go
from portal.actions.shop import PolicyMoved
from portal.rules.policy_check import check
from portal.rules.policy_difference import policy_difference
from portal.rules.refusals import Refused
from portal.rules.retention import REGISTER
from portal.store import policies
from portal.web.forms import Answer, attempt, typed
from portal.web.request_context import connection, desk


def in_force() -> tuple[int, str]:
    """The newest revision's number and text."""
    revision = policies.newest(connection())
    return revision, policies.document(connection(), revision) or ""


def seen_revision() -> int:
    """The revision that the posted form was made from; 0 for what is none."""
    text = typed("seen")
    return int(text) if text.isdecimal() and len(text) < 10 else 0


def edited(edit: Callable[[str], str]) -> Answer:
    """The text in force after an edit, as the answer's result. Refused with every fault of the new text at once."""

    def make() -> str:
        revision, text = in_force()
        if seen_revision() != revision:
            raise PolicyMoved(seen_revision(), revision)
        new = edit(text)
        faults = check(new)
        if faults:
            raise Refused(*(fault.sentence() for fault in faults))
        return new

    answer = attempt(make)
    if answer.kind is PolicyMoved:
        answer.status = 409
    return answer


def as_typed(name: str) -> str:
    """A text of several lines as it was typed: browsers send line ends their own way."""
    return typed(name).replace("\r\n", "\n")


def show(new: str, answer: Answer | None = None) -> ResponseReturnValue:
    """The page with the difference to what is in force; only its button saves."""
    revision, text = in_force()
    answer = answer or Answer()
    page = render_template(
        "shop/difference.html",
        places=policy_difference(text, new),
        text=new,
        seen=revision,
        answer=answer,
        going=[(REGISTER[each.kept].name, each.count) for each in _going(new, answer)],
    )
    return page, answer.status


def _going(new: str, answer: Answer) -> list[Due]:
    """What would go with the next purge under the new text, where that is in order."""
    return would_go(desk(), new, desk().clock.now()) if answer.done and not check(new) else []
