"""Limits are exact and included; a value is read with comma or point, with its unit or another prefix of it."""

from __future__ import annotations

from contextlib import suppress
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from portal.rules.limits import Limits, parse_limits, parse_value
from portal.rules.refusals import Unfit

# The series E12 (± 10 %) and E24 (± 5 %) of IEC 60063, and E96 (± 1 %): band by hand.
WORKED = [
    ("4.7 kΩ ± 5 %", "4.465", "4.935"),
    ("100 Ω ± 10 %", "90", "110"),
    ("49.9 kΩ ± 1 %", "49.401", "50.399"),
    ("2.2 kΩ ± 10 %", "1.98", "2.42"),
    ("12.0 V ± 5 %", "11.4", "12.6"),
    ("-12 V ± 5 %", "-12.6", "-11.4"),
    ("12 V ± 0.5 V", "11.5", "12.5"),
    ("12 V ± 500 mV", "11.5", "12.5"),
    ("3,3 V ± 5 %", "3.135", "3.465"),
    ("4.75–5.25 V", "4.75", "5.25"),  # USB 2.0, 7.2.2: VBUS at a high-power port
    ("4.75 V – 5.25 V", "4.75", "5.25"),
    ("4.75 to 5.25 V", "4.75", "5.25"),
]


@pytest.mark.parametrize(("text", "low", "high"), WORKED)
def test_limits_include_both_ends_and_nothing_beyond(text: str, low: str, high: str) -> None:
    band = parse_limits(text)
    least = Decimal("0.000000001")

    assert band is not None
    assert (band.low, band.high) == (Decimal(low), Decimal(high))
    assert band.hold(Decimal(low))
    assert band.hold(Decimal(high))
    assert not band.hold(Decimal(low) - least)
    assert not band.hold(Decimal(high) + least)


@pytest.mark.parametrize(
    ("text", "within", "outside"), [("≥ 80 %", "80", "79.9"), ("≤ 0.5 Ω", "0.5", "0.51"), ("<= 50 mV", "-3", "51")]
)
def test_limits_may_be_open_on_one_side(text: str, within: str, outside: str) -> None:
    band = parse_limits(text)

    assert band is not None
    assert band.hold(Decimal(within))
    assert not band.hold(Decimal(outside))


def test_a_check_without_limits_has_none() -> None:
    assert parse_limits(" ") is None


@pytest.mark.parametrize(
    "text", ["about 12 V", "12 V", "5.25–4.75 V", "12 V ± 5 A", "± 5 %", "12 V ± -5 %", "1e9–2e9 V", "x" * 90]
)
def test_what_are_no_limits_is_refused_with_the_forms_that_are(text: str) -> None:
    with pytest.raises(ValueError, match="allowed is a form like"):
        parse_limits(text)


@pytest.mark.parametrize(
    ("typed", "unit", "value"),
    [
        ("11.9", "V", "11.9"),
        ("11,9", "V", "11.9"),
        (" 11.9 V ", "V", "11.9"),
        ("11.9V", "V", "11.9"),
        ("4900 mV", "V", "4.9"),
        ("0.2 A", "mA", "200"),
        ("4.7 kohm", "Ω", "4700"),
        ("4.7 k\u2126", "kΩ", "4.7"),
        ("22 uF", "µF", "22"),
        ("22 \u03bcF", "µF", "22"),
        ("−12.1", "V", "-12.1"),
        ("+5", "V", "5"),
        ("81 %", "%", "81"),
        ("0", "V", "0"),
    ],
)
def test_a_value_is_read_as_people_write_it(typed: str, unit: str, value: str) -> None:
    assert parse_value(typed, unit) == Decimal(value)


@pytest.mark.parametrize(
    "typed",
    [
        "",
        "twelve",
        "1,234.5",
        "1 234",
        "12 V 3",
        "12..1",
        "1e5",
        "NaN",
        "Infinity",
        "12 A",
        "12 Vs",
        "9" * 50,
        "１２",
        "٣",
    ],
)
def test_a_value_that_cannot_be_read_is_refused_at_its_field(typed: str) -> None:
    with pytest.raises(Unfit) as refused:
        parse_value(typed, "V")

    assert refused.value.field == "value"


@given(st.decimals(-99999, 99999, places=4), st.sampled_from(["V", "mA", "kΩ", "%"]))
def test_what_is_written_down_is_read_back_exactly(value: Decimal, unit: str) -> None:
    assert parse_value(f"{value:f} {unit}", unit) == value
    assert parse_value(f"{value:f}".replace(".", ","), unit) == value


@given(st.text(max_size=60))
def test_nothing_typed_breaks_reading(text: str) -> None:
    with suppress(Unfit):
        parse_value(text, "V")


@given(st.decimals("0.001", 9999, places=3), st.integers(0, 100))
def test_the_nominal_value_is_always_within_its_own_band(nominal: Decimal, percent: int) -> None:
    band = parse_limits(f"{nominal:f} V ± {percent} %")

    assert isinstance(band, Limits)
    assert band.hold(nominal)
