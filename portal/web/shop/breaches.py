"""`/shop/breaches`: what went wrong with personal data, whom it concerns, the 72 hours, and a sheet to print."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from flask import redirect, render_template, request, url_for
from flask.typing import ResponseReturnValue

from portal.actions import breaches as deeds
from portal.actions.breaches import Written
from portal.rules.deadlines import notice_of_breach_due
from portal.rules.numbers import spoken
from portal.rules.refusals import needs
from portal.rules.retention import REGISTER
from portal.rules.sentences import Sentence, say
from portal.store import breaches as store
from portal.store.breaches import Breach
from portal.web import guard
from portal.web.forms import Answer, DeedForm, Filled, at_wall, attempt, checked_form, new_deed_key, typed
from portal.web.request_context import connection, desk, policy, refresh, speaking
from portal.web.shop import blueprint


@dataclass(frozen=True)
class BreachPrint:
    """All that the printed sheet shows."""

    breach: Breach
    due: datetime
    made_at: datetime
    sheet: str = "docket-a4"
    warnings: tuple[Sentence, ...] = ()


@blueprint.get("/breaches")
def breaches() -> ResponseReturnValue:
    """What was written down, and the form for another."""
    return _list(Answer())


@blueprint.post("/breaches/record")
def record_breach() -> ResponseReturnValue:
    """Write one down."""
    form = checked_form()
    answer = attempt(lambda: deeds.record(desk(), guard.me().by, _written(), deed_key=form.key()))
    if answer.done:
        return redirect(url_for("shop.one_breach", ref=answer.result, done=1), 303)
    refresh()
    return _list(answer)


@blueprint.get("/breaches/<ref>")
def one_breach(ref: str) -> ResponseReturnValue:
    """One, to be written on."""
    return _page(ref, Answer())


@blueprint.get("/breaches/<ref>/sheet")
def breach_sheet(ref: str) -> ResponseReturnValue:
    """The sheet for the authority and for the file."""
    breach = deeds.of(connection(), ref)
    page = BreachPrint(breach, notice_of_breach_due(breach.aware_at), desk().clock.now())
    return render_template("print/breach.html", page=page, register=REGISTER, privacy=policy().privacy)


@blueprint.post("/breaches/<ref>/rewrite")
def rewrite_breach(ref: str) -> ResponseReturnValue:
    """What is known by now."""
    form = checked_form()
    answer = attempt(lambda: deeds.rewrite(desk(), ref, _written(), deed_key=form.key()))
    return _after(ref, answer)


@blueprint.post("/breaches/<ref>/close")
def close_breach(ref: str) -> ResponseReturnValue:
    """Nothing is left to do."""
    form = checked_form()
    return _after(ref, attempt(lambda: deeds.close(desk(), ref, deed_key=form.key())))


def _after(ref: str, answer: Answer) -> ResponseReturnValue:
    if answer.done:
        return redirect(url_for("shop.one_breach", ref=ref, done=1), 303)
    refresh()
    return _page(ref, answer)


def _written() -> Written:
    aware_at = _moment("aware_at")
    if aware_at is None:
        raise needs("aware_at", say("When you became aware of it"))
    return Written(
        aware_at=aware_at,
        happened=typed("happened"),
        kinds=request.form.getlist("kinds"),
        numbers=typed("numbers"),
        everybody=typed("everybody") == "1",
        consequences=typed("consequences"),
        measures=typed("measures"),
        told_at=_moment("told_at"),
        late_because=typed("late_because"),
        people_told_at=_moment("people_told_at"),
    )


def _moment(name: str) -> datetime | None:
    return at_wall(name, typed(name)) if typed(name) else None


def _list(answer: Answer) -> ResponseReturnValue:
    found = [(each, notice_of_breach_due(each.aware_at)) for each in store.all_of_them(connection())]
    filled = {name: typed(name) for name in request.form} or {"aware_at": _local(desk().clock.now())}
    page = render_template(
        "shop/breaches.html", found=found, chosen=request.form.getlist("kinds"), **_words(answer, filled)
    )
    return page, answer.status


def _page(ref: str, answer: Answer) -> ResponseReturnValue:
    breach = deeds.of(connection(), ref)
    sent = answer.status != 200
    filled = {name: typed(name) for name in request.form} if sent else _as_typed(breach)
    page = render_template(
        "shop/breach.html",
        breach=breach,
        due=notice_of_breach_due(breach.aware_at),
        chosen=request.form.getlist("kinds") if sent else [kind.value for kind in breach.kinds],
        done="done" in request.args,
        **_words(answer, filled),
    )
    return page, answer.status


def _words(answer: Answer, filled: dict[str, str]) -> dict[str, object]:
    return {
        "answer": answer,
        "typed": Filled(filled),
        "register": REGISTER,
        "now": desk().clock.now(),
        "csrf": DeedForm(),
        "deed_key": new_deed_key(),
    }


def _as_typed(breach: Breach) -> dict[str, str]:
    moments = {
        "aware_at": breach.aware_at,
        "told_at": breach.told_at,
        "people_told_at": breach.people_told_at,
    }
    return {name: _local(at) if at else "" for name, at in moments.items()} | {
        "happened": breach.happened,
        "numbers": " ".join(map(spoken, breach.numbers)),
        "everybody": "" if breach.numbers else "1",
        "consequences": breach.consequences,
        "measures": breach.measures,
        "late_because": breach.late_because,
    }


def _local(at: datetime) -> str:
    """As a field of type "datetime-local" wants it."""
    return speaking().local(at).strftime("%Y-%m-%dT%H:%M")
