"""What the customer's page shows, as plain words in the page's language: the template only lays them out."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import date, datetime

from portal.language import Language
from portal.rules.afterwards import begins, warranty_ends
from portal.rules.cancelled import START
from portal.rules.journal_words import CUSTOMER_ENDINGS, CUSTOMER_HOLDS, for_customer
from portal.rules.money import Price
from portal.rules.numbers import spoken
from portal.rules.policy import Policy, Terms
from portal.rules.price_terms import left, told_by
from portal.rules.sentences import Sentence, say
from portal.rules.stages import Hold
from portal.rules.stamps import Place, next_stage, stamps
from portal.rules.windows import probably
from portal.store.customer_page import Followed, Told

_NOTES = {
    Place.PASSED: say("done"),
    Place.HERE: say("here now"),
    Place.LEFT_OUT: say("not needed"),
    Place.TO_COME: say("still to come"),
}
_AFTER_HOLD = {
    Hold.APPROVAL: say("As soon as we have your answer, we go on."),
    Hold.PART: say("As soon as it is here, we go on."),
    Hold.CUSTOMER: say("As soon as we hear from you, we go on."),
    Hold.DISPUTE: say("As soon as it is settled, we go on."),
    Hold.SAFETY: say("As soon as it is dealt with, we go on."),
}
_ASKS = (Hold.APPROVAL, Hold.CUSTOMER)  # holds that the customer can end


@dataclass(frozen=True)
class When:
    """A moment as people read it, and as the `datetime` attribute wants it."""

    words: str
    machine: str


@dataclass(frozen=True)
class Line:
    """A stage of the docket. `state` is a word for the style sheet, `note` says the same to people."""

    label: str
    state: str
    note: str
    when: When | None


@dataclass(frozen=True)
class Word:
    """An entry of the journal: our heading, and what the shop wrote beneath it."""

    says: str
    text: str
    when: When


@dataclass(frozen=True)
class Device:
    """One device. An ended one has its number, `standing`, `since`, `balance`, `warranty` and `told_again` only."""

    number: str
    standing: str
    since: When
    here: bool
    device: str = ""
    fault: str = ""
    hold: str = ""
    held_since: When | None = None
    part_expected: str = ""
    price: str = ""  # what was agreed about the price when it came in
    price_left: str = ""  # how much of a limit is used, and how much is left
    price_cancel: str = ""  # until when what was agreed at a distance can be cancelled
    balance: str = ""  # what is still to be paid, or owed back; "" where no money was spoken of
    asks: bool = False
    next: str = ""
    when_ready: Sequence[str] = ()  # sentences on when it will be ready; none once it is
    announced: bool = False
    record: str = ""  # "to be answered", "answered", or "" where none is written down
    lines: Sequence[Line] = field(default_factory=tuple)
    journal: Sequence[Word] = field(default_factory=tuple)
    warranty: str = ""  # how long it runs, once the device has left
    told_again: bool = False  # whether its owner has said that it has gone wrong again
    complaint: str = ""  # how a complaint stands that is open
    compared: bool = False  # whether somebody has looked if it came back with the same fault


@dataclass(frozen=True)
class TermsShown:
    """The shop's terms. `accepted` is when they were, None while they are asked for; `may_accept` whether here."""

    version: str
    points: Sequence[tuple[str, str]]  # title and text
    accepted: When | None
    may_accept: bool


def terms_shown(
    terms: Terms | None, accepted_at: datetime | None, may_accept: bool, words: Language
) -> TermsShown | None:
    """The terms as the page shows them, or None where the shop has none."""
    if terms is None:
        return None
    points = [(words.words(point.title), words.words(point.text)) for point in terms.points]
    return TermsShown(terms.version, points, _when(accepted_at, words) if accepted_at else None, may_accept)


