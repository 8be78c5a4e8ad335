"""The code for a bank transfer says what its standard asks, and nothing that would not fit."""

from __future__ import annotations

import pytest
import zxingcpp
from hypothesis import given
from hypothesis import strategies as st
from PIL import Image

from portal.qr import QUIET_ZONE, modules
from portal.rules.epc import MOST_BYTES, compact, grouped, is_bic, is_iban, payload
from portal.rules.refusals import Refused

GERMAN = "DE89370400440532013000"


@pytest.mark.parametrize(
    "typed",
    # The examples that banks' registries and encyclopedias print for each country (from memory).
    [
        "DE89 3704 0044 0532 0130 00",
        "GB82 WEST 1234 5698 7654 32",
        "NL91 ABNA 0417 1643 00",
        "CH93 0076 2011 6238 5295 7",
    ],
)
def test_the_usual_examples_of_account_numbers_are_right(typed: str) -> None:
    assert is_iban(compact(typed))
    assert grouped(compact(typed)) == typed


@pytest.mark.parametrize(
    "typed", ["", "DE88370400440532013000", "DE89", "89DE370400440532013000", "DÉ89370400440532013000"]
)
def test_others_are_not(typed: str) -> None:
    assert not is_iban(typed)


@given(place=st.integers(4, len(GERMAN) - 1), digit=st.sampled_from("0123456789"))
def test_every_single_wrong_digit_is_found(place: int, digit: str) -> None:
    changed = GERMAN[:place] + digit + GERMAN[place + 1 :]

    assert is_iban(changed) == (changed == GERMAN)


def test_a_banks_code_has_eight_or_eleven_letters() -> None:
    assert [is_bic(text) for text in ("COBADEFF", "COBADEFFXXX", "COBADEF", "COBADEFFX", "12345678")] == [
        True,
        True,
        False,
        False,
        False,
    ]


def test_the_lines_stand_in_their_order() -> None:
    assert payload("Quayhaven Repairs", GERMAN, 4850, "572-4", bic="COBADEFFXXX").split("\n") == [
        "BCD",
        "002",
        "1",
        "SCT",
        "COBADEFFXXX",
        "Quayhaven Repairs",
        GERMAN,
        "EUR48.50",
        "",
        "",
        "572-4",
    ]


@pytest.mark.parametrize("minor", [1, 4850, 99_999_999_999])
def test_a_reader_reads_it_and_it_is_no_larger_than_allowed(minor: int) -> None:
    text = payload("Brücke & Söhne", GERMAN, minor, "572-4")
    rows = modules(text)
    side = len(rows) + 2 * QUIET_ZONE
    picture = Image.new("1", (side, side), 1)
    for y, row in enumerate(rows):
        for x, dark in enumerate(row):
            picture.putpixel((x + QUIET_ZONE, y + QUIET_ZONE), 0 if dark else 1)

    [read] = zxingcpp.read_barcodes(picture.resize((side * 4, side * 4)).convert("L"))

    assert read.bytes == text.encode()
    assert read.ec_level == "M"
    assert len(rows) <= 69  # version 13


@pytest.mark.parametrize(
    "wrong",
    [
        {"name": ""},
        {"name": "x" * 71},
        {"iban": "DE88370400440532013000"},
        {"amount_minor": 0},
        {"amount_minor": -5},
        {"amount_minor": 100_000_000_000},
        {"text": "x" * 141},
        {"text": "two\nlines"},
        {"bic": "COBADEF"},
        {"name": "ä" * 70, "text": "ä" * 140},
    ],
)
def test_what_does_not_fit_makes_no_code(wrong: dict[str, object]) -> None:
    fitting = {"name": "Shop", "iban": GERMAN, "amount_minor": 4850, "text": "572-4"}

    with pytest.raises(Refused):
        payload(**(fitting | wrong))  # type: ignore[arg-type]


@given(
    name=st.text("aä€x ", min_size=1, max_size=70), text=st.text("bö7", max_size=140), minor=st.integers(1, 10**11 - 1)
)
def test_whatever_is_made_is_small_enough(name: str, text: str, minor: int) -> None:
    try:
        made = payload(name, GERMAN, minor, text)
    except Refused:
        return
    assert len(made.encode()) <= MOST_BYTES
