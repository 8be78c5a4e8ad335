"""`/shop/requests`: requests about personal data with their due days, entered, answered, and kept to be shown."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial

from flask import Response, redirect, render_template, request, url_for
from flask.typing import ResponseReturnValue

from portal.actions import erasure
from portal.actions import rights as deeds
from portal.actions.desk import NotFound
from portal.actions.erasure import Erased
from portal.actions.rights import Asked
from portal.letters.disclosure import packed
from portal.rules import rights as rules
from portal.rules.numbers import spoken
from portal.rules.retention import REGISTER
from portal.rules.right_grounds import GROUNDS
from portal.rules.rights import BY_STAFF, REMEDIES, RIGHT_WORDS, STATE_WORDS, THROUGH_WORDS, Law, Right
from portal.rules.sentences import say
from portal.store import rights as store
from portal.store import tickets
from portal.web import guard
from portal.web.data_requests import shown, waiting
from portal.web.erasing import leave_no_copy
from portal.web.forms import Answer, DeedForm, Filled, attempt, checked_form, new_deed_key, typed
from portal.web.request_context import connection, desk, installation, local_today, policy, refresh
from portal.web.shop import blueprint

SETTLED_SHOWN = 100


@blueprint.get("/requests")
def requests() -> ResponseReturnValue:
    """What waits, the soonest due first, and what was answered."""
    return _list(Answer())


@blueprint.post("/requests/enter")
def enter_request() -> ResponseReturnValue:
    """A request that came by letter, at the counter or by telephone."""
    form = checked_form()
    whose = typed("whose") or "owner"
    typed_in = Asked(typed("right"), typed("through"), typed("received_on"), typed("number"), typed("words"), whose)
    answer = attempt(lambda: deeds.enter(desk(), guard.me().by, typed_in, deed_key=form.key()))
    if answer.done:
        return redirect(url_for("shop.one_request", ref=answer.result, done=1), 303)
    refresh()
    return _list(answer)


@blueprint.get("/requests/<ref>")
def one_request(ref: str) -> ResponseReturnValue:
    """One request, and what may be done with it."""
    return _page(ref, Answer())


@blueprint.get("/requests/<ref>/data.zip")
def request_data(ref: str) -> ResponseReturnValue:
    """All that is held of its person, to be handed over: the same as the command writes."""
    kept = deeds.of(connection(), ref)
    if kept.visit_id is None or tickets.by_number(connection(), kept.number) is None:
        raise NotFound(say("Nothing is held that belongs to this request."))
    response = Response(packed(desk(), installation().photo_files, kept.number, kept.whose), mimetype="application/zip")
    response.headers.set("Content-Disposition", "attachment", filename=f"{spoken(kept.number)}.zip")
    return response


@blueprint.post("/requests/<ref>/settle")
def settle_request(ref: str) -> ResponseReturnValue:
    """Done or refused."""
    return _do(ref, partial(deeds.settle, state=typed("state"), answer=typed("answer")), "settle")


@blueprint.post("/requests/<ref>/extend")
def extend_request(ref: str) -> ResponseReturnValue:
    """Two months more, with the reason."""
    return _do(ref, partial(deeds.extend, why=typed("why")), "extend")


@blueprint.post("/requests/<ref>/stop")
def stop_request(ref: str) -> ResponseReturnValue:
    """The clock stands still."""
    return _do(ref, deeds.stop_clock, "stop")


@blueprint.post("/requests/<ref>/go-on")
def go_on_with_request(ref: str) -> ResponseReturnValue:
    """The clock goes on."""
    return _do(ref, deeds.go_on, "go-on")


@blueprint.post("/requests/<ref>/announce-end")
def announce_end(ref: str) -> ResponseReturnValue:
    """The person is told that the restriction ends."""
    return _do(ref, deeds.announce_end, "announce-end")


@blueprint.post("/requests/<ref>/lift")
def lift_restriction(ref: str) -> ResponseReturnValue:
    """The person was told: the data may be used again."""
    return _do(ref, partial(deeds.lift, told=typed("told")), "lift")


@blueprint.post("/requests/<ref>/erase")
def erase_for_request(ref: str) -> ResponseReturnValue:
    """What can go goes; what stays is shown, to be told in the answer."""
    form, kept = checked_form(), deeds.of(connection(), ref)
    why = "A request about personal data."

    def deed() -> Erased:
        by, files = guard.me().by, installation().photo_files
        if kept.whose == "second":
            erased = erasure.erase_second(desk(), by, kept.number, why, deed_key=form.key())
        else:
            erased = erasure.erase(desk(), files, by, kept.number, why, deed_key=form.key())
        leave_no_copy()
        return erased

    answer = attempt(deed)
    refresh()
    return _page(ref, answer, "erase")


def _do(ref: str, deed: Callable[..., None], name: str) -> ResponseReturnValue:
    form = checked_form()
    answer = attempt(lambda: deed(desk(), guard.me().by, ref=ref, deed_key=form.key()))
    if answer.done:
        return redirect(url_for("shop.one_request", ref=ref, done=1), 303)
    refresh()
    return _page(ref, answer, name)


def _list(answer: Answer) -> ResponseReturnValue:
    page = render_template(
        "shop/requests.html",
        waiting=waiting(),
        settled=store.settled(connection(), SETTLED_SHOWN),
        ways=BY_STAFF,
        may_be_second=True,
        today=local_today(),
        **_words(answer),
    )
    return page, answer.status


def _page(ref: str, answer: Answer, form: str = "") -> ResponseReturnValue:
    kept = deeds.of(connection(), ref)
    ticket = tickets.by_number(connection(), kept.number) if kept.number else None
    law = rules.law_of(policy().privacy.law, policy().shop.country)
    page = render_template(
        "shop/request.html",
        each=shown(kept),
        ticket=ticket,
        form=form,
        may_stop=law is Law.UK,
        erased=answer.result if isinstance(answer.result, Erased) else None,
        second_stays=erasure.SECOND_STAYS,
        remedies=REMEDIES,
        grounds=GROUNDS,
        register=REGISTER,
        **_words(answer),
    )
    return page, answer.status


def _words(answer: Answer) -> dict[str, object]:
    return {
        "answer": answer,
        "typed": Filled(request.form),
        "csrf": DeedForm(),
        "deed_key": new_deed_key(),
        "rights": RIGHT_WORDS,
        "states": STATE_WORDS,
        "throughs": THROUGH_WORDS,
        "Right": Right,
        "done": "done" in request.args,
    }
