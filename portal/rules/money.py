"""Money: whole minor units and Decimal rates. Net and tax always make up gross; the lines as shown make the total.

A shop rounds in one way only, half up, either each line or each rate's total; a shop without tax has no tax line
anywhere, which is not the same as a tax of 0 %.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import ROUND_HALF_UP, Decimal
from enum import StrEnum

from babel.numbers import get_currency_precision

from portal.rules.refusals import Unfit
from portal.rules.sentences import Sentence, say

LARGEST = 10**10  # minor units of one amount; anything above is a slip of the finger
MOST = Decimal(9999)  # of a quantity
_THIN = re.compile(r"[\s\u00a0\u202f'’]")


class Rounding(StrEnum):
    """Where a shop rounds tax; it chooses one and states it."""

    PER_LINE = "per line"
    PER_TOTAL = "per total"


@dataclass(frozen=True)
class Price:
    """An amount to put into a sentence: minor units of a currency (ISO 4217), written out by the reader's language."""

    minor: int
    currency: str

    @property
    def plain(self) -> str:
        """The amount alone, with a point and no marks, as a form takes it: “48.50”."""
        return f"{Decimal(self.minor).scaleb(-get_currency_precision(self.currency)):f}"

    def __str__(self) -> str:
        return f"{self.plain} {self.currency}"


@dataclass(frozen=True)
class Line:
    """One line of an offer. `unit_minor` is in the currency's minor units; no `tax_percent`: a shop without tax."""

    text: str
    quantity: Decimal
    unit_minor: int
    tax_percent: Decimal | None = None


@dataclass(frozen=True)
class Amounts:
    """Net, tax and gross in minor units; net + tax == gross, always."""

    net: int
    tax: int
    gross: int

    def __add__(self, other: Amounts) -> Amounts:
        return Amounts(self.net + other.net, self.tax + other.tax, self.gross + other.gross)


NOTHING = Amounts(0, 0, 0)


@dataclass(frozen=True)
class Total:
    """What is shown under the lines: each line's amount as shown, the sums, and the tax by rate (none without tax)."""

    shown: tuple[int, ...]
    amounts: Amounts
    by_rate: Mapping[Decimal, Amounts]


def total(lines: Sequence[Line], rounding: Rounding, *, prices_include_tax: bool) -> Total:
    """Add lines up. The amounts shown at the lines are gross where prices include tax, else net."""
    shown = tuple(_round(line.quantity * line.unit_minor) for line in lines)
    by_rate: dict[Decimal | None, Amounts] = {}
    for line, amount in zip(lines, shown, strict=True):
        share = split(amount, line.tax_percent, prices_include_tax)
        by_rate[line.tax_percent] = by_rate.get(line.tax_percent, NOTHING) + share
    if rounding is Rounding.PER_TOTAL:
        by_rate = {
            rate: split(amounts.gross if prices_include_tax else amounts.net, rate, prices_include_tax)
            for rate, amounts in by_rate.items()
        }
    sums = sum(by_rate.values(), NOTHING)
    return Total(shown, sums, {rate: amounts for rate, amounts in by_rate.items() if rate is not None})


def to_minor(amount: Decimal, currency: str) -> int:
    """An amount of the policy's, in minor units, rounded half up where it has more decimals than the currency."""
    return int((amount * 10 ** get_currency_precision(currency)).to_integral_value(ROUND_HALF_UP))


def parse_amount(field: str, what: Sentence, typed: str, currency: str) -> int:
    """An amount as typed, in minor units: “48.50”, “48,50”, “1,234.50” and “1’234.50” are read; signs are not.

    Raises Unfit for anything else, for more decimals than the currency has (“1.234” in pounds could be either), and
    for amounts no repair costs.
    """
    text = _THIN.sub("", typed)
    decimals = get_currency_precision(currency)
    whole, fraction = _parts(text, decimals)
    if whole is None:
        example = "48.50" if decimals == 2 else "48" if decimals == 0 else "48." + "500"[:decimals]
        raise Unfit(
            field,
            say("{what} “{typed}” is not an amount. Write it like {example}.", what=what, typed=typed, example=example),
        )
    minor = int(whole + fraction.ljust(decimals, "0"))
    if minor > LARGEST:
        raise Unfit(
            field, say("{what} “{typed}” is too large. Please look at the digits again.", what=what, typed=typed)
        )
    return minor


def parse_quantity(field: str, what: Sentence, typed: str) -> Decimal:
    """A quantity as typed, above nothing, with at most three decimals; comma and point both do. Raises Unfit."""
    text = _THIN.sub("", typed).replace(",", ".")
    if not re.fullmatch(r"[0-9]{1,4}(\.[0-9]{1,3})?", text) or not 0 < Decimal(text) <= MOST:
        raise Unfit(
            field,
            say("{what} “{typed}” is not a quantity. Allowed is 0.001 to {most}.", what=what, typed=typed, most=MOST),
        )
    return Decimal(text)


def split(amount: int, percent: Decimal | None, includes_tax: bool) -> Amounts:
    """Net and tax of an amount that includes its tax or does not; no `percent`: a shop without tax."""
    if percent is None:
        return Amounts(amount, 0, amount)
    if includes_tax:
        tax = _round(Decimal(amount) * percent / (100 + percent))
        return Amounts(amount - tax, tax, amount)
    tax = _round(Decimal(amount) * percent / 100)
    return Amounts(amount, tax, amount + tax)


def _round(amount: Decimal) -> int:
    return int(amount.quantize(Decimal(1), rounding=ROUND_HALF_UP))


def _parts(text: str, decimals: int) -> tuple[str | None, str]:
    """Whole digits and fraction digits, or (None, "") for what is not one amount."""
    for point, comma in ((".", ","), (",", ".")):
        grouped = rf"[0-9]{{1,3}}(?:{re.escape(comma)}[0-9]{{3}})+"
        # Thousands marks are believed only beside a decimal sign: “1,234” alone could be either.
        if decimals and (found := re.fullmatch(rf"({grouped}){re.escape(point)}([0-9]{{1,{decimals}}})", text)):
            return found[1].replace(comma, ""), found[2]
        if decimals and (found := re.fullmatch(rf"([0-9]+){re.escape(point)}([0-9]{{1,{decimals}}})", text)):
            return found[1], found[2]
        if decimals == 0 and re.fullmatch(grouped, text):
            return text.replace(comma, ""), ""
    return (text, "") if text.isascii() and text.isdigit() else (None, "")
