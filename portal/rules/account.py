"""The account of one repair: what may be charged for it, what was paid, what is open.

A charge comes from an express yes, or from the point on storage in terms that were accepted, and from nothing else
(SI 2013/3134 reg. 40; Directive 2011/83/EU Art. 22 and 27). Whatever else happens can only make it less.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal
from enum import StrEnum

from portal.rules.money import NOTHING, Amounts, Price, Rounding, split
from portal.rules.offers import ShownLine, shown_options
from portal.rules.payments import Moved, paid
from portal.rules.price_terms import PriceTerms, charge_stands
from portal.rules.questions import Offer, Question, State
from portal.rules.refusals import Refused
from portal.rules.sentences import Sentence, say

LOOKING = "looking"  # the kind of question that is a fee for looking: it is due whatever is decided then
Rate = Decimal | None  # None: without tax, which is not 0 %


class Fate(StrEnum):
    """What becomes of something agreed to where the device goes back as it came."""

    LOOKING = "looking"
    BEGUN = "begun"
    CANCELLED = "cancelled"
    NOT_BEGUN = "not begun"
    NO_FIX = "no fix no fee"


FATE_WORDS: Mapping[Fate, Sentence] = {
    Fate.LOOKING: say("charged, since looking costs that whatever is decided then"),
    Fate.BEGUN: say("charged, since work on it had begun"),
    Fate.CANCELLED: say("cancelled: charged as far as it was done by then and is owed"),
    Fate.NOT_BEGUN: say("not charged, since work on it is not marked as begun"),
    Fate.NO_FIX: say("not charged: no fix, no fee"),
}
CHARGED_AS_IT_CAME = (Fate.LOOKING, Fate.BEGUN, Fate.CANCELLED)


@dataclass(frozen=True)
class Charge:
    """What was agreed to, with its lines as they were shown; made by `charge` alone."""

    ref: str
    kind: str
    proposal: str
    lines: Sequence[ShownLine]
    amounts: Amounts
    by_rate: Mapping[Rate, Amounts]
    currency: str
    prices_include_tax: bool
    rounding: Rounding
    named_by_customer: bool = False  # its words are not the shop's, so they go onto no paper that outlives the record
    percent: int | None = None  # of what was agreed to, where it was cancelled and only a part of it is owed

    @property
    def at_start(self) -> bool:
        """Whether it is of the kinds that are agreed when a device comes in."""
        return self.kind in ("estimate", LOOKING)


@dataclass(frozen=True)
class Agreed:
    """A question with its offer, as far as the account looks at it. `begun`: the work on it was.

    `owed_percent` is how much of it is still owed where it was cancelled; None where it was not.
    """

    ref: str
    kind: str
    question: Question
    offer: Offer
    begun: bool
    owed_percent: int | None = None


@dataclass(frozen=True)
class Storage:
    """A charge for storage that the keeper stated, tax included, in minor units."""

    ref: str
    amount_minor: int
    currency: str
    tax_percent: Rate


@dataclass(frozen=True)
class LetOff:
    """What the shop does not ask for after all, tax included, in minor units; `why` is the customer's to read."""

    ref: str
    amount_minor: int
    currency: str
    why: str


@dataclass(frozen=True)
class Account:
    """What is charged and paid. `by_rate` and `amounts` are after what was let off; `elsewhere` is not in them.

    `elsewhere` is what is open in a currency that the shop has given up since (less than nothing: owed back): it is
    settled by hand.
    """

    currency: str
    charges: Sequence[Charge]
    storage: Storage | None
    let_off: Sequence[LetOff]
    let_off_minor: int
    moved: Sequence[Moved]
    by_rate: Mapping[Rate, Amounts]
    amounts: Amounts
    elsewhere: Sequence[Price] = ()

    @property
    def paid_minor(self) -> int:
        """What came in and was not given back."""
        return paid(self.moved)

    @property
    def balance_minor(self) -> int:
        """What is open; less than nothing: so much is owed back."""
        return self.amounts.gross - self.paid_minor

    @property
    def open_minor(self) -> int:
        """What is still to be paid."""
        return max(self.balance_minor, 0)

    @property
    def credit_minor(self) -> int:
        """What the shop owes back."""
        return max(-self.balance_minor, 0)

    @property
    def is_empty(self) -> bool:
        """Whether no money was ever spoken of."""
        return not (self.charges or self.storage or self.moved or self.elsewhere)


def charge(agreed: Agreed) -> Charge:
    """The charge that a yes agrees to. Raises Refused without one: what was not agreed to cannot be billed."""
    question, offer = agreed.question, agreed.offer
    if question.state is not State.AGREED or question.chosen is None:
        raise Refused(say("The customer has not agreed to this. It cannot be charged."))
    option = offer.option(question.chosen)
    shown = next(each for each in shown_options(offer) if each.key == option.key)
    taxed: dict[Rate, Amounts] = dict(shown.by_rate.items())
    untaxed = _less(shown.amounts, sum(taxed.values(), NOTHING))
    by_rate = taxed | ({None: untaxed} if untaxed != NOTHING else {})
    terms = offer.terms
    return Charge(
        agreed.ref,
        agreed.kind,
        option.proposal,
        shown.lines,
        shown.amounts,
        by_rate,
        terms.currency,
        terms.prices_include_tax,
        terms.rounding,
        offer.named_by_customer,
    )


