"""`/t/<token>`: the docket as its owner follows it, and its quiet question whether anything has changed."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from functools import cache
from importlib.metadata import version
from typing import NamedTuple

from flask import Response, abort, g, make_response, redirect, render_template, request, url_for
from flask.typing import ResponseReturnValue

from portal import resources
from portal.actions import handover, terms
from portal.actions.desk import CUSTOMER, NotFound, find
from portal.actions.links import Over, Reader, Renewed, resolve_page
from portal.rules.numbers import spoken
from portal.rules.questions import CUSTOMER_STATE_WORDS, State
from portal.rules.sentences import Sentence, say
from portal.store import customer_page, questions
from portal.store.customer_page import Followed
from portal.web.choosing import push_channel
from portal.web.customer import blueprint
from portal.web.customer.hours import OpeningHours, opening_hours
from portal.web.customer.languages import asked, choose
from portal.web.customer.returning import Returning, returning
from portal.web.customer.sheet import Device, TermsShown, device, terms_shown
from portal.web.forms import Answer, attempt, typed
from portal.web.request_context import (
    connection,
    desk,
    local_today,
    policy,
    refresh,
    speaking,
    use_policy,
)


class Shown(NamedTuple):
    """Who reads, on which day of the shop's, and the validator of the page they would get now."""

    reader: Reader
    today: date
    validator: str
    owner_is_alone: bool  # by the docket's link: its owner can be sent no other


class Asked(NamedTuple):
    """A question about money: its address, the repair it is about, whether it waits, and where it stands."""

    address: str
    number: str
    waits: bool
    says: str
    cancel: str  # until when what was agreed at a distance can be cancelled, or ""


@dataclass(frozen=True)
class DocketPage:
    """All that the customer's page shows."""

    devices: Sequence[Device]  # in the order they were handed in
    hours: OpeningHours
    terms: TermsShown | None
    questions: Sequence[Asked]  # about money, the newest first
    returning: Mapping[str, Returning]  # what is ready, by number
    may_choose_messages: bool  # the reader's own link, or the docket's where its owner can have no other
    is_owner: bool  # by their own link
    answer: Answer  # what came of the form just sent
    address: str  # the page's own path
    chosen: str  # the query that keeps a chosen language, or ""
    validator: str  # what the page was made of

    @property
    def over(self) -> bool:
        """Whether the shop has none of the devices any more: the page is then short."""
        return not any(each.here for each in self.devices)

    @property
    def asks_for_terms(self) -> bool:
        """Whether the reader should accept the terms now."""
        return bool(self.terms and not self.terms.accepted and self.terms.may_accept and not self.over)

    @property
    def asking(self) -> Sequence[Device]:
        """The devices that wait for their owner with no question that says what for."""
        asked = {question.number for question in self.questions if question.waits}
        return [each for each in self.devices if each.asks and each.number not in asked]


@blueprint.get("/t/<token>")
def docket(token: str) -> ResponseReturnValue:
    """The customer's page; a question's own link leads to the question first."""
    shown = look_up(token)
    if shown.reader.question and "all" not in request.args:
        return redirect(url_for("customer.question", token=token, ref=shown.reader.question, lang=asked()), 303)
    return _answer(shown, render_template("customer/docket.html", page=docket_page(token, shown)))


@blueprint.get("/t/<token>/state")
def docket_state(token: str) -> ResponseReturnValue:
    """The page's content alone, or 304 when the reader has it already; that is known before the journal is read."""
    shown = look_up(token)
    if request.headers.get("If-None-Match") == f'"{shown.validator}"':
        return Response(status=304, headers={"ETag": f'"{shown.validator}"'})
    return _answer(shown, render_template("customer/_docket.html", page=docket_page(token, shown)))


@blueprint.post("/t/<token>/terms")
def accept_terms(token: str) -> ResponseReturnValue:
    """The customer accepts the terms in the version that they read, by a press of the button."""
    visit, contact, _question = look_up(token).reader
    if contact and not contact.may_agree:
        abort(403)
    language, version = speaking().tag, typed("version")
    answer = attempt(lambda: terms.accept_terms(desk(), CUSTOMER, visit.ref, version, "page", language=language))
    if answer.done:
        return redirect(url_for("customer.docket", token=token, lang=request.args.get("lang")), 303)
    refresh()
    page = docket_page(token, look_up(token), answer)
    return render_template("customer/docket.html", page=page), answer.status


