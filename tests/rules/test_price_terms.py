"""What is agreed at the start: four ways, each with the amount it needs, and a limit that is used up."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from portal.rules.price_terms import PriceTerms, Way, charge_stands, fit, left, must_fit_limit
from portal.rules.refusals import Refused, Unfit

LIMIT = PriceTerms(Way.LIMIT, 8000, "GBP")


@pytest.mark.parametrize(
    ("way", "amount", "wanted"),
    [
        ("", "", None),
        ("fixed price", "80", PriceTerms(Way.FIXED, 8000, "GBP")),
        ("look first", "", PriceTerms(Way.LOOK_FIRST, None, "GBP")),
        ("look first", "0", PriceTerms(Way.LOOK_FIRST, None, "GBP")),
        ("look first", "15,00", PriceTerms(Way.LOOK_FIRST, 1500, "GBP")),
        ("no fix no fee", "", PriceTerms(Way.NO_FIX_NO_FEE, None, "GBP")),
        ("up to a limit", "80.00", LIMIT),
    ],
)
def test_the_terms_are_read_as_typed(way: str, amount: str, wanted: PriceTerms | None) -> None:
    assert fit(way, amount, "GBP") == wanted


@pytest.mark.parametrize(
    ("way", "amount", "field"),
    [
        ("", "80", "price_way"),
        ("free beer", "", "price_way"),
        ("fixed price", "", "price_amount"),
        ("fixed price", "0", "price_amount"),
        ("up to a limit", "-5", "price_amount"),
        ("up to a limit", "1000000000000", "price_amount"),
        ("no fix no fee", "5", "price_amount"),
    ],
)
def test_what_does_not_fit_names_its_field(way: str, amount: str, field: str) -> None:
    with pytest.raises(Unfit) as refused:
        fit(way, amount, "GBP")

    assert refused.value.field == field


@pytest.mark.parametrize("currency", ["JPY", "GBP", "BHD"])
def test_a_currency_has_its_own_decimals(currency: str) -> None:
    terms = fit("fixed price", "80", currency)

    assert terms is not None
    assert terms.amount_minor == 80 * {"JPY": 1, "GBP": 100, "BHD": 1000}[currency]


def test_only_a_fixed_price_and_a_fee_for_looking_are_charges() -> None:
    charges = {way: PriceTerms(way, 100, "GBP").charges for way in Way}

    assert charges == {Way.FIXED: True, Way.LOOK_FIRST: True, Way.NO_FIX_NO_FEE: False, Way.LIMIT: False}
    assert not PriceTerms(Way.LOOK_FIRST, None, "GBP").charges


@given(used=st.integers(0, 20_000), price=st.integers(0, 20_000))
def test_a_limit_is_never_passed(used: int, price: int) -> None:
    if used + price <= 8000:
        must_fit_limit(LIMIT, used, price)
        assert left(LIMIT, used + price) == 8000 - used - price
    elif price:
        with pytest.raises(Refused, match="Ask first"):
            must_fit_limit(LIMIT, used, price)


@pytest.mark.parametrize(
    "terms", [None, PriceTerms(Way.FIXED, 8000, "GBP"), PriceTerms(Way.NO_FIX_NO_FEE, None, "GBP")]
)
def test_without_a_limit_nothing_goes_ahead(terms: PriceTerms | None) -> None:
    with pytest.raises(Refused, match="gave no limit"):
        must_fit_limit(terms, 0, 1)


def test_no_fix_no_fee_takes_every_charge_away_from_what_goes_back_unrepaired() -> None:
    terms = PriceTerms(Way.NO_FIX_NO_FEE, None, "GBP")

    assert not charge_stands(terms, unrepaired=True)
    assert charge_stands(terms, unrepaired=False)
    assert charge_stands(PriceTerms(Way.LOOK_FIRST, 1500, "GBP"), unrepaired=True)
    assert charge_stands(None, unrepaired=True)


def test_the_customer_reads_what_it_means() -> None:
    assert str(LIMIT.words()).startswith("We go ahead up to 80.00 GBP")
    assert "at no cost" in str(PriceTerms(Way.LOOK_FIRST, None, "GBP").words())
