"""An offer as pages show it and as their forms are typed: the customer's, the bench's and the keeper's alike."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal

from babel.numbers import get_currency_precision
from flask import request

from portal.rules.money import Amounts
from portal.rules.offers import TypedLine, TypedOffer, TypedOption
from portal.rules.questions import MOST_OPTIONS, Offer
from portal.store.questions import Kept

LINES = 4  # empty rows that a form offers for each option; more appear once these are full


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


def options(offer: Offer) -> list[ShownOption]:
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


def from_form() -> TypedOffer:
    """The offer as it stands in the posted form."""
    return TypedOffer(
        found=request.form.get("found", ""),
        why=request.form.get("why", ""),
        if_not=request.form.get("if_not", ""),
        meanwhile=request.form.get("meanwhile", ""),
        options=[TypedOption(request.form.get(f"proposal{place}", ""), _lines(place)) for place in range(MOST_OPTIONS)],
    )


def as_typed(kept: Kept) -> TypedOffer:
    """A kept offer as somebody would type it, to be changed."""
    offer = kept.offer
    decimals = get_currency_precision(offer.terms.currency)
    return TypedOffer(
        offer.found,
        offer.why,
        offer.if_not,
        offer.meanwhile,
        [
            TypedOption(
                option.proposal,
                [
                    TypedLine(
                        line.text, f"{line.quantity.normalize():f}", f"{Decimal(line.unit_minor).scaleb(-decimals)}"
                    )
                    for line in option.lines
                ],
            )
            for option in offer.options
        ],
    )


def rows(typed: TypedOffer) -> list[tuple[int, TypedOption, list[TypedLine]]]:
    """What a form shows: every option there may be, each with the lines that are filled in and some that are not."""
    found = [*typed.options, *[TypedOption("")] * (MOST_OPTIONS - len(typed.options))]
    return [
        (place, option, [*option.lines, *[TypedLine("")] * max(LINES - len(option.lines), 1)])
        for place, option in enumerate(found)
    ]


def _lines(place: int) -> list[TypedLine]:
    texts, quantities, prices = (request.form.getlist(f"{name}{place}") for name in ("text", "quantity", "price"))
    count = max(len(texts), len(prices))
    padded = [each + [""] * (count - len(each)) for each in (texts, quantities, prices)]
    return [TypedLine(*line) for line in zip(*padded, strict=True)]
