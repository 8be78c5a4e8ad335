"""The stages: their order, and for each its label, its sentence, its gates and its switches."""

from __future__ import annotations

from collections.abc import Mapping

from flask import abort, render_template, request
from flask.typing import ResponseReturnValue

from portal.rules import policy_edit
from portal.rules.gates import GATES
from portal.rules.policy import Stage
from portal.rules.refusals import Unfit
from portal.rules.sentences import say
from portal.web.forms import Answer, Filled, typed
from portal.web.request_context import policy
from portal.web.shop import blueprint
from portal.web.shop.proposal import edited, in_force, show

_SHUT = ("block", "warn")
MOST_STAGES = 99


@blueprint.get("/stages")
def all_stages() -> ResponseReturnValue:
    """The stages in order."""
    return _list_page(Answer())


@blueprint.post("/stages/order")
def order() -> ResponseReturnValue:
    """Put the stages into another order."""
    answer = edited(lambda text: policy_edit.reorder_stages(text, _typed_order()))
    return show(str(answer.result)) if answer.done else _list_page(answer, "order")


@blueprint.post("/stages/add")
def add_stage() -> ResponseReturnValue:
    """Put in a new stage."""

    def add(text: str) -> str:
        return policy_edit.add_stage(
            text, typed("key").strip(), _words("label"), _words("sentence"), after=typed("after")
        )

    answer = edited(add)
    return show(str(answer.result)) if answer.done else _list_page(answer, "add")


@blueprint.get("/stages/<key>")
def stage(key: str) -> ResponseReturnValue:
    """One stage."""
    return _stage_page(key, Answer())


@blueprint.post("/stages/<key>")
def change_stage(key: str) -> ResponseReturnValue:
    """Change a stage."""

    def change(text: str) -> str:
        return policy_edit.edit_stage(
            text,
            key,
            label=_words("label"),
            sentence=_words("sentence"),
            enter=_gates("enter"),
            leave=_gates("leave"),
            flags={flag: typed(flag) == "1" for flag in policy_edit.FLAGS},
        )

    answer = edited(change)
    return show(str(answer.result)) if answer.done else _stage_page(key, answer)


@blueprint.post("/stages/<key>/remove")
def remove_stage(key: str) -> ResponseReturnValue:
    """Take a stage out."""
    answer = edited(lambda text: policy_edit.remove_stage(text, key))
    return show(str(answer.result)) if answer.done else _stage_page(key, answer, posted=False)


def _list_page(answer: Answer, form: str = "") -> ResponseReturnValue:
    page = render_template(
        "shop/stages.html",
        answer=answer,
        form=form,
        typed=Filled(request.form),
        stages=policy().stages,
        languages=policy().shop.languages,
        seen=in_force()[0],
    )
    return page, answer.status


def _stage_page(key: str, answer: Answer, *, posted: bool = True) -> ResponseReturnValue:
    found = policy().stage(key)
    if found is None:
        abort(404)
    values = request.form if posted and request.method == "POST" else _values(found)
    page = render_template(
        "shop/stage.html",
        answer=answer,
        stage=found,
        values=Filled(values),
        gates=GATES,
        languages=policy().shop.languages,
        seen=in_force()[0],
    )
    return page, answer.status


def _values(stage: Stage) -> Mapping[str, str]:
    """The stage as its form would send it."""
    values = {flag: "1" for flag in policy_edit.FLAGS if getattr(stage, flag)}
    for name, words in (("label", stage.label), ("sentence", stage.sentence)):
        values |= {f"{name}.{tag}": text for tag, text in words.items()}
    for name, gates in (("enter", stage.enter), ("leave", stage.leave)):
        values |= {f"{name}.{each.gate}": each.when_shut for each in gates}
    return values


def _words(name: str) -> dict[str, str]:
    return {tag: " ".join(typed(f"{name}.{tag}").split()) for tag in policy().shop.languages}


def _gates(name: str) -> dict[str, str]:
    return {gate: typed(f"{name}.{gate}") for gate in GATES if typed(f"{name}.{gate}") in _SHUT}


def _typed_order() -> list[str]:
    """The keys by the places typed. Of two with one place, the one that was moved goes where it was sent."""
    keys = [each.key for each in policy().stages]
    wanted = []
    for place, key in enumerate(keys, 1):
        text = typed(f"place.{key}").strip()
        if not (text.isdecimal() and len(text) < 4 and 1 <= int(text) <= MOST_STAGES):
            raise Unfit(f"place.{key}", say("“{text}” is no place. Allowed: a whole number from 1.", text=text))
        moved = (int(text) > place) - (int(text) < place)
        wanted.append((int(text), moved, place, key))
    return [key for *_place, key in sorted(wanted)]
