"""`/t/<token>/data`: a person sees, takes along, corrects, erases or restricts their own data, after a code."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from flask import Response, abort, redirect, render_template, request, url_for
from flask.typing import ResponseReturnValue
from werkzeug.datastructures import MultiDict

from portal.actions import own_data, rights
from portal.actions.desk import CUSTOMER, NotFound
from portal.actions.erasure import Erased
from portal.actions.links import Reader
from portal.actions.rights import Asked, holidays_of
from portal.letters.disclosure import packed
from portal.rules import rights as rules
from portal.rules.numbers import spoken
from portal.rules.refusals import Unfit
from portal.rules.retention import REGISTER
from portal.rules.rights import RIGHT_WORDS, STATE_WORDS, Right, Through
from portal.rules.sentences import Sentence, say
from portal.store import rights as store
from portal.store import tickets, visits
from portal.store.rights import Kept
from portal.store.tickets import Ticket
from portal.web.customer import blueprint
from portal.web.customer.docket import look_up
from portal.web.customer.doing import attempt_on_ticket
from portal.web.customer.languages import asked
from portal.web.customer.report import back, ticket_of
from portal.web.erasing import leave_no_copy
from portal.web.forms import Answer, Filled, attempt, deed_key_typed, new_deed_key, typed
from portal.web.request_context import connection, desk, installation, policy, refresh


@dataclass(frozen=True)
class Done:
    """What a deed left, for the page that says so. `link_is_over`: the reader's own link died with it."""

    says: Sequence[Sentence]
    erased: Erased | None = None
    link_is_over: bool = False


@blueprint.get("/t/<token>/data")
def own_data_page(token: str) -> ResponseReturnValue:
    """What may be done, and the way to a code."""
    return _page(token, _reader(token), Answer())


@blueprint.post("/t/<token>/data/code")
def send_data_code(token: str) -> ResponseReturnValue:
    """Send a code to the owner on file."""
    reader = _owner(token)
    answer = attempt(lambda: own_data.send_code(desk(), reader.visit))
    if answer.done:
        return redirect(url_for("customer.own_data_page", token=token, lang=asked(), code="sent"), 303)
    return _again(token, answer)


@blueprint.post("/t/<token>/data/open")
def open_own_data(token: str) -> ResponseReturnValue:
    """The code opens the forms; so does the pass, for who comes back from one of them."""
    reader = _owner(token)

    def open_with() -> str:
        if not typed("passed"):
            return own_data.prove(desk(), reader.visit, typed("code"))
        own_data.must_be_proven(desk(), reader.visit, typed("passed"))
        return typed("passed")

    answer = attempt(open_with)
    if not answer.done:
        return _again(token, answer)
    refresh()
    return _page(token, _reader(token), Answer(), passed=str(answer.result))


@blueprint.post("/t/<token>/data/download")
def take_data_along(token: str) -> ResponseReturnValue:
    """Everything as one file, made anew."""
    reader = _owner(token)
    number = _tickets(reader)[0].number
    if unproven := _unproven(reader):
        return _again(token, unproven)
    content = packed(desk(), installation().photo_files, number)
    own_data.taken_along(desk(), number)
    response = Response(content, mimetype="application/zip")
    response.headers.set("Content-Disposition", "attachment", filename=f"{spoken(number)}.zip")
    response.headers["Cache-Control"] = "no-store"
    return response


@blueprint.post("/t/<token>/data/correct")
def correct_own_data(token: str) -> ResponseReturnValue:
    """Name, address and number as they should be."""

    def deed(number: str, key: str | None) -> Done:
        reader = _owner(token)
        before = [each.link_version for each in _contacts(reader)]
        own_data.correct(desk(), number, typed("name"), typed("email"), typed("phone"), deed_key=key)
        refresh()
        if before == [each.link_version for each in _contacts(reader)]:
            return Done([say("It is corrected.")])
        words = say("It is corrected. A new link went to the new address; the one sent to the old address is dead.")
        return Done([words], link_is_over=reader.contact is not None)

    return _do(token, "correct", deed)


@blueprint.post("/t/<token>/data/state")
def add_statement(token: str) -> ResponseReturnValue:
    """A statement of their own, beside what the shop wrote."""

    def deed(_number: str, key: str | None) -> Done:
        chosen = ticket_of(_owner(token).visit.id, typed("number"))
        own_data.state(desk(), chosen.number, typed("words"), confirmed=typed("confirmed") == "1", deed_key=key)
        return Done([say("Your statement stands in the record, and on the report.")])

    return _do(token, "state", deed)


@blueprint.post("/t/<token>/data/erase")
def erase_own_data(token: str) -> ResponseReturnValue:
    """What can go goes at once; what must stay is named."""

    def deed(number: str, key: str | None) -> Done:
        erased = own_data.erase(desk(), installation().photo_files, number, deed_key=key)
        if erased is None:
            return Done(
                [
                    say("Your device is still here, and the data is needed for its repair (Art. 17(1)(a) GDPR)."),
                    say("The shop has your request, and answers it within a month."),
                ]
            )
        leave_no_copy()
        return Done([say("What could go is gone.")], erased, link_is_over=True)

    return _do(token, "erase", deed)


