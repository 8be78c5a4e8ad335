"""A question about money: asked, answered, or lapsed. One kind serves the first estimate, an extra and alternatives.

A yes is an express one, bound to the exact text, lines, tax and total that were shown (Directive 2011/83/EU Art. 22 and
27; SI 2013/3134 reg. 40: a default option is no consent). Silence is never a yes: an unanswered question lapses.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from enum import StrEnum

from portal.rules.money import Line, Rounding, Total, total
from portal.rules.refusals import Refused, Unfit
from portal.rules.sentences import Sentence, say

MOST_OPTIONS = 4
MOST_LINES = 20
MOST_PHOTOS = 8


class State(StrEnum):
    """Where a question stands."""

    DRAFTED = "drafted"
    AWAITING = "awaiting sign-off"
    PUT = "put to the customer"
    AGREED = "agreed"
    DECLINED = "declined"
    LAPSED = "lapsed"
    WITHDRAWN = "withdrawn"


OPEN = (State.DRAFTED, State.AWAITING, State.PUT)

STATE_WORDS: Mapping[State, Sentence] = {
    State.DRAFTED: say("drafted, not asked yet"),
    State.AWAITING: say("waiting for the keeper"),
    State.PUT: say("put to the customer"),
    State.AGREED: say("agreed"),
    State.DECLINED: say("declined"),
    State.LAPSED: say("no answer in time: not done, not charged"),
    State.WITHDRAWN: say("withdrawn by the shop"),
}

# The same as customers read it. What the shop is changing was put to them before.
CUSTOMER_STATE_WORDS: Mapping[State, Sentence] = {
    State.DRAFTED: say("we are changing this question"),
    State.AWAITING: say("we are changing this question"),
    State.PUT: say("waits for your answer"),
    State.AGREED: say("you agreed"),
    State.DECLINED: say("you said no: not done, not charged"),
    State.LAPSED: say("no answer in time: not done, nothing to pay for it"),
    State.WITHDRAWN: say("taken back by us: not done, nothing to pay for it"),
}

# What is asked about: the first estimate, more work found, or (agreed when it came in) a fee for looking.
KIND_WORDS: Mapping[str, Sentence] = {
    "estimate": say("The price for your repair"),
    "extra": say("More work found"),
    "looking": say("Looking at it first"),
}
BENCH_KIND_WORDS: Mapping[str, Sentence] = {
    "estimate": say("The price for the repair"),
    "extra": say("More work"),
    "looking": say("Looking at it first"),
}

# How an answer was given.
THROUGH_WORDS: Mapping[str, Sentence] = {
    "question link": say("by the question’s own link"),
    "own link": say("by the customer’s own link"),
    "docket link": say("by the docket’s link"),
    "docket link and code": say("by the docket’s link and a code"),
    "telephone": say("by telephone"),
    "counter": say("at the counter"),
    "limit": say("within the customer’s limit"),
}

CUSTOMER_THROUGH_WORDS: Mapping[str, Sentence] = {
    "question link": say("by the link in our message"),
    "own link": say("by your own link"),
    "docket link": say("by your docket’s code"),
    "docket link and code": say("by your docket’s code and a code that we sent you"),
    "telephone": say("by telephone"),
    "counter": say("at the counter"),
    "limit": say("within the limit you gave us"),
}

# The one small thing that only a reader does: mail scanners have been seen to press buttons and submit forms.
YES: Mapping[str, str] = {"en": "YES", "de": "JA"}


@dataclass(frozen=True)
class Option:
    """One thing the customer may choose, with its lines."""

    key: str
    proposal: str
    lines: tuple[Line, ...]


@dataclass(frozen=True)
class Terms:
    """How the shop reckons: its currency, its one way of rounding, and whether its prices include tax."""

    currency: str
    rounding: Rounding
    prices_include_tax: bool


@dataclass(frozen=True)
class Offer:
    """What is put to the customer: the customer chooses one option or none; nothing is chosen beforehand."""

    found: str
    why: str
    if_not: str
    meanwhile: str
    options: tuple[Option, ...]
    answer_by: datetime
    terms: Terms
    photos: tuple[str, ...] = ()  # public ids of the photos that are shown with it
    # Nobody of the shop said what it is for, so it is called by the fault as told, or else by the device.
    named_by_customer: bool = False

    def option(self, key: str) -> Option:
        """The option with this key. Raises Refused for another."""
        for option in self.options:
            if option.key == key:
                return option
        raise Refused(say("This question has no such answer. Please choose one of those shown."))

    def total(self, option: Option) -> Total:
        """What an option costs."""
        return total(option.lines, self.terms.rounding, prices_include_tax=self.terms.prices_include_tax)

    def dearest(self) -> int:
        """The gross total of the dearest option, in minor units: what the policy's limits look at."""
        return max((self.total(option).amounts.gross for option in self.options), default=0)


@dataclass(frozen=True)
class Question:
    """A question as it stands. `version` grows with every change of the offer, so an answer names what it answers."""

    state: State
    version: int
    answer_by: datetime
    chosen: str | None = None  # the option agreed to
    work_started: bool = False
    cancelled: bool = False  # after the yes, while the law or the shop allowed it


