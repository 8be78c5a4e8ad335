"""What stands on the page of today, a function a section. To show something new, write one and put it into SECTIONS."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from flask import url_for

from notifications import undelivered
from notifications.outbox import Trace
from portal.actions import balance
from portal.rules.cancellation import must_wait
from portal.rules.deadlines import notice_of_breach_due
from portal.rules.messages import OF_WHAT_IS_GONE, OF_WHAT_IS_READY, RING_ABOUT, channel_words
from portal.rules.money import Price
from portal.rules.numbers import spoken
from portal.rules.outcomes import outcome_words
from portal.rules.questions import State
from portal.rules.return_ways import Way
from portal.rules.rights import RIGHT_WORDS
from portal.rules.sentences import Sentence, say
from portal.store import (
    breaches,
    calls,
    collection,
    complaints,
    formal_notices,
    handovers,
    journal,
    keeping,
    money,
    parts,
    questions,
    records,
    refunds,
    sheets,
    tickets,
    warranty,
    windows,
    wishes,
)
from portal.store.handovers import Leaving
from portal.store.questions import Kept
from portal.store.sheets import Soaked
from portal.web import guard
from portal.web.data_requests import waiting
from portal.web.page import message_words
from portal.web.request_context import connection, desk, local_today, policy, speaking

SHOWN_FOR = timedelta(days=14)  # how long news stay


@dataclass(frozen=True)
class Line:
    """One thing to look at: where it leads, whose, since or until when (`beside` says which), and its words."""

    link: str
    number: str
    device: str
    at: datetime | None = None
    beside: str = ""
    words: str = ""


@dataclass(frozen=True)
class Section:
    """Things of one kind."""

    key: str
    heading: Sentence
    lines: Sequence[Line]
    hint: Sentence | None = None


def sections(*, news: bool = True) -> list[Section]:
    """Everything there is to look at, without the sections that have nothing; or only what waits for somebody."""
    as_keeper = guard.me().is_keeper
    wanted = [make for make in SECTIONS if (as_keeper or make not in KEEPERS) and (news or make not in NEWS)]
    return [section for make in wanted if (section := make()).lines]


def _to_ring() -> Section:
    """A line for each contact and device, however much there is to tell them."""
    ready = policy().stages[-1].key
    found: dict[tuple[str, str], list[calls.Waiting]] = {}
    for call in calls.waiting(connection()):
        if _is_true(call, ready):
            found.setdefault((call.contact_ref, call.number), []).append(call)
    lines = [
        Line(
            _link("phone_card", number),
            number,
            first.device,
            first.made_at,
            f"{first.name} {first.phone}".strip(),
            "\n".join(dict.fromkeys(speaking().say(RING_ABOUT[each.event]) for each in (first, *others))),
        )
        for (_contact, number), (first, *others) in found.items()
    ]
    return Section("to-ring", say("To ring"), lines)


def _is_true(call: calls.Waiting, ready: str) -> bool:
    """Whether a call is still wanted, by where its device is; the clock looks closer, and closes what is not."""
    if call.ending is not None:
        return call.event in OF_WHAT_IS_GONE
    return call.event not in OF_WHAT_IS_READY or call.stage == ready


def _wrote() -> Section:
    lines = [
        Line(_link("conversation", each.number), each.number, each.device, each.at, words=each.words)
        for each in journal.unread(connection())
    ]
    return Section("wrote", say("Customers wrote"), lines)


def _undelivered() -> Section:
    traces = undelivered.undelivered(connection())
    numbers = tickets.numbers_of(connection(), [trace.reference for trace in traces])
    lines = [_not_delivered(trace, numbers[trace.reference][0]) for trace in traces if trace.reference in numbers]
    hint = say("Correct the address on the ticket’s page, then send it again; or tell them another way.")
    return Section("undelivered", say("Could not be delivered"), lines, hint)


def _not_delivered(trace: Trace, number: str) -> Line:
    told, link = speaking().say(message_words(trace.event)), f"{_link('ticket', number)}#undelivered"
    way = speaking().say(channel_words(trace.channel)) if trace.channel else ""
    why = speaking().say(outcome_words(trace.outcome))
    return Line(link, number, "", trace.settled_at, " · ".join(each for each in (told, way) if each), why)


def _objections() -> Section:
    lines = [
        Line(_link("record", each.number), each.number, each.device, each.at, words=each.words)
        for each in records.objected(connection())
    ]
    hint = say("A new version of the record answers an objection; the customer can then answer that one.")
    return Section("objections", say("Customers object to the record"), lines, hint)


def _again() -> Section:
    since = desk().clock.now() - SHOWN_FOR
    lines = [
        Line(_link("ticket", each.number), each.number, each.device, each.at, words=each.words)
        for each in journal.said_since(connection(), "gone_wrong_again", since)
    ]
    return Section("again", say("It has gone wrong again"), lines)


def _complaints() -> Section:
    today = local_today()
    lines = [
        Line(
            _link("complaint", each.number),
            each.number,
            each.device,
            beside=speaking().say(
                say("answered")
                if each.complaint.answered_at
                else say("overdue since {day}", day=each.complaint.answer_by)
                if each.complaint.answer_by < today
                else say("answer by {day}", day=each.complaint.answer_by)
            ),
            words=each.words,
        )
        for each in complaints.waiting(connection())
    ]
    return Section("complaints", say("Customers are not satisfied"), lines)


def _disagree() -> Section:
    lines = [
        Line(_link("again", each.number), each.number, each.device, each.at) for each in warranty.objected(connection())
    ]
    return Section("disagree", say("Customers do not agree that it is another fault"), lines)


def _formal() -> Section:
    """What the formal path may be for: reminded to the end and silent, or a day that a notice names has come."""
    rules = policy()
    if rules.collection.law == "none":
        return Section("formal", say("Nobody collects"), [])
    silent = collection.silent(connection(), rules.stages[-1].key, len(rules.collection.reminders))
    come = formal_notices.day_has_come(connection(), local_today())
    lines = [
        *(_formal_line(number, device, say("reminded to the end")) for number, device in silent),
        *(_formal_line(number, device, say("the notice named {day}", day=day)) for number, device, day in come),
    ]
    return Section("formal", say("Nobody collects"), lines, say("Nothing happens by itself. Take advice first."))


def _formal_line(number: str, device: str, beside: Sentence) -> Line:
    return Line(url_for("shop.notices", number=spoken(number)), number, device, beside=speaking().say(beside))


def _to_sign_off() -> Section:
    lines = [
        Line(
            url_for("shop.sign_off", ref=kept.ref),
            number,
            device,
            beside=speaking().money(kept.offer.dearest(), kept.offer.terms.currency),
        )
        for kept, number, device in questions.waiting(connection(), State.AWAITING)
    ]
    return Section("to-sign-off", say("To sign off"), lines)


def _data_requests() -> Section:
    lines = []
    for each in waiting():
        beside = say("answer by {day}", day=each.due) if each.due else say("the clock stands still")
        link, words = url_for("shop.one_request", ref=each.kept.ref), RIGHT_WORDS[each.kept.request.right]
        lines.append(Line(link, each.kept.number, "", beside=speaking().say(beside), words=speaking().say(words)))
    return Section("data-requests", say("Requests about personal data"), lines)


def _breaches() -> Section:
    """Those of which the authority has not been told: GDPR Art. 33(1) gives 72 hours, unless there is no risk."""
    lines = []
    for each in breaches.untold(connection()):
        due = notice_of_breach_due(each.aware_at)
        beside = say("the 72 hours ended") if due < desk().clock.now() else say("the 72 hours end")
        whose = ", ".join(map(spoken, each.numbers)) or speaking().say(say("it concerns everybody"))
        link = url_for("shop.one_breach", ref=each.ref)
        lines.append(Line(link, "", whose, due, speaking().say(beside), each.happened))
    hint = say("Tell the authority, or close it where nobody is put at risk.")
    return Section("breaches", say("When something went wrong with data"), lines, hint)


def _look_again() -> Section:
    """A line for each device and day, however many kinds of data are kept until then."""
    found = keeping.lapsing(connection(), local_today(), local_today() + SHOWN_FOR)
    lines = {
        (each.number, each.pause.until): Line(
            _link("data", each.number),
            each.number,
            each.device,
            beside=speaking().say(say("by {day}", day=each.pause.until)),
            words=each.pause.reason,
        )
        for each in found
    }
    hint = say("Keep it longer, with a reason, or let it go.")
    return Section("look-again", say("Data that was kept longer: look again"), list(lines.values()), hint)


def _sent_back() -> Section:
    lines = [
        Line(_link("questions", number), number, device, words=kept.returned_with)
        for kept, number, device in questions.waiting(connection(), State.DRAFTED)
        if kept.returned_with
    ]
    return Section("sent-back", say("Sent back by the keeper"), lines)


def _agreed() -> Section:
    lines = [
        Line(_link("questions", number), number, device, kept.settled_at, words=_chosen(kept))
        for kept, number, device in questions.waiting(connection(), State.AGREED)
        if _waits(kept) and not must_wait(kept.cancel_until, kept.begin_early, local_today())
    ]
    return Section("agreed", say("Agreed to, and not begun"), lines)


def _cancelled() -> Section:
    lines = [
        _chosen_line("cancelled", kept, number, device, say("they cancelled on {day}", day=kept.cancelled_on))
        for kept, number, device in questions.declared(connection())
    ]
    return Section("cancelled", say("Cancelled by the customer: enter how much was done by then"), lines)


def _agreed_later() -> Section:
    lines = [
        _chosen_line("questions", kept, number, device, say("can be cancelled until {day}", day=kept.cancel_until))
        for kept, number, device in questions.waiting(connection(), State.AGREED)
        if _waits(kept) and must_wait(kept.cancel_until, kept.begin_early, local_today())
    ]
    return Section("agreed-later", say("Agreed at a distance: begin on the day after"), lines)


def _asked() -> Section:
    beside = speaking().gettext("answer by")
    lines = [
        Line(_link("questions", number), number, device, kept.question.answer_by, beside)
        for kept, number, device in questions.waiting(connection(), State.PUT)
    ]
    return Section("asked", say("Waiting for the customer’s answer"), lines)


def _moved() -> Section:
    lines = [
        Line(
            f"{_link('ticket', each.number)}#window",
            each.number,
            each.device,
            each.kept.moved_since,
            speaking().say(say("reckoned with {day}", day=each.promised_on or each.kept.told_last)),
        )
        for each in windows.moved(connection())
    ]
    hint = say("Tell the customer why: they get one message, with the new days.")
    return Section("moved", say("Days that will probably be missed"), lines, hint)


def _too_late() -> Section:
    lines = [
        Line(
            f"{_link('ticket', each.number)}#window",
            each.number,
            each.device,
            beside=speaking().say(say("needed by {day}", day=each.needed_by)),
            words=speaking().say(say("probably ready {days}", days=each.kept.window)) if each.kept.window else "",
        )
        for each in windows.too_late(connection())
    ]
    return Section("too-late", say("Needed earlier than probably ready"), lines)


def _coming() -> Section:
    lines = [
        Line(_link("handing_over", each.number), each.number, each.device, beside=each.person)
        for each in _leaving()
        if each.way is not Way.POST
    ]
    return Section("coming", say("Somebody comes today"), lines)


def _to_post() -> Section:
    lines = [
        Line(_link("posting", each.number), each.number, each.device) for each in _leaving() if each.way is Way.POST
    ]
    return Section("to-post", say("To be posted"), lines)


def _unpaid() -> Section:
    rules = policy()
    ids = money.ready_and_charged(connection(), rules.stages[-1].key)
    ready = [each.ticket for each in tickets.lines(connection(), ids)]
    accounts = balance.of_several(connection(), ready, rules)
    lines = []
    for ticket in ready:
        if owing := accounts[ticket.id].open_minor:
            price = speaking().money(owing, rules.shop.currency)
            lines.append(Line(_link("money", ticket.number), ticket.number, ticket.device, ticket.stage_since, price))
    return Section("unpaid", say("Ready, and not paid"), lines)


def _left_unpaid() -> Section:
    rules = policy()
    lines = []
    for each in money.left_unpaid(connection()):
        beside = say("open: {price}", price=Price(each.open_minor, rules.shop.currency))
        lines.append(Line(_link("money", each.number), each.number, each.device, each.at, speaking().say(beside)))
    return Section("left-unpaid", say("Left unpaid"), lines)


def _to_give_back() -> Section:
    currency, lines = policy().shop.currency, []
    for number, device, owed in refunds.everywhere(connection()):
        price = Price(owed.amount_minor, currency)
        beside = (
            say("{price}, overdue since {day}", price=price, day=owed.due_on)
            if owed.due_on < local_today()
            else say("{price} by {day}", price=price, day=owed.due_on)
        )
        lines.append(Line(_link("money", number), number, device, beside=speaking().say(beside)))
    return Section("to-give-back", say("To give back"), lines)


def _given_up() -> Section:
    lines = [
        Line(_link("giving_up", each.number), each.number, each.device, each.at)
        for each in wishes.given_up(connection())
    ]
    return Section("given-up", say("Given up by their owners"), lines)


def _soaked() -> Section:
    beside = speaking().gettext("over since")
    lines = [
        Line(_link("sheet", each.number), each.number, each.device, each.over_since, beside, _check_words(each))
        for each in sheets.soaked(connection(), desk().clock.now())
    ]
    return Section("soaked", say("Tests that have run their time"), lines)


def _late() -> Section:
    lines = [
        Line(
            _link("parts", each.number),
            each.number,
            each.device,
            beside=speaking().say(say("expected on {day}", day=each.part.expected_on)),
            words=f"{each.part.what} · {each.part.supplier} {each.part.reference}".strip(),
        )
        for each in parts.due(connection())
        if each.late(local_today())
    ]
    return Section("late", say("Parts that are late"), lines)


def _let_through() -> Section:
    # One deed writes an entry a check, its reason in the first.
    news = sheets.let_through_by_bench(connection(), desk().clock.now() - SHOWN_FOR)
    lines = [
        Line(_link("sheet", each.number), each.number, "", each.at, each.by, each.why) for each in news if each.why
    ]
    return Section("let-through", say("Let through by the bench"), lines)


Make = Callable[[], Section]
SECTIONS: Sequence[Make] = (
    _to_ring,
    _wrote,
    _undelivered,
    _objections,
    _again,
    _complaints,
    _disagree,
    _to_sign_off,
    _data_requests,
    _breaches,
    _look_again,
    _sent_back,
    _cancelled,
    _agreed,
    _coming,
    _to_post,
    _to_give_back,
    _unpaid,
    _left_unpaid,
    _given_up,
    _formal,
    _soaked,
    _moved,
    _too_late,
    _late,
    _agreed_later,
    _asked,
    _let_through,
)
NEWS = (_coming, _unpaid, _too_late, _agreed_later, _asked, _let_through)  # nobody has to do anything about these
KEEPERS = (
    _to_sign_off,
    _data_requests,
    _breaches,
    _look_again,
    _given_up,
    _formal,
    _let_through,
)  # nobody else is shown these


def _link(page: str, number: str) -> str:
    return url_for(f"bench.{page}", number=spoken(number))


def _leaving() -> list[Leaving]:
    return handovers.leaving(connection(), local_today())


def _waits(kept: Kept) -> bool:
    """Whether what was agreed to is still to be begun."""
    return kept.started_at is None and kept.cancelled_on is None


def _chosen_line(page: str, kept: Kept, number: str, device: str, beside: Sentence) -> Line:
    return Line(_link(page, number), number, device, beside=speaking().say(beside), words=_chosen(kept))


def _chosen(kept: Kept) -> str:
    option = kept.offer.option(kept.question.chosen or "")
    return option.proposal


def _check_words(soaked: Soaked) -> str:
    """The check in the policy's words for the bench; by its key where the policy has it no more."""
    kind = policy().kind(soaked.kind)
    check = kind.check(soaked.check) if kind else None
    return check.bench if check else soaked.check
