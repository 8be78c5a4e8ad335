"""Money adds up: net and tax make gross, and the lines as shown make the total, whatever the rates."""

from __future__ import annotations

from decimal import ROUND_DOWN, ROUND_HALF_UP, Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from portal.rules.money import LARGEST, Line, Rounding, parse_amount, parse_quantity, total
from portal.rules.refusals import Unfit
from portal.rules.sentences import say

TWENTY = Decimal(20)
PRICE = say("The price")


def line(unit: int, quantity: str = "1", rate: Decimal | None = TWENTY) -> Line:
    return Line("work", Decimal(quantity), unit, rate)


def tax_on(net: int, rounding: Rounding = Rounding.PER_LINE) -> int:
    """The tax at 20 % on one net amount, in minor units."""
    return total([line(net)], rounding, prices_include_tax=False).amounts.tax


@pytest.mark.parametrize("rounding", Rounding)
@pytest.mark.parametrize(
    ("net", "exact", "down", "nearest"),
    [(1249, "249.8", 249, 250), (1251, "250.2", 250, 250), (1252, "250.4", 250, 250), (1253, "250.6", 250, 251)],
)
def test_tax_is_rounded_to_the_nearest_penny_and_never_down_only(
    rounding: Rounding, net: int, exact: str, down: int, nearest: int
) -> None:
    # HMRC manual VATREC12010 (VAT Notice 700 para 17.5), read: rounding down is a concession for those who invoice
    # other traders, for whom it is neutral; among their other options is the nearest 1p, which is what is done here.
    assert Decimal(net) * TWENTY / 100 == Decimal(exact)
    assert int(Decimal(exact)) == down
    assert tax_on(net, rounding) == nearest


