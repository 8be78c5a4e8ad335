"""An offer as pages show it and as their forms are typed: the customer's, the bench's and the keeper's alike."""

from __future__ import annotations

from decimal import Decimal

from babel.numbers import get_currency_precision
from flask import request

from portal.rules.offers import TypedLine, TypedOffer, TypedOption
from portal.rules.questions import MOST_OPTIONS
from portal.store.questions import Kept
from portal.web.request_context import policy

LINES = 4  # empty rows that a form offers for each option; more appear once these are full


def from_form() -> TypedOffer:
    """The offer as it stands in the posted form."""
    return TypedOffer(
        found=request.form.get("found", ""),
        why=request.form.get("why", ""),
        if_not=request.form.get("if_not", ""),
        meanwhile=request.form.get("meanwhile", ""),
        options=[TypedOption(request.form.get(f"proposal{place}", ""), _lines(place)) for place in range(MOST_OPTIONS)],
        photos=request.form.getlist("photo"),
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
                        line.text,
                        f"{line.quantity.normalize():f}",
                        f"{Decimal(line.unit_minor).scaleb(-decimals)}",
                        _rate(line.tax_percent),
                    )
                    for line in option.lines
                ],
            )
            for option in offer.options
        ],
        offer.photos,
    )


def rows(typed: TypedOffer) -> list[tuple[int, TypedOption, list[TypedLine]]]:
    """What a form shows: every option there may be, each with the lines that are filled in and some that are not."""
    found = [*typed.options, *[TypedOption("")] * (MOST_OPTIONS - len(typed.options))]
    return [
        (place, option, [*option.lines, *[TypedLine("")] * max(LINES - len(option.lines), 1)])
        for place, option in enumerate(found)
    ]


def _rate(percent: Decimal | None) -> str:
    """A line's tax rate as somebody would type it: the shop's own is left out."""
    return "" if percent is None or percent == policy().shop.tax_percent else f"{percent.normalize():f}"


def _lines(place: int) -> list[TypedLine]:
    columns = [request.form.getlist(f"{name}{place}") for name in ("text", "quantity", "price", "tax")]
    count = max(map(len, columns))
    padded = [each + [""] * (count - len(each)) for each in columns]
    return [TypedLine(*line) for line in zip(*padded, strict=True)]
