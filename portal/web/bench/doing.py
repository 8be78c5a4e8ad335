"""Carrying out a posted form: done, one goes back to its page; refused, the page comes back as it was typed."""

from __future__ import annotations

from collections.abc import Callable, Collection, Sequence

from flask import redirect, request, url_for
from flask.typing import ResponseReturnValue

from portal.actions.desk import Outcome, find
from portal.rules.journal_words import for_bench
from portal.rules.numbers import parse_number, spoken
from portal.rules.refusals import Unfit
from portal.rules.sentences import Sentence, say
from portal.store import journal
from portal.store.journal import Entry
from portal.store.tickets import Ticket
from portal.web import guard
from portal.web.forms import Answer, DeedForm, Filled, attempt, checked_form, new_deed_key
from portal.web.request_context import connection, desk, policy, refresh

Deed = Callable[..., Outcome]
Page = Callable[[Ticket, Answer, str], ResponseReturnValue]


def do(number: str, name: str, deed: Deed, page: Page, back: str) -> ResponseReturnValue:
    """Do the deed of the form called `name`; `back` is the endpoint to go to, `page` shows it again where refused."""
    form = checked_form()
    canonical = spoken(parse_number(number))

    def run() -> Outcome:
        seen = form.seen_revision()
        if seen is None:
            raise Unfit("seen", say("The form did not say what it was shown. Please send it once more."))
        return deed(desk(), guard.me().by, canonical, seen=seen, deed_key=form.key())

    answer = attempt(run)
    if answer.done:
        return redirect(url_for(back, number=canonical, done=name), 303)
    refresh()
    return page(find(connection(), canonical), answer, name)


def form_context(answer: Answer, form: str = "") -> dict[str, object]:
    """What every page with a ticket's forms shows of them: what came of the one just sent, and what was typed in it."""
    return {
        "answer": answer,
        "form": form,
        "meanwhile": told(answer.meanwhile),
        "typed": Filled(request.form),
        "deed_key": new_deed_key(),
        "csrf": DeedForm(),
    }


def log(found: Ticket, events: Collection[str]) -> list[tuple[Sentence, Entry]]:
    """What a ticket's journal tells of these events, the newest first."""
    return told([each for each in journal.entries(connection(), found.id) if each.event in events][::-1], found.kind)


def told(entries: Sequence[Entry], kind: str = "") -> list[tuple[Sentence, Entry]]:
    """Journal entries of a device of this kind with their headings, as the bench reads them."""
    return [(for_bench(entry.event, entry.data, policy(), kind), entry) for entry in entries]
