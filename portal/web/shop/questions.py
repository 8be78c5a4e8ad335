"""`/shop/questions`: the keeper looks at questions about money first, mends them, and sends or returns them."""

from __future__ import annotations

from collections.abc import Callable

from flask import redirect, render_template, request, url_for
from flask.typing import ResponseReturnValue

from portal.actions import questions as deeds
from portal.actions.desk import NotFound, Outcome
from portal.rules.offers import shown_options
from portal.rules.questions import BENCH_KIND_WORDS, MOST_PHOTOS, STATE_WORDS, State
from portal.rules.sentences import say
from portal.store import photos, tickets
from portal.store import questions as store
from portal.store.photos import Photo
from portal.store.questions import Kept
from portal.store.tickets import Ticket
from portal.web import guard, offers
from portal.web.forms import Answer, DeedForm, Filled, attempt, checked_form, new_deed_key, typed
from portal.web.request_context import connection, desk, policy, refresh
from portal.web.shop import blueprint


@blueprint.get("/questions")
def questions() -> ResponseReturnValue:
    """What waits for the keeper."""
    waiting = store.waiting(connection(), State.AWAITING)
    return render_template("shop/questions.html", waiting=waiting, currency=policy().shop.currency)


@blueprint.get("/questions/<ref>")
def sign_off(ref: str) -> ResponseReturnValue:
    """One question, ready to be sent with one press."""
    kept, ticket = _found(ref)
    return _page(kept, ticket, Answer())


@blueprint.post("/questions/<ref>/send")
def send_question(ref: str) -> ResponseReturnValue:
    """Send it as it was read, or changed."""
    version = typed("version")
    read = int(version) if version.isdecimal() and len(version) < 6 else 0
    changed = offers.from_form() if typed("how") == "changed" else None

    def deed(number: str, key: str | None) -> Outcome:
        return deeds.sign_off(desk(), guard.me().by, number, ref, read, changed=changed, deed_key=key)

    return _do(ref, deed)


@blueprint.post("/questions/<ref>/return")
def return_question(ref: str) -> ResponseReturnValue:
    """Send it back to the bench with a note."""

    def deed(number: str, key: str | None) -> Outcome:
        return deeds.return_to_bench(desk(), guard.me().by, number, ref, typed("note"), deed_key=key)

    return _do(ref, deed)


def _do(ref: str, deed: Callable[[str, str | None], Outcome]) -> ResponseReturnValue:
    form = checked_form()
    _kept, ticket = _found(ref)
    answer = attempt(lambda: deed(ticket.number, form.key()))
    if answer.done:
        return redirect(url_for("shop.questions", done=1), 303)
    refresh()
    kept, ticket = _found(ref)
    return _page(kept, ticket, answer)


def _photos(kept: Kept, ticket: Ticket) -> list[Photo]:
    """The photos that the customer will see with it, or else the newest, to look at."""
    taken = photos.of_ticket(connection(), ticket.id)
    return [photo for photo in taken if photo.known_as in kept.offer.photos] or taken[-MOST_PHOTOS:]


def _found(ref: str) -> tuple[Kept, Ticket]:
    kept = store.by_ref(connection(), ref)
    ticket = tickets.by_id(connection(), kept.ticket_id) if kept else None
    if kept is None or ticket is None:
        raise NotFound(say("There is no such question."))
    return kept, ticket


def _page(kept: Kept, ticket: Ticket, answer: Answer) -> ResponseReturnValue:
    shown = offers.from_form() if typed("how") == "changed" else offers.as_typed(kept)
    text = render_template(
        "shop/question.html",
        kept=kept,
        ticket=ticket,
        options=shown_options(kept.offer),
        offer_form=offers.form(ticket, shown),
        photos=_photos(kept, ticket),
        kind=BENCH_KIND_WORDS[kept.kind],
        waits=kept.question.state is State.AWAITING,
        says=STATE_WORDS[kept.question.state],
        answer=answer,
        typed=Filled(request.form),
        csrf=DeedForm(),
        deed_key=new_deed_key(),
    )
    return text, answer.status