def device(ticket: Followed, policy: Policy, language: Language, today: date) -> Device:
    """A ticket as its owner reads it on a day of the shop's."""
    number = spoken(ticket.number)
    if ticket.ending:
        ended = _when(ticket.ended_at or ticket.stage_since, language)
        return Device(
            number,
            language.say(CUSTOMER_ENDINGS[ticket.ending]),
            ended,
            here=False,
            balance=language.say(_balance(ticket, policy)),
            warranty=_warranty(ticket, policy, language, today),
            told_again=any(entry.event == "gone_wrong_again" for entry in ticket.journal),
            complaint=language.say(_complaint(ticket.journal)),
        )
    stage = policy.stage(ticket.stage)
    return Device(
        number=number,
        standing=language.words(stage.sentence) if stage else language.say(say("We are expecting your device.")),
        since=_when(ticket.stage_since, language),
        here=True,
        device=ticket.device,
        fault=ticket.fault,
        hold=language.say(CUSTOMER_HOLDS[ticket.hold]) if ticket.hold else "",
        held_since=_when(ticket.hold_since, language) if ticket.hold_since else None,
        part_expected=language.say(_part_expected(ticket, language, today)),
        price=language.say(_price(ticket)),
        price_left=language.say(_price_left(ticket)),
        price_cancel=language.say(_cancel(ticket, today)),
        balance=language.say(_balance(ticket, policy)),
        asks=ticket.hold in _ASKS,
        next=language.say(_next(ticket, policy)),
        when_ready=[language.say(each) for each in _when_ready(ticket, policy, today)],
        announced=ticket.stage is None,
        record=_record(ticket.journal),
        complaint=language.say(_complaint(ticket.journal)),
        compared=any(entry.event == "fault_compared" for entry in ticket.journal),
        lines=_lines(ticket, policy, language),
        journal=_journal(ticket.journal, policy, language),
    )


def _warranty(ticket: Followed, policy: Policy, language: Language, today: date) -> str:
    """Until when the warranty runs, or "" for none. The law may give more than the shop does."""
    if ticket.ending is None or ticket.ended_at is None:
        return ""
    since = begins(ticket.ended_at, ticket.delivered_on, policy.shop.zone)
    last = warranty_ends(since, ticket.ending, policy.warranty.months, policy.shop.zone)
    if last is None or last < today:
        return ""
    return language.say(
        say("Our warranty on the repair runs until {day}. Your rights by law stay.", day=language.day(last))
    )


def _part_expected(ticket: Followed, language: Language, today: date) -> Sentence | str:
    """When the last awaited part should be here; known from the journal, so it costs no statement more."""
    if ticket.hold is not Hold.PART:
        return ""
    awaited: dict[str, date] = {}
    for told in ticket.journal:
        if told.event == "part_ordered":
            awaited[told.data["part"]] = date.fromisoformat(told.data["expected_on"])
        elif told.event == "part_arrived":
            awaited.pop(told.data["part"], None)
    if not awaited:
        return ""
    last = max(awaited.values())
    if last < today:
        return say("It was expected on {day}; we ask where it is.", day=language.day(last))
    return say("It is expected on {day}.", day=language.day(last))


def _price(ticket: Followed) -> Sentence | str:
    terms, _used = told_by((told.event, told.data) for told in ticket.journal)
    return terms.words() if terms else ""


def _cancel(ticket: Followed, today: date) -> Sentence | str:
    """Until when what was agreed at the start can be cancelled, or that it was; known from the journal.

    Once anything was cancelled, each question says for itself until when it can be.
    """
    cancelled: set[str] = set()
    for entry in ticket.journal:
        if entry.event in ("cancelled", "cancel_declared"):
            cancelled.add(entry.data["question"])
        elif entry.event in ("cancel_overruled", "cancellation_taken_back"):
            cancelled.discard(entry.data["question"])
    if cancelled:
        return say("You cancelled it.") if START in cancelled else ""
    told = [told.data["cancel_until"] for told in ticket.journal if "cancel_until" in told.data]
    until = date.fromisoformat(told[-1]) if told else None
    return say("You can cancel it until {day}.", day=until) if until and today <= until else ""


