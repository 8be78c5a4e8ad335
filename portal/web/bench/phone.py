"""By telephone: whose repair it is by a phone’s last digits, what may be said aloud and to whom, the call noted."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import partial

from flask import redirect, render_template, request, url_for
from flask.typing import ResponseReturnValue

from portal.actions import conversation as deeds
from portal.actions.desk import find
from portal.language import Language, language
from portal.letters.calling import ToRing, to_ring
from portal.rules.conversation import Outcome
from portal.rules.numbers import parse_number, spoken
from portal.rules.refusals import Unfit
from portal.rules.sentences import say
from portal.store import customer_page, search, tickets, visits
from portal.store.customer_page import Followed
from portal.store.tickets import OpenTicket, Ticket
from portal.store.visits import Contact, Visit
from portal.web.bench import blueprint
from portal.web.bench.doing import do, form_context
from portal.web.customer.hours import opening_hours
from portal.web.customer.sheet import device
from portal.web.forms import Answer, typed
from portal.web.request_context import connection, desk, local_today, policy

FEWEST_DIGITS = 4  # fewer lead to too many people
_DONE = {"rang": say("The call is noted.")}
_BUTTONS = {
    Outcome.REACHED: say("Rung and reached"),
    Outcome.NOT_REACHED: say("Rung and not reached"),
    Outcome.RANG_US: say("They rang us"),
}
_NOBODY_ELSE = say(
    "To anybody who is not named here say nothing of the repair, not even that there is one. Say the collection code "
    "to nobody on the telephone."
)


@dataclass(frozen=True)
class Aloud:
    """What may be said about one device, sentence by sentence, in the customer's language."""

    ticket: Ticket
    is_ready: bool
    sentences: Sequence[str]


@dataclass(frozen=True)
class Card:
    """All that is needed while somebody is on the telephone; about this visit and no other."""

    ticket: Ticket  # the one on which the call is noted
    visit: Visit
    contacts: Sequence[Contact]
    aloud: Sequence[Aloud]
    hours: Sequence[str]
    due: Sequence[ToRing]


@blueprint.get("/phone")
def phone() -> ResponseReturnValue:
    """Find the visit; a single one goes straight to its card."""
    asked = request.args.get("q", "")[:200]
    too_few = asked.isdigit() and len(asked) < FEWEST_DIGITS
    found = [] if too_few else _by_visit(asked)
    if len(found) == 1:
        return redirect(url_for(".phone_card", number=spoken(found[0][0].ticket.number)))
    page = render_template("bench/phone.html", asked=asked, found=found, too_few=too_few, fewest=FEWEST_DIGITS)
    return page, 422 if too_few else 200


@blueprint.get("/<number>/phone")
def phone_card(number: str) -> ResponseReturnValue:
    """The card of a ticket's visit."""
    return _page(find(connection(), number), Answer(), "")


@blueprint.post("/<number>/phone")
def note_call(number: str) -> ResponseReturnValue:
    """Note what came of a call, by one tap."""
    deed = partial(
        deeds.rang,
        outcome=typed("outcome"),
        text=typed("text"),
        contact=typed("contact") or "owner",
        confirmed=typed("confirmed") == "1",
    )
    return do(number, "rang", deed, _page, ".phone_card")


def _by_visit(asked: str) -> list[list[OpenTicket]]:
    """The tickets that are meant, those of one visit together: by number, and by whatever else they are found by."""
    try:
        known = tickets.by_number(connection(), parse_number(asked))
    except Unfit:
        known = None
    found = [*(tickets.lines(connection(), [known.id]) if known else ()), *search.find(connection(), asked)]
    visits_found: dict[str, list[OpenTicket]] = {}
    for each in found:
        beside = visits_found.setdefault(each.visit_ref, [])
        if each not in beside:
            beside.append(each)
    return list(visits_found.values())


def _page(found: Ticket, answer: Answer, form: str) -> ResponseReturnValue:
    card = _card(found)
    page = render_template(
        "bench/phone_card.html",
        card=card,
        ticket=found,
        language=card.visit.language,
        buttons=_BUTTONS,
        nobody_else=_NOBODY_ELSE,
        done=_DONE.get(request.args.get("done", "")) if answer.done else None,
        **form_context(answer, form),
    )
    return page, answer.status


def _card(found: Ticket) -> Card:
    rules = policy()
    visit = visits.by_id(connection(), found.visit_id)
    contacts = visits.contacts_of(connection(), visit.id)
    words = language(visit.language, rules.shop.zone)
    followed = {each.number: each for each in customer_page.following(connection(), visit.id, "").tickets}
    hours = opening_hours(rules, local_today(), words)
    return Card(
        ticket=found,
        visit=visit,
        contacts=contacts,
        aloud=[_aloud(each, followed[each.number], words) for each in tickets.of_visit(connection(), visit.id)],
        hours=[line for line in (hours.today, hours.next, *hours.banners) if line],
        due=to_ring(desk(), [contact.ref for contact in contacts]),
    )


def _aloud(ticket: Ticket, followed: Followed, words: Language) -> Aloud:
    """The same sentences as on the customer's page, and in plain words whether it is ready."""
    rules = policy()
    told = device(followed, rules, words, local_today())
    is_ready = told.here and ticket.stage == rules.stages[-1].key and not ticket.hold
    if not told.here:
        sentences = [told.standing, told.warranty]
    else:
        ready = say("It is ready.") if is_ready else say("It is not ready yet.")
        stands = [told.standing, told.hold, told.part_expected, told.next, _day(ticket, words)]
        sentences = [words.say(ready), *told.when_ready, *stands]
    return Aloud(ticket, is_ready, [sentence for sentence in sentences if sentence])


def _day(ticket: Ticket, words: Language) -> str:
    if ticket.collect_on is None:
        return ""
    return words.say(say("You chose to come on {day}.", day=ticket.collect_on))
