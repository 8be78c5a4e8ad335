"""Ticket numbers: a slip on the phone is caught."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st
from stdnum import damm

from portal.rules.numbers import LONGEST, check_digit, parse_number, spoken, with_check
from portal.rules.refusals import Unfit

bodies = st.text("0123456789", min_size=2, max_size=LONGEST - 1)


def test_572_has_the_check_digit_4() -> None:
    """The worked example that the scheme is usually shown with (H. M. Damm, 2004; python-stdnum's own)."""
    assert check_digit("572") == "4"
    assert with_check("572") == "5724"


def test_5727_is_not_a_number() -> None:
    with pytest.raises(Unfit, match="a digit is wrong or two are swapped"):
        parse_number("5727")


@given(bodies)
def test_check_digits_are_those_of_another_implementation(body: str) -> None:
    """python-stdnum's Damm is the other."""
    assert check_digit(body) == damm.calc_check_digit(body)


def test_no_single_wrong_digit_in_four_goes_unseen() -> None:
    """Damm, 2004: the scheme finds every substitution. All 10,000 numbers of four digits, each place, each digit."""
    valid = {with_check(f"{body:03}") for body in range(1000)}

    unseen = [
        (number, wrong)
        for number in valid
        for place in range(4)
        for digit in "0123456789"
        if (wrong := number[:place] + digit + number[place + 1 :]) != number and wrong in valid
    ]

    assert len(valid) == 1000
    assert unseen == []


def test_no_swap_of_two_neighbours_in_four_digits_goes_unseen() -> None:
    """Damm, 2004: the scheme finds every swap of neighbours."""
    valid = {with_check(f"{body:03}") for body in range(1000)}

    unseen = [
        (number, wrong)
        for number in valid
        for place in range(3)
        if (wrong := number[:place] + number[place + 1] + number[place] + number[place + 2 :]) != number
        and wrong in valid
    ]

    assert unseen == []


@pytest.mark.parametrize("typed", ["5724", "572-4", "57 24", " 5-7-2-4 ", "57.24", "572/4", "572–4", "5 7 2 4"])
def test_separators_do_not_matter(typed: str) -> None:
    assert parse_number(typed) == "5724"


@given(bodies)
def test_what_is_read_out_can_be_typed_back(body: str) -> None:
    assert parse_number(spoken(with_check(body))) == with_check(body)


@pytest.mark.parametrize(
    "typed",
    [
        "",
        "4",
        "24",
        "abc",
        "572-4a",
        "٥٧٢٤",  # Arabic-Indic digits are digits to Python, not to us
        "5724\x00",
        "-",
        "1" * 14,
        "9" * 10_000,
        "{{7*7}}",
        "<b>5724</b>",
        "1 OR 1=1",
        "5724🙂",
        "\u202e4275",
    ],
)
def test_what_is_no_number_is_refused_with_an_example_of_one(typed: str) -> None:
    with pytest.raises(Unfit, match="has only digits, for example 572-4") as refused:
        parse_number(typed)

    assert refused.value.field == "number"