@blueprint.errorhandler(NotFound)
def leads_nowhere(fault: NotFound) -> ResponseReturnValue:
    """A forged, misspelt or unknown link."""
    return _way_back(404, fault.reason)


@blueprint.post("/t/<token>/again/<number>")
def gone_wrong_again(token: str, number: str) -> ResponseReturnValue:
    """The customer says that a device has gone wrong again."""
    visit = look_up(token).reader.visit
    found = find(connection(), number)
    if found.visit_id != visit.id:
        abort(404)
    confirmed = typed("confirmed") == "1"
    answer = attempt(lambda: handover.gone_wrong_again(desk(), number, typed("again"), confirmed=confirmed))
    if answer.done:
        return redirect(url_for("customer.docket", token=token, lang=request.args.get("lang")), 303)
    refresh()
    page = docket_page(token, look_up(token), answer)
    return render_template("customer/docket.html", page=page), answer.status


@blueprint.errorhandler(Over)
@blueprint.errorhandler(Renewed)
def is_over(fault: Renewed | Over) -> ResponseReturnValue:
    """A link that was right once."""
    return _way_back(410, fault.reason)


def docket_page(token: str, shown: Shown, answer: Answer | None = None) -> DocketPage:
    """Read and word what the page shows."""
    words, rules = speaking(), policy()
    visit, contact, _question = shown.reader
    found = customer_page.following(connection(), visit.id, rules.terms.version if rules.terms else "")
    may_accept = contact is None or contact.may_agree
    return DocketPage(
        devices=[device(ticket, rules, words, shown.today) for ticket in found.tickets],
        hours=opening_hours(rules, shown.today, words),
        terms=terms_shown(rules.terms, found.terms_accepted_at, may_accept, words),
        returning={
            spoken(ticket.number): found_ready
            for ticket in found.tickets
            if (found_ready := returning(ticket, rules, words, desk().links.secret, contact))
        },
        is_owner=contact is not None and contact.role == "owner",
        may_choose_messages=contact is not None or (shown.owner_is_alone and push_channel() is not None),
        questions=_questions(token, visit.id, found.tickets, shown.today),
        answer=answer or Answer(),
        address=url_for("customer.docket", token=token),
        chosen=f"?lang={words.tag}" if "lang" in request.args else "",
        validator=shown.validator,
    )


def _questions(token: str, visit_id: int, followed: Sequence[Followed], today: date) -> list[Asked]:
    """Questions about money, read only where the journal tells of any."""
    if not any("question" in entry.data for ticket in followed for entry in ticket.journal):
        return []
    found = questions.of_visit(connection(), visit_id)
    return [
        Asked(
            url_for("customer.question", token=token, ref=kept.ref, lang=request.args.get("lang")),
            spoken(number),
            kept.question.state is State.PUT,
            speaking().say(
                say("you cancelled it on {day}", day=kept.cancelled_on)
                if kept.cancelled_on
                else CUSTOMER_STATE_WORDS[kept.question.state]
            ),
            speaking().say(say("You can cancel it until {day}.", day=kept.cancel_until))
            if kept.cancel_until and today <= kept.cancel_until and not kept.cancelled_on
            else "",
        )
        for kept, number in reversed(found)
        if kept.put_at is not None
    ]


def look_up(token: str) -> Shown:
    """Resolve the link, choose the language, and make the validator, all with one statement."""
    reader, revision, owner_is_alone = resolve_page(desk(), connection(), token)
    g.followed = token
    choose(use_policy(revision).shop, reader.visit.language)
    words = speaking()
    today = local_today()
    validator = f"{reader.visit.revision}.{revision}.{build()}.{words.tag}.{today}"
    return Shown(reader, today, validator, owner_is_alone)


@cache
def build() -> str:
    """A word for this version of the page: its templates, its style and its program."""
    templates = resources.templates()
    files = [templates / "base.html", *sorted((templates / "customer").iterdir())]
    digest = hashlib.sha256(version("benchwindow").encode())
    for file in files:
        digest.update(file.read_bytes())
    return digest.hexdigest()[:8]


def _answer(shown: Shown, text: str) -> Response:
    response = make_response(text)
    response.headers["ETag"] = f'"{shown.validator}"'
    return response


def _way_back(status: int, reason: Sentence) -> ResponseReturnValue:
    return render_template("customer/way_back.html", status=status, reason=reason), status
