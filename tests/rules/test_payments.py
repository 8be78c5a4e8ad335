"""Money is written down as people type it, and never the number of a card."""

from __future__ import annotations

from datetime import date

import pytest

from portal.rules.payments import (
    How,
    Kind,
    Moved,
    fit_amount,
    fit_how,
    fit_reference,
    may_refund,
    may_take,
    no_card_number,
    standing,
)
from portal.rules.refusals import AskFirst, Refused, Unfit


@pytest.mark.parametrize(
    "typed",
    [
        # Numbers that terminals and their makers publish for trying out; each ends in its check digit (from memory).
        "4111111111111111",
        "4111 1111 1111 1111",
        "card 5500-0000-0000-0004 ok",
        "378282246310005",
        "6304.0000.0000.0000",
    ],
)
def test_what_may_be_the_number_of_a_card_is_not_written_down(typed: str) -> None:
    with pytest.raises(Unfit, match="never written down") as refused:
        fit_reference(typed)
    assert refused.value.field == "reference"
    assert typed not in str(refused.value)


@pytest.mark.parametrize(
    "typed", ["", "receipt 0042", "ending 1111", "4111111111111112", "DE89370400440532013000", "2026-03-02 572-4"]
)
def test_other_references_are(typed: str) -> None:
    assert fit_reference(typed) == typed
    assert no_card_number("why", typed) == typed


@pytest.mark.parametrize("typed", ["0", "0.00", "-5", "1.234", str(10**12), "", "five"])
def test_an_amount_is_above_nothing_and_plain(typed: str) -> None:
    with pytest.raises(Unfit) as refused:
        fit_amount(typed, "GBP")
    assert refused.value.field == "amount"


@pytest.mark.parametrize(
    ("typed", "currency", "minor"), [("48,50", "EUR", 4850), ("5.000", "JPY", 5000), ("5", "KWD", 5000)]
)
def test_an_amount_is_read_in_its_currency(typed: str, currency: str, minor: int) -> None:
    assert fit_amount(typed, currency) == minor


def test_a_means_that_does_not_exist_is_refused_with_those_that_do() -> None:
    with pytest.raises(Unfit, match="cash, card terminal, bank transfer, other"):
        fit_how("cheque")
    assert fit_how("cash") is How.CASH


def test_more_than_is_open_is_asked_about_and_a_deposit_is_not() -> None:
    with pytest.raises(AskFirst, match=r"Only 10\.00 GBP are still to be paid"):
        may_take(1001, 1000, "GBP", Kind.PAYMENT, confirmed=False)

    may_take(1001, 1000, "GBP", Kind.PAYMENT, confirmed=True)
    may_take(1000, 1000, "GBP", Kind.PAYMENT, confirmed=False)
    may_take(5000, 0, "GBP", Kind.DEPOSIT, confirmed=False)


def test_no_more_is_given_back_than_is_owed() -> None:
    may_refund(1000, 1000, "GBP")
    with pytest.raises(Refused, match=r"Only 10\.00 GBP are owed back"):
        may_refund(1001, 1000, "GBP")


def test_an_entry_is_reversed_once() -> None:
    moved = Moved("P", Kind.PAYMENT, 100, "GBP", How.CASH, "", date(2026, 3, 2))

    assert standing([moved], "P") is moved
    with pytest.raises(Refused, match="no such payment"):
        standing([moved], "other")
    with pytest.raises(Refused, match="reversed already"):
        standing([Moved(**vars(moved) | {"undone": "Twice"})], "P")
