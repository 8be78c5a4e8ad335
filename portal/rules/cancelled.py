"""A cancellation that reached the shop by letter, e-mail, telephone or in other words, and what is owed after it.

Whoever cancels pays for what was done by then, in proportion to the whole, only where they had expressly asked the shop
to begin early; else nothing (Directive 2011/83/EU Art. 14(3) and (4)(a); SI 2013/3134 reg. 36, partly from memory). The
right ends once all of it was done at such a request (Art. 16(a)). What was sent in time is in time, whenever it comes
(Art. 11(2)); what was paid goes back within 14 days from the day on which the shop heard of it (Art. 13(1); reg. 34).
Since 19 June 2026 whoever agreed on a page can cancel on a page: by a plainly labelled button that is there all through
that time, a second press that confirms, and an acknowledgement without delay that says what was declared and when
(Art. 11a, put in by Directive (EU) 2023/2673; from memory). Not legal advice: the law where the shop works decides.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from enum import StrEnum

from portal.rules.money import Price
from portal.rules.posting import day_of
from portal.rules.refusals import Refused, Unfit, needs
from portal.rules.sentences import Sentence, say
from portal.rules.text import passage

START = "start"  # names what was agreed at the start, where that itself charges nothing, beside the questions' refs


class How(StrEnum):
    """How it was declared."""

    LETTER = "letter"
    MAIL = "e-mail"
    PAGE = "page"
    TELEPHONE = "telephone"
    COUNTER = "counter"


HOW_WORDS: Mapping[How, Sentence] = {
    How.LETTER: say("by letter"),
    How.MAIL: say("by e-mail"),
    How.PAGE: say("on their page, by its button or in words"),
    How.TELEPHONE: say("by telephone"),
    How.COUNTER: say("at the counter"),
}


@dataclass(frozen=True)
class Declaration:
    """That somebody cancelled: the days on which it was said or sent, and on which the shop heard of it."""

    sent_on: date
    heard_on: date
    how: How
    words: str  # who declared it to whom, and where it lies; the bench's own


@dataclass(frozen=True)
class Agreed:
    """Something agreed to, as far as cancelling it goes.

    `until` is the last day on which it can be cancelled (None: never), `early` whether they asked to begin before
    that, `begun` whether work on it was marked as begun, and `what` what it is called. `declared_on` is the day on
    which they cancelled it on their page, where how much was done by then is still to be entered.
    """

    ref: str
    what: Sentence
    until: date | None
    early: bool
    begun: bool
    declared_on: date | None = None

    @property
    def asks_part(self) -> bool:
        """Whether a part of it may be owed, so that how much was done matters."""
        return self.early and self.begun


def declaration(sent: str, heard: str, how: str, words: str, *, earliest: date, today: date) -> Declaration:
    """The declaration as typed; no day is today. Raises Unfit (fields "sent_on", "heard_on", "how", "words")."""
    said = day_of("sent_on", say("The day"), sent, earliest=earliest, today=today) if sent.strip() else today
    came = day_of("heard_on", say("The day"), heard, earliest=said, today=today) if heard.strip() else today
    if how not in tuple(How):
        raise Unfit("how", say("How did they cancel? Please choose."))
    written = passage("words", say("Who cancelled, and where that lies"), words, limit=400, required=True)
    return Declaration(said, came, How(how), written)


def owed_percent(agreed: Agreed, declared: Declaration, typed: str) -> int:
    """How much of something is owed once it is cancelled, in per cent: nothing where they had not asked to begin early.

    `typed` is how much of it was done by then. Raises Refused for what cannot be cancelled (any more), and Unfit
    (field "part-" and its ref).
    """
    if agreed.until is None:
        raise Refused(say("“{what}” was not agreed at a distance, so it is not cancelled here.", what=agreed.what))
    if declared.sent_on > agreed.until:
        raise Refused(
            say(
                "“{what}” could be cancelled until {until}. Where you accept it all the same, let its price off.",
                what=agreed.what,
                until=agreed.until,
            )
        )
    if agreed.declared_on:
        _must_be_as_declared(agreed.declared_on, declared, agreed.what)
    if not agreed.asks_part:
        return 0
    field, text = f"part-{agreed.ref}", typed.strip().removesuffix("%").strip()
    if not text:
        raise needs(field, say("How much of “{what}” was done by then", what=agreed.what))
    if not (text.isascii() and text.isdecimal() and len(text) <= 3 and int(text) <= 100):
        raise Unfit(field, say("How much was done is a whole number from 0 to 99, in per cent."))
    if int(text) == 100:
        raise Unfit(
            field,
            say(
                "“{what}” was begun at their express request and all of it was done by then, so it can no longer be "
                "cancelled.",
                what=agreed.what,
            ),
        )
    return int(text)


def _must_be_as_declared(day: date, declared: Declaration, what: Sentence) -> None:
    """Raises Unfit (fields "sent_on", "heard_on") for a day after that on which it was cancelled on the page."""
    for field, typed in (("sent_on", declared.sent_on), ("heard_on", declared.heard_on)):
        if typed > day:
            raise Unfit(
                field, say("“{what}” was cancelled on their page on {day}: you heard of it then.", what=what, day=day)
            )


def must_be_open(agreed: Agreed, today: date) -> None:
    """Raises Refused for what cannot be cancelled on the page any more: it was already, or its time is over."""
    if agreed.declared_on:
        raise Refused(say("You have cancelled this already, on {day}.", day=agreed.declared_on))
    if agreed.until is None or today > agreed.until:
        raise Refused(say("You could cancel this until {day}.", day=agreed.until or today))


def undecided(told: Iterable[tuple[str, Mapping[str, str]]]) -> list[str]:
    """Of a journal's events with their data: what was cancelled on the page and awaits how much of it was done."""
    open_refs: dict[str, None] = {}
    for event, data in told:
        if event == "cancel_declared":
            open_refs[data["question"]] = None
        elif event in ("cancelled", "cancel_overruled", "cancellation_taken_back"):
            open_refs.pop(data["question"], None)
    return list(open_refs)


