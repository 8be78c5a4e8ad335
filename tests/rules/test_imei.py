"""IMEIs end in a check digit and are shown by their last four only."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st
from stdnum import imei as published
from stdnum import luhn

from portal.rules.imei import check_digit, is_imei, serial, shown
from portal.rules.refusals import Unfit


@pytest.mark.parametrize(
    ("body", "digit"),
    [
        ("26053179311383", "7"),  # 3GPP TS 23.003, Annex B
        ("49015420323751", "8"),
        ("7992739871", "3"),
        ("09", "1"),
        ("90", "1"),  # the swap that the Luhn scheme does not see
    ],
)
def test_the_check_digit_is_the_published_one(body: str, digit: str) -> None:
    assert check_digit(body) == digit


@given(st.text("0123456789", min_size=1, max_size=40))
def test_the_check_digit_agrees_with_the_library(body: str) -> None:
    assert check_digit(body) == luhn.calc_check_digit(body)


@given(st.text("0123456789", min_size=15, max_size=15))
def test_an_imei_is_what_the_library_takes_for_one(digits: str) -> None:
    assert is_imei(digits) == published.is_valid(digits)


@pytest.mark.parametrize("typed", ["260531793113837", "26-053179-311383-7", "26 053179 311383 7"])
def test_an_imei_is_stored_as_its_digits(typed: str) -> None:
    assert serial(typed) == "260531793113837"


def test_a_misread_imei_is_refused() -> None:
    with pytest.raises(Unfit, match="a digit is wrong") as refused:
        serial("260531793113838")

    assert refused.value.field == "serial"


@pytest.mark.parametrize("typed", ["SN-00A/17", "C02XK1ZZJG5J", "2605317931138370", "12345"])
def test_another_serial_number_is_kept_as_it_is(typed: str) -> None:
    assert serial(typed) == typed


@pytest.mark.parametrize(
    ("stored", "seen"), [("260531793113837", "…3837"), ("C02XK1ZZJG5J", "…JG5J"), ("1234", "1234"), ("", "")]
)
def test_pages_show_the_last_four_only(stored: str, seen: str) -> None:
    assert shown(stored) == seen
