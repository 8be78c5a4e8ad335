"""Money as people read it, by language and currency. Expected: Babel 2.18 with the CLDR data that comes with it."""

from __future__ import annotations

import pytest

from portal.language import language
from portal.rules.money import Price, parse_amount
from portal.rules.refusals import Unfit
from portal.rules.sentences import say

NBSP, THIN = "\u00a0", "\u202f"


@pytest.mark.parametrize(
    ("tag", "currency", "minor", "reads"),
    [
        ("en-GB", "GBP", 123450, "£1,234.50"),
        ("en-GB", "GBP", -500, "-£5.00"),
        ("de-DE", "EUR", 123450, f"1.234,50{NBSP}€"),
        ("fr-FR", "EUR", 123450, f"1{THIN}234,50{NBSP}€"),
        ("de-CH", "EUR", 123450, f"EUR{NBSP}1’234.50"),
        ("nl-NL", "EUR", 123450, f"€{NBSP}1.234,50"),
        ("ja-JP", "JPY", 1234, "\uffe51,234"),
        ("en-GB", "KWD", 1234500, "KWD1,234.500"),
        ("es-ES", "EUR", 123450, f"1.234,50{NBSP}€"),
    ],
)
def test_an_amount_reads_as_its_language_writes_it(tag: str, currency: str, minor: int, reads: str) -> None:
    assert language(tag, "Europe/London").money(minor, currency) == reads


@pytest.mark.parametrize(
    ("currencies", "decimals"), [("JPY CLP ISK", 0), ("GBP EUR USD CHF HUF", 2), ("KWD BHD TND", 3)]
)
def test_a_currency_has_its_own_number_of_decimals(currencies: str, decimals: int) -> None:
    for currency in currencies.split():
        typed = "12" + ("." + "0" * decimals if decimals else "")
        minor = parse_amount("price", say("The price"), typed, currency)
        assert (minor, Price(minor, currency).plain) == (12 * 10**decimals, typed)
        with pytest.raises(Unfit):
            parse_amount("price", say("The price"), "12." + "5" * (decimals + 1), currency)
