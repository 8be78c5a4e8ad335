"""The formal path for a device that nobody collects: what a notice must say, and from when on which day.

A pack holds what one law asks for. Each of its points says whether the statute itself was read for it, or only what
others wrote about it. Nothing here sells, disposes or decides: it tells a day, and what is still open. Not legal
advice: take advice first.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from enum import StrEnum
from typing import Any

from portal.rules.days import read_day
from portal.rules.deadlines import months_after
from portal.rules.money import Price
from portal.rules.policy_collection import Law
from portal.rules.policy_formal import Formal
from portal.rules.refusals import Refused, Unfit
from portal.rules.sentences import Sentence, say
from portal.rules.stages import Hold


class Kind(StrEnum):
    """Which letter it is."""

    COLLECT = "collect"
    SELL = "sell"


class Read(StrEnum):
    """How far a point of a pack was looked up."""

    STATUTE = "statute"
    OTHERS = "others"
    CAUTION = "caution"


class Because(StrEnum):
    """Why a notice is taken back by hand."""

    PAID = "paid"
    WRONG = "wrong"
    AGREED = "agreed"


KIND_WORDS: Mapping[Kind, Sentence] = {
    Kind.COLLECT: say("Notice to collect"),
    Kind.SELL: say("Notice of intention to sell"),
}
READ_WORDS: Mapping[Read, Sentence] = {
    Read.STATUTE: say("read in the statute"),
    Read.OTHERS: say("only read in others’ words"),
    Read.CAUTION: say("our own caution, no source"),
}
BECAUSE_WORDS: Mapping[Because, Sentence] = {
    Because.PAID: say("it was paid"),
    Because.WRONG: say("something in it was wrong"),
    Because.AGREED: say("we agreed otherwise with the owner"),
}


@dataclass(frozen=True)
class Point:
    """One thing that a law asks for. `where` names the place in the law as far as it is known."""

    says: Sentence
    where: str
    read: Read


@dataclass(frozen=True)
class Pack:
    """What one law asks for. `particulars` are those of each letter, by the field that fills them."""

    act: str
    where: Sentence
    language: str
    particulars: Mapping[Kind, Mapping[str, Point]]
    conditions: Sequence[Point]
    account: Sequence[Point]

    def digest(self) -> str:
        """A word for the pack as it stands, so that a changed one is checked anew."""
        points = [*self.conditions, *self.account]
        for kind in Kind:
            points += self.particulars[kind].values()
        text = "\n".join(f"{point.says.template}|{point.where}|{point.read}" for point in points)
        return hashlib.sha256(f"{self.act}\n{text}".encode()).hexdigest()[:16]


_NOTICE = "Schedule 1"
_COLLECT: Mapping[str, Point] = {
    "shop_name": Point(say("The shop’s name"), _NOTICE, Read.OTHERS),
    "shop_address": Point(say("The shop’s address"), _NOTICE, Read.OTHERS),
    "recipient": Point(say("Whose device it is: the name"), "", Read.CAUTION),
    "address": Point(say("The owner’s proper address, to post it to"), _NOTICE, Read.OTHERS),
    "goods": Point(say("Which goods they are"), _NOTICE, Read.OTHERS),
    "held_at": Point(say("Where they are held"), _NOTICE, Read.OTHERS),
    "ready_on": Point(say("That they are ready to be collected"), _NOTICE, Read.OTHERS),
    "owed": Point(
        say("What is owed for them and fell due before the notice, or that nothing is"), _NOTICE, Read.OTHERS
    ),
}
ENGLAND_WALES_NORTHERN_IRELAND = Pack(
    act="Torts (Interference with Goods) Act 1977",
    where=say("England, Wales and Northern Ireland; not Scotland"),
    language="en",
    particulars={
        Kind.COLLECT: _COLLECT,
        Kind.SELL: {
            **_COLLECT,
            "sell_from": Point(say("The day on or after which a sale is intended"), _NOTICE, Read.OTHERS),
        },
    },
    conditions=(
        Point(
            say("The owner must collect and does not, or cannot be traced, so that they cannot be told to."),
            "s. 12(1)",
            Read.STATUTE,
        ),
        Point(
            say("Notice of the intention to sell was given, or reasonable steps to trace the owner failed."),
            "s. 12(3)",
            Read.STATUTE,
        ),
        Point(
            say("The shop is reasonably satisfied that its customer owns the goods."),
            "s. 12(3)",
            Read.STATUTE,
        ),
        Point(
            say("The notice is in writing, and goes by registered letter or recorded delivery; no e-mail is one."),
            _NOTICE,
            Read.OTHERS,
        ),
        Point(
            say("It leaves a reasonable time to collect, and three months at least where money is owed."),
            _NOTICE,
            Read.OTHERS,
        ),
        Point(
            say("No notice, and no sale, while the owner disputes what is asked for."),
            _NOTICE,
            Read.OTHERS,
        ),
        Point(
            say("A month ends on the corresponding date, or on the last day of a shorter month."),
            "Dodds v Walker [1981] 1 WLR 1027",
            Read.OTHERS,
        ),
        Point(
            say("The months count from when the letter should have arrived, and the day after them is the first."),
            "",
            Read.CAUTION,
        ),
        Point(
            say("A court may authorise a sale instead; then the buyer has good title, and the rest goes into court."),
            "s. 13",
            Read.STATUTE,
        ),
    ),
    account=(
        Point(
            say("The owner is due the proceeds of the sale, less its costs."),
            "s. 12(5)",
            Read.STATUTE,
        ),
        Point(
            say("They are reckoned as if by the best way of selling that was reasonably open to the shop."),
            "s. 12(5)",
            Read.STATUTE,
        ),
        Point(
            say("What was owed before the notice may be set off; what fell due after it should not be."),
            "s. 12(5)",
            Read.OTHERS,
        ),
        Point(
            say("Whoever buys has no good title against an owner who was never the shop’s customer."),
            "s. 12(4)",
            Read.STATUTE,
        ),
    ),
)
PACKS: Mapping[Law, Pack | None] = {
    "none": None,
    "england-wales-northern-ireland": ENGLAND_WALES_NORTHERN_IRELAND,
}


@dataclass(frozen=True)
class Letter:
    """What a notice says. `owed_minor` is None while nobody said what is owed; 0 says that nothing is."""

    shop_name: str
    shop_address: str
    recipient: str
    address: str
    goods: str
    held_at: str
    ready_on: date | None
    owed_minor: int | None
    sell_from: date | None = None

    def has(self, particular: str) -> bool:
        """Whether a particular is there."""
        if particular == "owed":
            return self.owed_minor is not None
        return bool(getattr(self, particular))


def missing(pack: Pack, kind: Kind, letter: Letter) -> list[Point]:
    """The particulars that the letter lacks, in the order of the pack."""
    return [point for name, point in pack.particulars[kind].items() if not letter.has(name)]


def complete(pack: Pack, kind: Kind, letter: Letter) -> None:
    """Raise Refused with every particular that the letter lacks."""
    lacking = missing(pack, kind, letter)
    if lacking:
        raise Refused(*(say("Still missing: {what}.", what=point.says) for point in lacking))


@dataclass(frozen=True)
class Notice:
    """A notice that was posted, or is to be."""

    kind: Kind
    made_on: date
    owed_minor: int
    sell_from: date | None = None
    posted_on: date | None = None


@dataclass(frozen=True)
class Case:
    """Everything that decides whether the path is open for a device.

    `owed_minor` is what is owed now, None where no account of it is kept. `satisfied` and `was_due` are the keeper's
    answers, None for not given. `untraced` says that steps to trace the owner were taken, failed, and are written down.
    """

    pack: Pack | None
    is_ready: bool = True
    is_disputed: bool = False
    owed_minor: int | None = None
    satisfied: bool | None = None
    was_due: bool | None = None
    untraced: bool = False
    collect: Notice | None = None
    sell: Notice | None = None
    stopped: Sentence | None = None  # what stopped the notices that were posted


@dataclass(frozen=True)
class Condition:
    """One condition, in words, and whether it is met."""

    says: Sentence
    met: bool


@dataclass(frozen=True)
class Sale:
    """Where the step stands that a sale would be, which the shop takes or leaves on advice.

    `earliest` is the first day, None while there is none to tell; `open` are the conditions that are not met.
    """

    conditions: Sequence[Condition]
    earliest: date | None

    @property
    def open(self) -> Sequence[Sentence]:
        """What is not met yet."""
        return [each.says for each in self.conditions if not each.met]


NO_PATH = say("The shop’s policy names no law for this. Without one there are reminders only; ask for advice.")
_READY = say("The device is ready to be collected.")
_PEACE = say("Nobody disputes what is owed, or whose it is.")
_SATISFIED = say("The shop is satisfied that its customer owns the device.")
_DUE = say("What is owed was lawfully due before the notice.")
_TOLD_TO_COLLECT = say("A notice to collect was posted, and should have arrived.")
_TOLD_OF_SALE = say("A notice of intention to sell was posted by recorded post.")
_UNTRACED = say("Steps to trace the owner were taken and failed, and are written down.")
_STANDS = say("Nothing has happened since that stops the notice.")
_DAY_CAME = say("The day that the notice names has come.")


def letter_conditions(case: Case, kind: Kind, formal: Formal, today: date) -> list[Condition]:
    """What must be met before this letter is written; one of collecting asks for less than one of selling."""
    conditions = [Condition(_READY, case.is_ready), Condition(_PEACE, not case.is_disputed)]
    if case.owed_minor != 0:
        conditions.append(Condition(_DUE, case.was_due is True))
    if kind is Kind.SELL:
        conditions.append(Condition(_SATISFIED, case.satisfied is True))
        conditions.append(Condition(_TOLD_TO_COLLECT, has_arrived(case.collect, formal, today)))
    return conditions


def may_be_written(case: Case, kind: Kind, formal: Formal, today: date) -> None:
    """Raise Refused with everything that stands against writing this letter now."""
    if case.pack is None:
        raise Refused(NO_PATH)
    against = [each.says for each in letter_conditions(case, kind, formal, today) if not each.met]
    if against:
        raise Refused(*(say("Not met yet: {condition}", condition=each) for each in against))


def sale(case: Case, formal: Formal, today: date) -> Sale | None:
    """Where the step stands that a sale would be. None where the policy names no law, so that there is no such step."""
    if case.pack is None:
        return None
    common = [
        Condition(_READY, case.is_ready),
        Condition(_PEACE, not case.is_disputed),
        Condition(_SATISFIED, case.satisfied is True),
    ]
    if case.untraced and (case.sell is None or case.sell.posted_on is None):
        return Sale([*common, Condition(_UNTRACED, met=True)], None)
    posted = case.sell is not None and case.sell.posted_on is not None
    first = earliest_of(case.sell, formal) if case.sell and posted else None
    conditions = [
        *common,
        *([Condition(_DUE, case.was_due is True)] if case.sell is None or case.sell.owed_minor else []),
        Condition(_TOLD_OF_SALE, posted),
        Condition(_STANDS, case.stopped is None),
        Condition(_DAY_CAME, first is not None and today >= first),
    ]
    return Sale(conditions, first if case.stopped is None and not case.is_disputed else None)


def has_arrived(notice: Notice | None, formal: Formal, today: date) -> bool:
    """Whether a notice was posted, and so long ago that it should be there."""
    return notice is not None and notice.posted_on is not None and arrives(notice.posted_on, formal) < today


def arrives(posted_on: date, formal: Formal) -> date:
    """The day on which a letter posted on a day counts as there."""
    return posted_on + timedelta(days=formal.delivery_days)


def earliest(posted_on: date, formal: Formal, *, is_owed: bool) -> date:
    """The first day on which a sale could be thought of, for a notice posted on a day.

    Where money is owed, the day after the corresponding date so many months from when the letter should be there.
    Where nothing is, the day after it should be there; a reasonable time is for the keeper to name.
    """
    there = arrives(posted_on, formal)
    return (months_after(there, formal.months) if is_owed else there) + timedelta(days=1)


def earliest_of(notice: Notice, formal: Formal) -> date:
    """The first day for a notice that was posted: the one it names, or a later one that the law makes of it."""
    assert notice.posted_on is not None
    by_law = earliest(notice.posted_on, formal, is_owed=notice.owed_minor > 0)
    return max(by_law, notice.sell_from) if notice.sell_from else by_law


def fit_sale_day(typed: str, post_on: date, formal: Formal, *, is_owed: bool) -> date:
    """The day that the notice shall name, from which on a sale is intended. Raises Unfit (field "sell_from").

    Empty takes the earliest where money is owed; where nothing is, the keeper names the day.
    """
    first = earliest(post_on, formal, is_owed=is_owed)
    if not typed.strip():
        if is_owed:
            return first
        raise Unfit(
            "sell_from",
            say("Nothing is owed, so no months are set: name a day that leaves a reasonable time to collect."),
        )
    day = read_day("sell_from", typed)
    if day < first:
        raise Unfit(
            "sell_from",
            say("Posted on {posted}, the notice may name {first} at the earliest.", posted=post_on, first=first),
        )
    return day


def fit_posting(typed: str, notice: Notice, formal: Formal, today: date) -> date:
    """The day on which the letter was posted. Raises Unfit (field "posted_on").

    A day on which it cannot have been, one to come, or one that makes the day named in it too early.
    """
    day = read_day("posted_on", typed)
    if day > today:
        raise Unfit("posted_on", say("{day} is still to come. Enter it once the letter is posted.", day=day))
    if day < notice.made_on:
        raise Unfit(
            "posted_on",
            say("The letter was made on {made}; it cannot have been posted on {day}.", made=notice.made_on, day=day),
        )
    if notice.sell_from:
        first = earliest(day, formal, is_owed=notice.owed_minor > 0)
        if first > notice.sell_from:
            raise Unfit(
                "posted_on",
                say(
                    "Posted on {day}, it may name {first} at the earliest, and it names {named}. Take it back, make it "
                    "anew, and post that one.",
                    day=day,
                    first=first,
                    named=notice.sell_from,
                ),
            )
    return day


def stopped_by(events: Iterable[tuple[str, Mapping[str, Any]]]) -> Sentence | None:
    """What has happened since a notice was made that stops it for good, by the events of the journal, or None."""
    for name, data in events:
        if name in _STOPS:
            return _STOPS[name]
        if name == "held" and data["hold"] == Hold.DISPUTE:
            return _DISPUTED
        if name == "formal_notice_withdrawn":
            return BECAUSE_WORDS[Because(data["taken_back_since"])]
    return None


_DISPUTED = say("the owner disputes it")
_STOPS: Mapping[str, Sentence] = {
    "ownership_questioned": say("somebody else says that it is theirs"),
    "complained": _DISPUTED,
    "objected": _DISPUTED,
    "verdict_objected": _DISPUTED,
    "moved": say("the device went back to the bench"),
    "ended": say("the device has left the shop"),
    "money_taken": BECAUSE_WORDS[Because.PAID],
}


def paid_since(notice: Notice, owed_now: int | None) -> bool:
    """Whether something was paid since the notice was made, as far as an account of it is kept."""
    return owed_now is not None and owed_now < notice.owed_minor


def owed_words(minor: int, currency: str) -> Sentence:
    """What is owed, as the letter says it."""
    if minor:
        return say("{amount}, which fell due before this notice", amount=Price(minor, currency))
    return say("nothing is owed")