def consequence(agreed: Agreed, percent: int, whole: Price | None, owed: Price | None) -> Sentence:
    """What follows for one thing when it is cancelled. `whole` is what it costs as agreed, None for a mere limit."""
    if whole is None:
        return say("“{what}” holds no longer.", what=agreed.what)
    if percent:
        return say(
            "“{what}”, {whole}: {owed} are owed for the {percent} % that were done by then, since they had expressly "
            "asked you to begin early.",
            what=agreed.what,
            whole=whole,
            owed=owed,
            percent=percent,
        )
    if not agreed.early:
        return say(
            "“{what}”, {whole}: nothing is owed, since they had not asked you to begin before their time to cancel "
            "was over.",
            what=agreed.what,
            whole=whole,
        )
    return say("“{what}”, {whole}: nothing is owed, since none of it was done by then.", what=agreed.what, whole=whole)


def settlement(open_price: Price, credit: Price, by: date) -> Sentence:
    """What follows for the whole repair: what goes back and by when, or what is still to be paid."""
    if credit.minor:
        return say("{credit} go back to them by {day}, in the way in which they were paid.", credit=credit, day=by)
    if open_price.minor:
        return say("{open} are still to be paid for this repair.", open=open_price)
    return say("Nothing is to be paid for this repair, and nothing goes back.")


# The same as the customer reads it.
START_TOLD = say("What we had agreed at the start holds no longer.")
STANDS_TOLD = say("It holds as you agreed to it.")


def foretold(agreed: Agreed) -> Sentence:
    """What follows if it is cancelled now, as the customer reads it before."""
    if agreed.asks_part:
        return say(
            "You had asked us to begin before your time to cancel is over, and the work has begun. So you pay the part "
            "that was done by now. We tell you how much that is, and you may object. Only what was done as a whole by "
            "now can no longer be cancelled."
        )
    if agreed.early and agreed.ref != START:
        return say("You pay nothing for it, since the work on it has not begun.")
    return say("You pay nothing for it. It holds no longer, and nothing more of it is done.")


def declared_told(what: Sentence | str, at: datetime) -> Sentence:
    """What was declared on the page and when; `at` is by the shop's clock on the wall."""
    return say(
        "You cancelled “{what}” on {day} at {time}, by the button on the page of your repair. That moment counts.",
        what=what,
        day=at.date(),
        time=at.strftime("%H:%M"),
    )


def undecided_told(what: str) -> Sentence:
    """What follows for one thing of which nobody has said yet how much was done."""
    return say(
        "“{what}”: you had asked us to begin before your time to cancel was over, so you pay the part that was done by "
        "then. We tell you how much that is, and you may object.",
        what=what,
    )


def consequence_told(what: str, percent: int, owed: Price) -> Sentence:
    """What became of one thing that was cancelled."""
    if percent:
        return say(
            "“{what}”: you had asked us to begin before your time to cancel was over. {percent} % of it were done by "
            "then, which is {owed}.",
            what=what,
            percent=percent,
            owed=owed,
        )
    return say("“{what}”: you pay nothing for it.", what=what)


def settlement_told(still_open: Price, back: Price | None, by: date | None) -> Sentence:
    """What goes back and by when, or what is still to be paid."""
    if back:
        return say("We give you {back} back by {day}, in the way in which you paid it.", back=back, day=by)
    if still_open.minor:
        return say("{open} are still to be paid for this repair.", open=still_open)
    return say("Nothing is to be paid for this repair, and we owe you nothing.")


NO_ADVICE = say("This is not legal advice: the law where you work decides.")


def refund_by(heard_on: date, days: int) -> date:
    """The last day on which what was paid goes back: the day on which the shop heard of it does not count."""
    return heard_on + timedelta(days=days)


def mark_of(consequences: Sequence[Sentence]) -> str:
    """What a form names the consequences by that it showed before they were entered."""
    return hashlib.sha256("\n".join(str(each) for each in consequences).encode()).hexdigest()[:16]
