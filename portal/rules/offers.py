"""An offer as plain data, for the store and for the proof, and as it is typed."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from decimal import Decimal, InvalidOperation
from typing import Any

from portal.rules.money import Amounts, Line, Rounding, parse_amount, parse_quantity
from portal.rules.questions import MOST_PHOTOS, Offer, Option, Terms, check_offer
from portal.rules.refusals import Unfit
from portal.rules.sentences import say
from portal.rules.text import line, passage

KEYS = "abcdefgh"  # options are named in the order they are written


@dataclass(frozen=True)
class TypedLine:
    """A line as typed. One without anything in it is no line."""

    text: str
    quantity: str = "1"
    price: str = ""
    tax: str = ""  # percent; "" is the shop's own rate

    @property
    def is_something(self) -> bool:
        """Whether anything was typed."""
        return bool(self.text.strip() or self.price.strip())


@dataclass(frozen=True)
class TypedOption:
    """One thing to choose, as typed."""

    proposal: str
    lines: Sequence[TypedLine] = ()

    @property
    def is_something(self) -> bool:
        """Whether anything was typed."""
        return bool(self.proposal.strip() or any(each.is_something for each in self.lines))


@dataclass(frozen=True)
class TypedOffer:
    """A question as the bench types it."""

    found: str = ""
    why: str = ""
    if_not: str = ""
    meanwhile: str = ""
    options: Sequence[TypedOption] = field(default_factory=tuple)
    photos: Sequence[str] = field(default_factory=tuple)  # their public ids


def fit(typed: TypedOffer, terms: Terms, rates: Sequence[Decimal], answer_by: datetime, now: datetime) -> Offer:
    """The offer, ready to be put. Raises Unfit for the first field that does not fit.

    `rates` are the tax rates that lines may have, the shop's own first; none for a shop without tax.
    """
    options = tuple(
        Option(
            key,
            line("proposal", say("What is proposed"), option.proposal, limit=400, required=True),
            tuple(_line(each, terms, rates) for each in option.lines if each.is_something),
        )
        for key, option in zip(KEYS, [each for each in typed.options if each.is_something], strict=False)
    )
    offer = Offer(
        found=passage("found", say("What was found"), typed.found, limit=2000),
        why=passage("why", say("Why it is needed"), typed.why, limit=1000),
        if_not=passage("if_not", say("What happens if not"), typed.if_not, limit=1000),
        meanwhile=passage("meanwhile", say("What the bench does meanwhile"), typed.meanwhile, limit=1000),
        options=options,
        answer_by=answer_by,
        terms=terms,
        photos=tuple(dict.fromkeys(typed.photos))[:MOST_PHOTOS],
    )
    check_offer(offer, now)
    return offer


@dataclass(frozen=True)
class ShownLine:
    """A line with what it comes to, in minor units."""

    text: str
    quantity: Decimal
    unit_minor: int
    amount_minor: int


@dataclass(frozen=True)
class ShownOption:
    """One thing to choose, with its lines and its sums. `by_rate` is empty for a shop without tax."""

    key: str
    proposal: str
    lines: Sequence[ShownLine]
    amounts: Amounts
    by_rate: Mapping[Decimal, Amounts]


def shown_options(offer: Offer) -> list[ShownOption]:
    """The options of an offer with their sums, as they were written."""
    shown = []
    for option in offer.options:
        total = offer.total(option)
        lines = [
            ShownLine(line.text, line.quantity, line.unit_minor, amount)
            for line, amount in zip(option.lines, total.shown, strict=True)
        ]
        shown.append(ShownOption(option.key, option.proposal, lines, total.amounts, total.by_rate))
    return shown


def to_data(offer: Offer) -> dict[str, Any]:
    """The offer as JSON takes it; amounts are whole minor units, decimals are text."""
    named = {"named_by_customer": True} if offer.named_by_customer else {}
    return named | {
        "found": offer.found,
        "why": offer.why,
        "if_not": offer.if_not,
        "meanwhile": offer.meanwhile,
        "answer_by": offer.answer_by.isoformat(),
        "currency": offer.terms.currency,
        "rounding": offer.terms.rounding.value,
        "prices_include_tax": offer.terms.prices_include_tax,
        "photos": list(offer.photos),
        "options": [
            {
                "key": option.key,
                "proposal": option.proposal,
                "lines": [
                    {
                        "text": each.text,
                        "quantity": str(each.quantity),
                        "unit_minor": each.unit_minor,
                        "tax_percent": None if each.tax_percent is None else str(each.tax_percent),
                    }
                    for each in option.lines
                ],
            }
            for option in offer.options
        ],
    }


def from_data(data: Mapping[str, Any]) -> Offer:
    """The offer again."""
    return Offer(
        data["found"],
        data["why"],
        data["if_not"],
        data["meanwhile"],
        tuple(
            Option(
                option["key"],
                option["proposal"],
                tuple(
                    Line(
                        each["text"],
                        Decimal(each["quantity"]),
                        each["unit_minor"],
                        None if each["tax_percent"] is None else Decimal(each["tax_percent"]),
                    )
                    for each in option["lines"]
                ),
            )
            for option in data["options"]
        ),
        datetime.fromisoformat(data["answer_by"]),
        Terms(data["currency"], Rounding(data["rounding"]), data["prices_include_tax"]),
        tuple(data["photos"]),
        data.get("named_by_customer", False),
    )


def _line(typed: TypedLine, terms: Terms, rates: Sequence[Decimal]) -> Line:
    if not typed.price.strip():
        raise Unfit("price", say("A line has no price. Write 0 for what is given free."))
    return Line(
        line("text", say("What a line is for"), typed.text, required=True),
        parse_quantity("quantity", say("The quantity"), typed.quantity or "1"),
        parse_amount("price", say("The price"), typed.price, terms.currency),
        _rate(typed.tax, rates),
    )


def _rate(typed: str, rates: Sequence[Decimal]) -> Decimal | None:
    text = typed.strip().removesuffix("%").strip().replace(",", ".")
    if not text:
        return rates[0] if rates else None
    if not rates:
        raise Unfit("tax", say("The shop charges no tax. Leave the rate empty."))
    found = next((rate for rate in rates if _same(text, rate)), None)
    if found is None:
        allowed = ", ".join(f"{rate.normalize():f} %" for rate in rates)
        raise Unfit("tax", say("The shop has no tax rate “{typed}”. Allowed: {allowed}.", typed=typed, allowed=allowed))
    return found


def _same(text: str, rate: Decimal) -> bool:
    try:
        return Decimal(text) == rate
    except InvalidOperation:
        return False
