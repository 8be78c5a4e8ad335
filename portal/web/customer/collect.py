"""`/t/<token>/collect`: how the owner has a device back once it is ready, and the day as a file for calendars.

Whoever found a docket may choose a day, and no more: the code, an address and whom to send are for a contact’s own
link.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from urllib.parse import urlsplit

from flask import Response, abort, redirect, render_template, request, url_for
from flask.typing import ResponseReturnValue

from portal.actions import collection_codes, return_ways
from portal.actions.balance import owing
from portal.actions.charges import StorageToCome, storage_to_come
from portal.actions.desk import CUSTOMER, Outcome
from portal.actions.links import Reader
from portal.actions.return_ways import Wanted
from portal.rules.collection_days import open_days, open_on
from portal.rules.numbers import spoken
from portal.rules.refusals import Refused
from portal.rules.return_ways import WAY_WORDS, Way
from portal.rules.sentences import Sentence, say
from portal.store import announcements, handovers, tickets, visits
from portal.store.handovers import Choice
from portal.store.tickets import Ticket
from portal.web.calendar_file import TYPE, Coming, calendar_file
from portal.web.customer import blueprint
from portal.web.customer.docket import look_up
from portal.web.customer.doing import attempt_on_ticket
from portal.web.customer.languages import asked
from portal.web.customer.report import back, ticket_of
from portal.web.forms import Answer, Filled, deed_key_typed, new_deed_key, typed
from portal.web.request_context import connection, desk, policy, refresh, speaking

OFFER_WORDS = {
    Way.COLLECT: say("I come for it"),
    Way.SEND: say("I send somebody"),
    Way.POST: say("Post it to me"),
}


@dataclass(frozen=True)
class Waiting:
    """A device that is ready. `code` is "" where it is not for this reader, `closed` what speaks against a choice."""

    ticket: Ticket
    choice: Choice | None
    code: str
    owing_minor: int
    storage: StorageToCome | None
    offers: Sequence[Way]
    not_by_post: bool
    return_address: str  # as it was announced
    closed: Sequence[Sentence]


@blueprint.get("/t/<token>/collect")
def collect(token: str) -> ResponseReturnValue:
    """The devices of the visit that are ready, with what may be chosen for each."""
    return _page(token, look_up(token).reader, Answer())


@blueprint.post("/t/<token>/collect/<number>")
def choose_way(token: str, number: str) -> ResponseReturnValue:
    """Choose how one device goes back."""
    reader = look_up(token).reader
    found = ticket_of(reader.visit.id, number)
    way = typed("way")
    if not may_choose(reader) or (reader.contact is None and way != Way.COLLECT):
        abort(403)
    answer = attempt_on_ticket(lambda: _choose(found, way))
    if answer.done:
        return redirect(url_for("customer.collect", token=token, lang=asked(), done=spoken(found.number)), 303)
    refresh()
    return _page(token, look_up(token).reader, answer, spoken(found.number))


@blueprint.get("/t/<token>/collect.ics")
def calendar(token: str) -> ResponseReturnValue:
    """The chosen days of the visit, for calendars. 404 where none was ever chosen."""
    visit = look_up(token).reader.visit
    chosen = handovers.choices(connection(), visit.id)
    coming = [
        _coming(each, chosen[each.id])
        for each in tickets.of_visit(connection(), visit.id)
        if each.id in chosen and chosen[each.id].day
    ]
    if not coming:
        abort(404)
    answer = Response(calendar_file(coming), content_type=TYPE)
    answer.headers["Content-Disposition"] = "attachment; filename=collect.ics"
    return answer


def may_choose(reader: Reader) -> bool:
    """Whether this reader may say how a device goes back: whoever may collect, or holds the docket."""
    return reader.contact is None or reader.contact.may_collect


def _choose(found: Ticket, way: str) -> Outcome:
    wanted = Wanted(way, typed("day"), typed("person"), typed("address"), typed("confirmed") == "1")
    return return_ways.choose(desk(), CUSTOMER, found.number, wanted, deed_key=deed_key_typed())


def _page(token: str, reader: Reader, answer: Answer, number: str = "") -> ResponseReturnValue:
    rules = policy()
    found = tickets.of_visit(connection(), reader.visit.id)
    chosen = handovers.choices(connection(), reader.visit.id)
    ready = [each for each in found if each.ending is None and each.stage == rules.stages[-1].key]
    contacts = visits.contacts_of(connection(), reader.visit.id)
    page = render_template(
        "customer/collect.html",
        waiting=[_waiting(each, reader, chosen.get(each.id)) for each in ready],
        own=reader.contact is not None,
        may_choose=may_choose(reader),
        on_stub=collection_codes.needs_stub(contacts, rules),
        days=[each.day for each in open_days(desk().clock.now(), rules)],
        offer_words=OFFER_WORDS,
        way_words=WAY_WORDS,
        Way=Way,
        token=token,
        answer=answer,
        number=number,
        typed=Filled(request.form),
        done=request.args.get("done", ""),
        has_calendar=any(choice.day for choice in chosen.values()),
        deed_key=new_deed_key(),
        back=back(token),
    )
    return page, answer.status


def _waiting(ticket: Ticket, reader: Reader, choice: Choice | None) -> Waiting:
    own = reader.contact
    offers = [Way(way) for way in policy().handover.offers if own or way is Way.COLLECT]
    by_post = Way.POST in offers and return_ways.may_be_posted(connection(), ticket)
    announced = announcements.of_ticket(connection(), ticket.id) if own and by_post else None
    code = ""
    if own and own.may_collect:
        used = handovers.codes_used(connection(), ticket.id)
        code = collection_codes.of_contact(desk().links.secret, own, ticket.ref, used)
    return Waiting(
        ticket=ticket,
        choice=choice,
        code=code,
        owing_minor=owing(connection(), ticket, policy()),
        storage=storage_to_come(desk().shelf, connection(), ticket, policy()),
        offers=[way for way in offers if way is not Way.POST or by_post],
        not_by_post=Way.POST in offers and not by_post,
        return_address=announced.return_address if announced else "",
        closed=_closed(ticket),
    )


def _closed(ticket: Ticket) -> Sequence[Sentence]:
    """What speaks against a choice now."""
    try:
        return_ways.must_be_ready(ticket, policy())
    except Refused as refused:
        return refused.reasons
    return ()


def _coming(ticket: Ticket, choice: Choice) -> Coming:
    rules, words = policy(), speaking()
    day: date = choice.day or choice.chosen_at.date()
    hours = open_on(day, rules)
    what = words.say(say("Collect {device} ({number})", device=ticket.device, number=spoken(ticket.number)))
    return Coming(
        uid=f"{ticket.ref}.collect@{urlsplit(desk().links.base_url).hostname}",
        sequence=choice.sequence,
        chosen_at=choice.chosen_at,
        day=day,
        opens=hours.opens if hours else None,
        closes=hours.closes if hours else None,
        called_off=ticket.collect_on != day or hours is None,
        summary=what,
        place=", ".join([rules.shop.name, *rules.shop.address]),
        words=words.say(say("Any time in these hours. Please bring the collection code.")),
    )