def test_up_and_down_to_the_nearest_penny_is_an_option_of_a_retailer() -> None:
    # HMRC manual VATREC12020 (VAT Notice 700 para 17.6), read: rounding down is not appropriate for retailers; their
    # options include “rounding (up and down) to the nearest 1p”, and truncation at six decimals or more. Both come to
    # the same pence here, for every net price up to 20.00.
    for net in range(2001):
        truncated = (Decimal(net) / 100 * TWENTY / 100).quantize(Decimal("0.000001"), ROUND_DOWN)
        nearest = int((truncated * 100).quantize(Decimal(1), ROUND_HALF_UP))
        assert tax_on(net) == nearest
    assert sum(tax_on(net) - net * 20 // 100 for net in range(2001)) > 0  # what rounding down would have kept


def test_the_tax_of_one_small_unit_is_never_nil() -> None:
    # VAT Notice 700 para 17.5.2, its worked example as quoted by others: VAT of 0.0024 on a unit is 0.002 when three
    # digits are kept and 0.005 when working to 0.5p, and never nil. Three digits are what a currency of three has.
    unit = 12  # 0.012 in a currency of three decimals, of which 20 % are 0.0024
    assert tax_on(unit) == 2

    # In pence the unit is smaller than the coin, so tax is never reckoned by the unit: a thousand of them, at 12.00,
    # bear a thousand times 0.0024 exactly, where working to 0.5p would take 5.00 and whole pence nothing.
    thousand = total([line(1, "1200")], Rounding.PER_LINE, prices_include_tax=False).amounts
    assert (thousand.net, thousand.tax) == (1200, 240)


def test_the_tax_of_a_line_keeps_no_part_of_a_penny() -> None:
    # VAT Notice 700 para 17.5.1, from memory: 86.76p on a line may be rounded down to 86.7p by who invoices traders.
    # Here a line's tax is whole pence, to the nearest: 434p net at 20 % bear 86.8p, so 87p.
    assert tax_on(434) == 87


@pytest.mark.parametrize(
    ("gross", "tax", "net"),
    [
        # The UK VAT fraction at 20 % is 1/6 of the gross price (VATA 1994 s. 2(1), from memory); half up, by `decimal`.
        (12000, 2000, 10000),
        (10000, 1667, 8333),
        (9999, 1667, 8332),  # banker's rounding would give 16.66
        (4995, 833, 4162),  # 8.32
        (2499, 417, 2082),  # 4.16
        (3, 1, 2),  # nothing
        (1, 0, 1),
    ],
)
def test_tax_is_taken_out_of_a_gross_price_half_up(gross: int, tax: int, net: int) -> None:
    amounts = total([line(gross)], Rounding.PER_LINE, prices_include_tax=True).amounts

    assert (amounts.gross, amounts.tax, amounts.net) == (gross, tax, net)
    assert int((Decimal(gross) / 6).quantize(Decimal(1), ROUND_HALF_UP)) == tax


@pytest.mark.parametrize(("rounding", "tax"), [(Rounding.PER_LINE, 750), (Rounding.PER_TOTAL, 749)])
def test_rounding_each_line_or_the_total_differs_as_the_shop_states_it(rounding: Rounding, tax: int) -> None:
    # Arithmetic: three lines of net 12.49 at 20 % bear 3 × 2.498 = 7.494. Half up that is 3 × 2.50 = 7.50 by line and
    # 7.49 on the total; down by line it would be 3 × 2.49 = 7.47, which is no way of a retailer's (VATREC12020).
    amounts = total([line(1249)] * 3, rounding, prices_include_tax=False).amounts

    assert amounts.tax == tax
    assert amounts.net + amounts.tax == amounts.gross == 3747 + tax


def test_a_shop_without_tax_has_no_tax_line() -> None:
    without = total([line(4850, rate=None)], Rounding.PER_LINE, prices_include_tax=True)
    zero_rated = total([line(4850, rate=Decimal(0))], Rounding.PER_LINE, prices_include_tax=True)

    assert without.by_rate == {}
    assert list(zero_rated.by_rate) == [Decimal(0)]


@given(
    lines=st.lists(
        st.builds(
            Line,
            text=st.just("work"),
            quantity=st.decimals(min_value="0.001", max_value=9999, places=3),
            unit_minor=st.integers(0, 10**8),
            tax_percent=st.sampled_from([Decimal(0), Decimal("7.7"), Decimal(20), Decimal(25)]),
        ),
        max_size=8,
    ),
    rounding=st.sampled_from(Rounding),
    includes=st.booleans(),
)
def test_the_sums_hold_for_any_lines_and_rates(lines: list[Line], rounding: Rounding, includes: bool) -> None:
    result = total(lines, rounding, prices_include_tax=includes)

    assert result.amounts.net + result.amounts.tax == result.amounts.gross
    assert sum(result.shown) == (result.amounts.gross if includes else result.amounts.net)
    assert sum(amounts.tax for amounts in result.by_rate.values()) == result.amounts.tax


@pytest.mark.parametrize(
    ("typed", "currency", "minor"),
    [
        ("48.50", "GBP", 4850),
        ("48,5", "EUR", 4850),
        ("1,234.50", "GBP", 123450),
        ("1.234,50", "EUR", 123450),
        ("1’234.50", "CHF", 123450),
        ("1\u202f234,50", "EUR", 123450),
        ("48", "GBP", 4800),
        ("1234", "JPY", 1234),  # minor units by CLDR: yen none, dinar three
        ("1,234", "JPY", 1234),
        ("1.234", "KWD", 1234),
    ],
)
def test_an_amount_is_read_as_people_write_it(typed: str, currency: str, minor: int) -> None:
    assert parse_amount("price", PRICE, typed, currency) == minor


@pytest.mark.parametrize(
    ("typed", "currency"),
    [
        ("", "GBP"),
        ("-5", "GBP"),
        ("£5", "GBP"),
        ("1.234", "GBP"),  # one pound 23.4 or a thousand?
        ("12.5", "JPY"),
        ("1,23,4.50", "GBP"),
        ("4.8.50", "GBP"),
        ("1e3", "GBP"),
        ("٣", "GBP"),
        (str(10**12), "GBP"),
    ],
)
def test_what_is_not_one_amount_is_refused_with_the_words_typed(typed: str, currency: str) -> None:
    with pytest.raises(Unfit) as refused:
        parse_amount("price", PRICE, typed, currency)

    assert refused.value.field == "price"
    assert f"“{typed}”" in str(refused.value)


@given(minor=st.integers(0, LARGEST))
def test_every_amount_of_pounds_written_plainly_is_read_back(minor: int) -> None:
    assert parse_amount("price", PRICE, f"{minor // 100}.{minor % 100:02}", "GBP") == minor


@pytest.mark.parametrize("typed", ["0", "-1", "1.2345", "99999", "two", ""])
def test_a_quantity_that_is_none_is_refused(typed: str) -> None:
    with pytest.raises(Unfit):
        parse_quantity("quantity", say("The quantity"), typed)


def test_a_quantity_may_have_a_comma() -> None:
    assert parse_quantity("quantity", say("The quantity"), "1,5") == Decimal("1.5")