def due(agreed: Iterable[Agreed], terms: PriceTerms | None, *, unrepaired: bool) -> list[Charge]:
    """What of a repair's questions is charged.

    A device that goes back as it came costs only what its `fate` says. Of what was cancelled only the part is charged
    that was done by then, as far as it is owed at all.
    """
    standing = [each for each in agreed if each.question.state is State.AGREED and each.owed_percent != 0]
    return [
        charge(each) if each.owed_percent is None else in_part(charge(each), each.owed_percent)
        for each in standing
        if not unrepaired or fate(each, terms) in CHARGED_AS_IT_CAME
    ]


def fate(agreed: Agreed, terms: PriceTerms | None) -> Fate:
    """What becomes of something agreed to where the device goes back as it came.

    Whoever agreed to work pays for it once it was begun, though it came to nothing: that is marked by the bench, before
    the device leaves. With no fix, no fee nothing is charged.
    """
    if not charge_stands(terms, unrepaired=True):
        return Fate.NO_FIX
    if agreed.owed_percent is not None:
        return Fate.CANCELLED
    if agreed.kind == LOOKING:
        return Fate.LOOKING
    return Fate.BEGUN if agreed.begun else Fate.NOT_BEGUN


def in_part(whole: Charge, percent: int) -> Charge:
    """A part of a charge, of each rate half up to the smallest coin; shown in one line, as so much of the whole."""
    by_rate = {
        rate: split((amounts.gross * percent + 50) // 100, rate, True) for rate, amounts in whole.by_rate.items()
    }
    amounts = sum(by_rate.values(), NOTHING)
    unit, shown = (whole.amounts.gross, amounts.gross) if whole.prices_include_tax else (whole.amounts.net, amounts.net)
    line = ShownLine(whole.proposal, Decimal(percent) / 100, unit, shown)
    return replace(whole, lines=[line], amounts=amounts, by_rate=by_rate, percent=percent)


def account(
    currency: str,
    charges: Sequence[Charge],
    storage: Storage | None,
    let_off: Sequence[LetOff],
    moved: Sequence[Moved],
) -> Account:
    """Add up what is in the shop's currency. What is let off is never more than was charged.

    It comes off each rate in its share. What is in another currency is told by `elsewhere` alone.
    """
    counted = [each for each in charges if each.currency == currency]
    by_rate: dict[Rate, Amounts] = {}
    for each in counted:
        _add(by_rate, each.by_rate)
    if storage and storage.currency == currency:
        _add(by_rate, {storage.tax_percent: split(storage.amount_minor, storage.tax_percent, True)})
    gross = sum(by_rate.values(), NOTHING).gross
    off = min(sum(each.amount_minor for each in let_off if each.currency == currency), gross)
    left = _let_off(by_rate, off)
    others = sorted(({each.currency for each in charges} | {each.currency for each in moved}) - {currency})
    elsewhere = [Price(_open_in(each, charges, let_off, moved), each) for each in others]
    return Account(
        currency,
        counted,
        storage if storage and storage.currency == currency else None,
        [each for each in let_off if each.currency == currency],
        off,
        [each for each in moved if each.currency == currency],
        left,
        sum(left.values(), NOTHING),
        [price for price in elsewhere if price.minor],
    )


def may_let_off(found: Account, minor: int) -> None:
    """Raise Refused where more would be let off than is charged."""
    if minor > found.amounts.gross:
        price = Price(found.amounts.gross, found.currency)
        raise Refused(say("Only {price} are charged. No more than that can be let off.", price=price))


def _open_in(currency: str, charges: Sequence[Charge], let_off: Sequence[LetOff], moved: Sequence[Moved]) -> int:
    """What is open in a currency, in its minor units; less than nothing for what is owed back."""
    gross = sum(each.amounts.gross for each in charges if each.currency == currency)
    off = sum(each.amount_minor for each in let_off if each.currency == currency)
    return max(gross - off, 0) - paid([each for each in moved if each.currency == currency])


def _let_off(by_rate: Mapping[Rate, Amounts], off: int) -> dict[Rate, Amounts]:
    if not off:
        return dict(by_rate)
    whole = sum(by_rate.values(), NOTHING).gross
    left: dict[Rate, Amounts] = {}
    for rate, amounts in by_rate.items():
        # In turn, so that no rate's share is ever more than the rate has, and the shares make up the whole.
        share = off * amounts.gross // whole if whole else 0
        off, whole = off - share, whole - amounts.gross
        if amounts.gross > share:
            left[rate] = split(amounts.gross - share, rate, True)
    return left


def _add(by_rate: dict[Rate, Amounts], more: Mapping[Rate, Amounts]) -> None:
    for rate, amounts in more.items():
        by_rate[rate] = by_rate.get(rate, NOTHING) + amounts


def _less(whole: Amounts, part: Amounts) -> Amounts:
    return Amounts(whole.net - part.net, whole.tax - part.tax, whole.gross - part.gross)
