"""The tray: what was taken out, and how each thing ended."""

from __future__ import annotations

from collections.abc import Sequence
from functools import partial

from flask import render_template
from flask.typing import ResponseReturnValue

from portal.actions import tray as deeds
from portal.actions.desk import find
from portal.actions.tray import Ended
from portal.rules import tray as rules
from portal.rules.tray import End, NewLine, TrayLine
from portal.store import photos, trays
from portal.store.tickets import Ticket
from portal.web.bench import blueprint
from portal.web.bench.doing import do, form_context
from portal.web.forms import Answer, typed
from portal.web.request_context import connection, policy


@blueprint.get("/<number>/tray")
def tray(number: str) -> ResponseReturnValue:
    """What lies in it, and quick entry."""
    return tray_page(find(connection(), number))


@blueprint.post("/<number>/tray")
def take_out(number: str) -> ResponseReturnValue:
    """One more line: typed, a common one at one tap, or the last one again."""
    new = NewLine(
        what=typed("common") or typed("what"),
        count=typed("howmany") or "1",
        counted=typed("mat") != "1",
        taken_from=typed("taken_from"),
        lies_at=typed("lies_at"),
        length_warning=typed("length_warning"),
        whose=typed("whose") or "customer",
    )
    deed = partial(deeds.take_out, new=[new], confirmed=typed("confirmed") == "1")
    return do(number, "take-out", deed, tray_page, ".tray")


@blueprint.post("/<number>/tray/end")
def end_line(number: str) -> ResponseReturnValue:
    """Say how a line, or some of it, ended."""
    ended = Ended(_line(), typed("how"), typed("howmany") or None, typed("replaced_by"))
    return do(number, "end", partial(deeds.end, ended=[ended]), tray_page, ".tray")


@blueprint.post("/<number>/tray/all-back")
def all_back(number: str) -> ResponseReturnValue:
    """Everything left was put back."""
    return do(number, "all-back", partial(deeds.end_all, how=End.PUT_BACK.value), tray_page, ".tray")


@blueprint.post("/<number>/tray/recount")
def recount(number: str) -> ResponseReturnValue:
    """Put a count right, with a reason."""
    deed = partial(deeds.recount, line=_line(), count=typed("howmany"), why=typed("why"))
    return do(number, "recount", deed, tray_page, ".tray")


@blueprint.post("/<number>/tray/strike")
def strike_line(number: str) -> ResponseReturnValue:
    """Strike a line that was a mistake, with a reason."""
    return do(number, "strike", partial(deeds.strike, line=_line(), why=typed("why")), tray_page, ".tray")


def tray_page(found: Ticket, answer: Answer | None = None, form: str = "") -> ResponseReturnValue:
    """The page; after a refusal with what was typed still in it."""
    answer = answer or Answer()
    lines = trays.lines(connection(), found.id)
    kind = policy().kind(found.kind)
    page = render_template(
        "bench/tray.html",
        ticket=found,
        lines=lines,
        left=rules.open_lines(lines),
        photos=[photo for photo in photos.of_ticket(connection(), found.id) if photo.moment == "tray"],
        common=kind.tray if kind else [],
        last=_last(lines),
        **form_context(answer, form),
    )
    return page, answer.status


def _last(lines: Sequence[TrayLine]) -> TrayLine | None:
    return next((line for line in reversed(lines) if not line.struck), None)


def _line() -> int:
    text = typed("line")
    return int(text) if text.isdecimal() and len(text) < 6 else 0