@blueprint.post("/t/<token>/data/restrict")
def restrict_own_data(token: str) -> ResponseReturnValue:
    """Stored only, from now on."""

    def deed(number: str, key: str | None) -> Done:
        own_data.restrict(desk(), number, deed_key=key)
        return Done([say("From now on your data is only stored. Nothing is sent to you but what you ask for.")])

    return _do(token, "restrict", deed)


@blueprint.post("/t/<token>/data/use-again")
def use_data_again(token: str) -> ResponseReturnValue:
    """No longer stored only."""

    def deed(number: str, key: str | None) -> Done:
        own_data.use_again(desk(), number, deed_key=key)
        return Done([say("We use your data for your repair again, and write to you as before.")])

    return _do(token, "use-again", deed)


@blueprint.post("/t/<token>/data/object")
def object_to_use(token: str) -> ResponseReturnValue:
    """Reminders end at once; the shop answers the rest."""

    def deed(number: str, key: str | None) -> Done:
        own_data.objects(desk(), number, typed("objection"), deed_key=key)
        return Done([say("You get no reminders and no news any more. The shop answers the rest within a month.")])

    return _do(token, "object", deed)


@blueprint.post("/t/<token>/data/ask")
def ask_about_data(token: str) -> ResponseReturnValue:
    """Without a code: the request is written down, and a person at the shop answers it."""
    reader = _reader(token)
    number, whose = _tickets(reader)[0].number, reader.contact.role if reader.contact else "owner"

    def deed() -> str:
        asked_for = Asked(typed("right"), Through.PAGE, number=number, words=typed("what"), whose=whose)
        return rights.enter(desk(), CUSTOMER, asked_for, deed_key=deed_key_typed())

    answer = attempt(deed)
    if answer.done:
        return redirect(url_for("customer.own_data_page", token=token, lang=asked(), asked=1), 303)
    return _again(token, answer, form="ask")


def _do(token: str, form: str, deed: Callable[[str, str | None], Done]) -> ResponseReturnValue:
    """A deed behind a pass: done, a page says what came of it; refused, the forms come back as they were typed."""
    reader = _owner(token)
    if unproven := _unproven(reader):
        return _again(token, unproven)
    number = _tickets(reader)[0].number
    answer = attempt_on_ticket(lambda: deed(number, deed_key_typed()))
    refresh()
    if isinstance(answer.result, Done):
        return render_template(
            "customer/own_data_done.html",
            done=answer.result,
            register=REGISTER,
            token=token,
            passed=typed("passed"),
            back=back(token),
        )
    return _page(token, _reader(token), answer, passed=typed("passed"), form=form)


def _unproven(reader: Reader) -> Answer | None:
    """Why nothing may be done or shown behind the pass that was sent, or None: looked at before anything else is."""
    try:
        own_data.must_be_proven(desk(), reader.visit, typed("passed"))
    except Unfit as unfit:
        return Answer(reasons=unfit.reasons, at_field=unfit.field, status=422)
    return None


def _again(token: str, answer: Answer, form: str = "code") -> ResponseReturnValue:
    refresh()
    return _page(token, _reader(token), answer, form=form)


def _page(token: str, reader: Reader, answer: Answer, *, passed: str = "", form: str = "") -> ResponseReturnValue:
    of_visit = _tickets(reader)
    page = render_template(
        "customer/own_data.html",
        token=token,
        answer=answer,
        form=form,
        passed=passed,
        typed=Filled(_filled(reader, form)),
        is_owner=_is_owner(reader),
        can_prove=any(each.role == "owner" and each.reachable for each in _contacts(reader)),
        tickets=of_visit,
        here=any(each.ending is None for each in of_visit),
        restricted_at=reader.visit.restricted_at,
        rights=RIGHT_WORDS,
        state_words=STATE_WORDS,
        requests=[(each, _due(each)) for each in store.of_visit(connection(), reader.visit.id)] if passed else [],
        code_sent=request.args.get("code") == "sent",
        request_sent="asked" in request.args,
        Right=Right,
        deed_key=new_deed_key(),
        back=back(token),
    )
    return page, answer.status


def _filled(reader: Reader, form: str) -> MultiDict[str, str]:
    """What the forms begin with: what was typed into the one that was sent, and the contact on file."""
    filled: MultiDict[str, str] = MultiDict(request.form)
    if form != "correct":
        for contact in _contacts(reader):
            if contact.role == "owner":
                filled.update({"name": contact.name, "email": contact.email, "phone": contact.phone})
    return filled


def _due(kept: Kept) -> object:
    return rules.due(kept.request, holidays_of(policy()))


def _reader(token: str) -> Reader:
    reader = look_up(token).reader
    if not tickets.of_visit(connection(), reader.visit.id):
        raise NotFound(say("This link has no such repair. Please open the page of your repair and go on from there."))
    return reader


def _owner(token: str) -> Reader:
    reader = _reader(token)
    if not _is_owner(reader):
        abort(403)
    return reader


def _is_owner(reader: Reader) -> bool:
    """By the docket or by the owner's own link; either way the code goes to the owner."""
    return reader.contact is None or reader.contact.role == "owner"


def _tickets(reader: Reader) -> Sequence[Ticket]:
    return tickets.of_visit(connection(), reader.visit.id)


def _contacts(reader: Reader) -> Sequence[visits.Contact]:
    return visits.contacts_of(connection(), reader.visit.id)