def _balance(ticket: Followed, policy: Policy) -> Sentence | str:
    """How the account stands; "" where it was written down in a currency that the shop has given up since."""
    stands = ticket.balance
    if stands is None or stands.currency != policy.shop.currency:
        return ""
    if stands.minor < 0:
        return say("We owe you {amount}.", amount=Price(-stands.minor, stands.currency))
    if stands.minor:
        return say("Still to be paid: {amount}.", amount=stands)
    return say("There is nothing left to pay.")


def _price_left(ticket: Followed) -> Sentence | str:
    terms, used = told_by((told.event, told.data) for told in ticket.journal)
    rest = left(terms, used)
    if terms is None or rest is None:
        return ""
    return say(
        "Of it {used} are used, and {left} are left.",
        used=Price(used, terms.currency),
        left=Price(rest, terms.currency),
    )


def _complaint(entries: Sequence[Told]) -> Sentence | str:
    """How it stands, known from the journal, so that it costs no statement more."""
    told = [each for each in entries if each.event in ("complained", "complaint_answered", "complaint_closed")]
    if not told or told[-1].event == "complaint_closed":
        return ""
    if told[-1].event == "complaint_answered":
        return say("You told us that you are not satisfied. We have answered you.")
    by = date.fromisoformat(told[-1].data["day"])
    return say("You told us that you are not satisfied. You have our answer by {day}.", day=by)


def _record(entries: Sequence[Told]) -> str:
    versions = [told.data["version"] for told in entries if told.event == "recorded"]
    answered = {told.data["version"] for told in entries if told.event in ("agreed_record", "objected")}
    if not versions:
        return ""
    return "answered" if versions[-1] in answered else "to be answered"


def _next(ticket: Followed, policy: Policy) -> Sentence:
    if ticket.hold:
        return _AFTER_HOLD[ticket.hold]
    if ticket.stage is None:
        return say("Next: it arrives here, and we look it over.")
    stage = next_stage(policy.stages, ticket.stage)
    if stage is None:
        return say("Next: it goes back to you. Whoever collects it needs the collection code.")
    return say("Next: {stage}.", stage=stage.label)


def _when_ready(ticket: Followed, policy: Policy, today: date) -> list[Sentence]:
    """The shop's own word, else the window from its past, else the time that such a repair usually takes."""
    if ticket.stage is None or ticket.stage == policy.stages[-1].key:
        return []
    promised, first, last = ticket.promised_on, ticket.window_first, ticket.window_last
    if promised and promised >= today:
        return [say("Ready by {day}: that is our word.", day=promised)]
    said = [say("We had told you {day}. It takes longer, we are sorry.", day=promised)] if promised else []
    if first and last and last >= today:
        return [
            *said,
            probably(max(first, today), last),
            say(
                "We reckon so from our past repairs: 8 in 10 were ready within such a time, the others earlier or "
                "later. It is no promise."
            ),
        ]
    days = policy.forecast.usual(ticket.kind)
    if days == 1:
        said.append(say("A repair like this usually takes about a day on which we are open."))
    elif days:
        said.append(say("A repair like this usually takes about {days} days on which we are open.", days=days))
    return said


def _lines(ticket: Followed, policy: Policy, language: Language) -> list[Line]:
    moves = [(told.data["stage"], told.at) for told in ticket.journal if "stage" in told.data]
    return [
        Line(
            label=language.words(stamp.stage.label),
            state=stamp.place.replace(" ", "-"),
            note=language.say(_NOTES[stamp.place]),
            when=When(language.stamp(stamp.at), stamp.at.isoformat(timespec="minutes")) if stamp.at else None,
        )
        for stamp in stamps(policy.stages, moves, ticket.stage)
    ]


def _journal(entries: Sequence[Told], policy: Policy, language: Language) -> list[Word]:
    """The newest first."""
    words = []
    for told in reversed(entries):
        heading = for_customer(told.event, told.data, policy)
        if heading is not None:
            words.append(Word(language.say(heading), told.text, _when(told.at, language)))
    return words


def _when(at: datetime, language: Language) -> When:
    return When(language.moment(at), at.isoformat(timespec="minutes"))
