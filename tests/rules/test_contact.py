"""E-mail addresses and phone numbers: one each, in one standard form."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from portal.rules.contact import email, phone
from portal.rules.refusals import Unfit


@pytest.mark.parametrize(
    ("typed", "kept"),
    [
        ("", ""),
        ("   ", ""),
        (" ada@example.org ", "ada@example.org"),
        ("Ada.Marsh@EXAMPLE.org", "Ada.Marsh@example.org"),  # RFC 5321 2.4: only the domain is without case
        ("ada+bench@example.org", "ada+bench@example.org"),
        ("ada@bücher.example", "ada@bücher.example"),
        ("üna@example.org", "üna@example.org"),  # RFC 6531
        ("ada@example.org\n", "ada@example.org"),
        ("\u202aada@example.org\u202c", "ada@example.org"),  # copied from a right-to-left page
    ],
)
def test_an_address_is_kept_in_its_normal_form(typed: str, kept: str) -> None:
    assert email(typed) == kept


@pytest.mark.parametrize(
    "typed",
    [
        "ada",
        "ada@",
        "@example.org",
        "ada@example",
        "a@x, b@y",
        "a@example.org, b@example.org",
        "a@example.org;b@example.org",
        "a@example.org b@example.org",
        "Ada <ada@example.org>",
        "ada@example.org\r\nBcc: all@example.org",
        "ada@example.org\nSubject: x",
        "ada@exa mple.org",
        "ada@@example.org",
        "ada@-example.org",
        "ada@example..org",
        "<script>@example.org",
        "{{7*7}}",
        "' OR 1=1 --",
        "🙂",
    ],
)
def test_what_is_not_exactly_one_address_is_refused(typed: str) -> None:
    with pytest.raises(Unfit, match=r"is not one e-mail address, like name@example.org") as refused:
        email(typed)

    assert refused.value.field == "email"


def test_an_address_has_an_end() -> None:
    """RFC 5321 4.5.3.1.3: 256 octets of path with its two brackets."""
    with pytest.raises(Unfit, match="at most 254 fit"):
        email("x" * 10_000 + "@example.org")


@pytest.mark.parametrize(
    ("typed", "country", "kept"),
    [
        ("", "GB", ""),
        ("07911 123456", "GB", "+447911123456"),
        ("020 7946 0018", "GB", "+442079460018"),
        ("07700 900123", "GB", "+447700900123"),  # a number for drama: possible, in nobody's use
        ("+44 (0)7700 900-123", "GB", "+447700900123"),
        ("+44 7700 900123", "DE", "+447700900123"),
        ("0049 30 123456", "GB", "+4930123456"),
        ("030 123456", "DE", "+4930123456"),
        ("044 668 18 00", "CH", "+41446681800"),
        ("٠٧٧٠٠ ٩٠٠١٢٣", "GB", "+447700900123"),
    ],
)
def test_a_number_is_kept_as_e164(typed: str, country: str, kept: str) -> None:
    """ITU-T E.164; values computed with phonenumbers."""
    assert phone(typed, country) == kept


@pytest.mark.parametrize(
    "typed",
    [
        "abc",
        "12",
        "+",
        "+44 7700 900123 456789",
        "+1234567890123456",  # ITU-T E.164: at most 15 digits
        "+999 12345678",
        "07700 900123, 07700 900124",
        "call me",
        "🙂🙂🙂🙂🙂🙂🙂",
        "{{7*7}}",
        "<b>07700</b>",
        "' OR 1=1 --",
    ],
)
def test_what_cannot_be_a_number_is_refused_with_an_example_of_one(typed: str) -> None:
    with pytest.raises(Unfit, match=r"is not a phone number. Write it like 07700 900123") as refused:
        phone(typed, "GB")

    assert refused.value.field == "phone"


def test_a_number_has_an_end() -> None:
    with pytest.raises(Unfit, match="at most 40 fit"):
        phone("9" * 10_000, "GB")


@given(st.text(max_size=40))
def test_anything_typed_is_a_storable_number_or_refused(typed: str) -> None:
    try:
        kept = phone(typed, "GB")
    except Unfit:
        return

    assert kept == "" or (kept[0] == "+" and kept[1:].isdigit() and len(kept) <= 16)


@given(st.text(max_size=60) | st.emails())
def test_anything_typed_is_one_address_or_refused(typed: str) -> None:
    try:
        kept = email(typed)
    except Unfit:
        return

    assert kept == "" or (kept.count("@") == 1 and not set(kept) & set("\r\n ,;<>") and len(kept) <= 254)
