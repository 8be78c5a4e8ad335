"""An offer as pages show it and as their forms are typed: the customer's, the bench's and the keeper's alike."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

from babel.numbers import get_currency_precision
from flask import request

from portal.rules.numbers import spoken
from portal.rules.offers import TypedLine, TypedOffer, TypedOption
from portal.rules.questions import MOST_OPTIONS
from portal.store import photos
from portal.store.photos import Photo
from portal.store.questions import Kept
from portal.store.tickets import Ticket
from portal.web.request_context import connection, policy

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


@dataclass(frozen=True)
class OfferForm:
    """All that the form of an offer shows beside what was typed."""

    number: str
    new: TypedOffer
    rows: Sequence[tuple[int, TypedOption, Sequence[TypedLine]]]
    currency: str
    inclusive: bool  # whether prices are typed as the customer pays them
    rates: Sequence[Decimal]  # the shop's own tax rate first; one or none needs no field
    photos: Sequence[Photo]  # of the ticket, for the customer too


def form(ticket: Ticket, typed: TypedOffer) -> OfferForm:
    """The form of an offer for a ticket, with what was typed in it."""
    shop, approvals = policy().shop, policy().approvals
    return OfferForm(
        number=spoken(ticket.number),
        new=typed,
        rows=_rows(typed),
        currency=shop.currency,
        inclusive=approvals.prices_include_tax or shop.tax_percent is None,
        rates=[] if shop.tax_percent is None else [shop.tax_percent, *approvals.other_tax_percents],
        photos=[photo for photo in photos.of_ticket(connection(), ticket.id) if photo.audience == "customer"],
    )


def _rows(typed: TypedOffer) -> list[tuple[int, TypedOption, list[TypedLine]]]:
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
