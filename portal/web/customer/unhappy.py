"""`/t/<token>/complain/<number>` and `/t/<token>/found/<number>`: the customer is not satisfied, or does not agree."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from flask import redirect, render_template, request, url_for
from flask.typing import ResponseReturnValue

from portal.actions import complaints as complaint_deeds
from portal.actions import warranty as warranty_deeds
from portal.actions.desk import CUSTOMER, Outcome
from portal.rules.journal_words import for_customer
from portal.rules.numbers import spoken
from portal.rules.sentences import Sentence
from portal.rules.warranty import CUSTOMER_VERDICT_WORDS, CUSTOMER_WAY_WORDS
from portal.store import complaints, journal, warranty
from portal.store.journal import Entry
from portal.store.tickets import Ticket
from portal.web.customer import blueprint
from portal.web.customer.docket import look_up
from portal.web.customer.doing import attempt_on_ticket
from portal.web.customer.languages import asked
from portal.web.customer.report import back, ticket_of
from portal.web.forms import Answer, Filled, deed_key_typed, new_deed_key, typed
from portal.web.request_context import connection, desk, policy, refresh
from portal.web.uploads import STATUS

_COMPLAINT = ("complained", "complaint_answered", "complaint_closed")
_COMPARED = ("came_back", "fault_compared", "verdict_objected")


@blueprint.get("/t/<token>/complain/<number>")
def complain(token: str, number: str) -> ResponseReturnValue:
    """What was said and answered, and the form."""
    return _complaint_page(token, _found(token, number), Answer())


@blueprint.post("/t/<token>/complain/<number>")
def send_complaint(token: str, number: str) -> ResponseReturnValue:
    """The customer is not satisfied."""

    def deed(found: Ticket) -> Outcome:
        return complaint_deeds.complain(desk(), found.number, typed("words"), deed_key=deed_key_typed())

    return _do(token, number, deed, _complaint_page, "customer.complain")


@blueprint.post("/t/<token>/complain/<number>/settled")
def settle_complaint(token: str, number: str) -> ResponseReturnValue:
    """That settles it for them."""

    def deed(found: Ticket) -> Outcome:
        return complaint_deeds.close(desk(), CUSTOMER, found.number, deed_key=deed_key_typed())

    return _do(token, number, deed, _complaint_page, "customer.complain")


@blueprint.get("/t/<token>/found/<number>")
def what_we_found(token: str, number: str) -> ResponseReturnValue:
    """Whether it is the same fault, in the shop's words, and the form for who does not agree."""
    return _found_page(token, _found(token, number), Answer())


@blueprint.post("/t/<token>/found/<number>")
def object_to_verdict(token: str, number: str) -> ResponseReturnValue:
    """The customer does not agree."""

    def deed(found: Ticket) -> Outcome:
        return warranty_deeds.object_to(desk(), found.number, typed("words"), deed_key=deed_key_typed())

    return _do(token, number, deed, _found_page, "customer.what_we_found")


def _do(
    token: str,
    number: str,
    deed: Callable[[Ticket], Outcome],
    page: Callable[[str, Ticket, Answer], ResponseReturnValue],
    to: str,
) -> ResponseReturnValue:
    found = _found(token, number)
    answer = attempt_on_ticket(lambda: deed(found))
    if answer.done:
        return redirect(url_for(to, token=token, number=spoken(found.number), lang=asked(), sent=1), 303)
    answer.status = STATUS.get(answer.kind, answer.status)
    refresh()
    return page(token, _found(token, number), answer)


def _found(token: str, number: str) -> Ticket:
    return ticket_of(look_up(token).reader.visit.id, number)


def _complaint_page(token: str, found: Ticket, answer: Answer) -> ResponseReturnValue:
    page = render_template(
        "customer/complain.html",
        ticket=found,
        complaint=complaints.open_of(connection(), found.id),
        lines=_lines(found, _COMPLAINT),
        longest=complaint_deeds.LONGEST,
        settle=url_for("customer.settle_complaint", token=token, number=spoken(found.number), lang=asked()),
        **_usual(token, answer),
    )
    return page, answer.status


def _found_page(token: str, found: Ticket, answer: Answer) -> ResponseReturnValue:
    came_back = warranty.of_ticket(connection(), found.id)
    verdict, way = (came_back.verdict, came_back.way) if came_back else (None, None)
    page = render_template(
        "customer/found.html",
        ticket=found,
        came_back=came_back,
        verdict=CUSTOMER_VERDICT_WORDS[verdict] if verdict else None,
        way=CUSTOMER_WAY_WORDS[way] if way else None,
        lines=_lines(found, _COMPARED),
        **_usual(token, answer),
    )
    return page, answer.status


def _usual(token: str, answer: Answer) -> dict[str, object]:
    return {
        "answer": answer,
        "typed": Filled(request.form),
        "sent": "sent" in request.args and answer.done,
        "deed_key": new_deed_key(),
        "back": back(token),
    }


def _lines(found: Ticket, events: Sequence[str]) -> Sequence[tuple[Sentence, Entry]]:
    """What was said, the newest first."""
    told = [each for each in journal.entries_for_customer(connection(), found.id) if each.event in events]
    return [(says, each) for each in reversed(told) if (says := for_customer(each.event, each.data, policy()))]