def check_offer(offer: Offer, now: datetime) -> None:
    """Raises Unfit for the first part of an offer that could not be put to anybody."""
    if not 1 <= len(offer.options) <= MOST_OPTIONS:
        raise Unfit("options", say("A question offers 1 to {most} choices.", most=MOST_OPTIONS))
    for option in offer.options:
        if not option.proposal:
            raise Unfit("proposal", say("What is proposed is missing. Please fill it in."))
        if not 1 <= len(option.lines) <= MOST_LINES:
            raise Unfit("lines", say("Each choice has 1 to {most} lines with a price.", most=MOST_LINES))
    if offer.answer_by <= now:
        raise Unfit("answer_by", say("The time to answer by has passed already. Choose a later one."))


def put(question: Question, *, needs_sign_off: bool) -> Question:
    """The technician is done drafting: on to the customer, or to the keeper first."""
    _only_from(question, State.DRAFTED)
    return replace(question, state=State.AWAITING if needs_sign_off else State.PUT)


def sign_off(question: Question, version: int) -> Question:
    """The keeper lets it go to the customer."""
    _only_from(question, State.AWAITING)
    _same_version(question, version)
    return replace(question, state=State.PUT)


def return_to_bench(question: Question) -> Question:
    """The keeper sends it back to the technician."""
    _only_from(question, State.AWAITING)
    return replace(question, state=State.DRAFTED)


def change(question: Question, answer_by: datetime) -> Question:
    """The offer is changed: what was shown is no more, so it is asked anew, never answered by an old yes."""
    _only_from(question, *OPEN)
    return replace(question, version=question.version + 1, answer_by=answer_by)


def withdraw(question: Question) -> Question:
    """The shop takes the question back before it is answered."""
    _only_from(question, *OPEN)
    return replace(question, state=State.WITHDRAWN)


def agree(question: Question, option: str, version: int, word: str, language: str, now: datetime) -> Question:
    """The customer says yes to one option, with the word typed.

    Raises Unfit (field "word") where the word is not typed, Refused where the question has been changed, answered,
    withdrawn or has lapsed; each tells what is so now.
    """
    _answerable(question, version, now)
    wanted = YES.get(language.split("-")[0], YES["en"])
    if word.strip().casefold() != wanted.casefold():
        raise Unfit("word", say("Please type {word} to agree. Nothing was agreed yet.", word=wanted))
    return replace(question, state=State.AGREED, chosen=option)


def decline(question: Question, version: int, now: datetime) -> Question:
    """The customer says no; as easy as yes, and no word is asked."""
    _answerable(question, version, now)
    return replace(question, state=State.DECLINED)


def take_back(question: Question) -> Question:
    """The customer takes a yes back, until the work on it has started."""
    _only_from(question, State.AGREED)
    _not_cancelled(question)
    if question.work_started:
        raise Refused(say("The work you agreed to has started, so it cannot be taken back here. Please ring the shop."))
    return replace(question, state=State.DECLINED, chosen=None)


def start_work(question: Question) -> Question:
    """The bench begins what was agreed. Work that nobody agreed to is refused."""
    _only_from(question, State.AGREED)
    _not_cancelled(question)
    return replace(question, work_started=True)


def lapse(question: Question, now: datetime) -> Question | None:
    """The question after its time has run out, or None where it has not (or no answer was wanted any more)."""
    if question.state is State.PUT and now >= question.answer_by:
        return replace(question, state=State.LAPSED)
    return None


def settled(states: Sequence[State]) -> bool:
    """Whether no question waits for anybody: the gate `extras_settled`."""
    return not any(state in OPEN for state in states)


def needs_sign_off(dearest: int, above: int | None, *, drafted_by_keeper: bool, keepers: int, staff: int) -> bool:
    """Whether the keeper looks first: above an amount in the policy (None: never), and never to oneself."""
    one_person = staff <= 1 and keepers >= 1
    return above is not None and dearest > above and not drafted_by_keeper and not one_person


def _answerable(question: Question, version: int, now: datetime) -> None:
    _only_from(question, State.PUT)
    if now >= question.answer_by:
        raise Refused(_NOW[State.LAPSED])
    _same_version(question, version)


def _same_version(question: Question, version: int) -> None:
    if version != question.version:
        raise Refused(
            say("The question was changed while you were reading. Please look again: it now says what is shown here.")
        )


def _not_cancelled(question: Question) -> None:
    if question.cancelled:
        raise Refused(say("This was cancelled. Nothing more is done for it."))


def _only_from(question: Question, *states: State) -> None:
    if question.state not in states:
        raise Refused(_NOW[question.state])


_NOW: Mapping[State, Sentence] = {
    State.DRAFTED: say("This question has not been put to the customer yet."),
    State.AWAITING: say("This question waits for the keeper."),
    State.PUT: say("This question has been put to the customer and waits for an answer."),
    State.AGREED: say("This was agreed to already."),
    State.DECLINED: say("This was declined already. Nothing is done and nothing is charged for it."),
    State.LAPSED: say("The time to answer has passed: it is not done, and nothing is charged for it."),
    State.WITHDRAWN: say("The shop has withdrawn this question. Nothing is done and nothing is charged for it."),
}
