"""A password is long and not easy to guess; nothing else is asked of it."""

from __future__ import annotations

import unicodedata

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from portal.rules import passwords
from portal.rules.passwords import LONGEST, SHORTEST
from portal.rules.refusals import Unfit

OWN = ["Harrow Lane Repairs", "Robin"]


@pytest.mark.parametrize(
    "typed",
    [
        "violet anvil fjord marmalade",
        "the heron ate my soldering flux",
        "drei Igel tanzen im Regen",
        "ночью чайник поёт басом",
        "犬も歩けば棒に当たるという諺があります",
        "🦔🦔 hedgehogs cross at dusk 🦔",
        "x9!Qv#r2Lm&z7Tp",
        "               spaces count too",
    ],
)
def test_a_long_password_of_any_letters_does(typed: str) -> None:
    assert passwords.password(typed, OWN) == typed


@pytest.mark.parametrize("length", [64, LONGEST])
def test_at_least_64_characters_are_accepted(length: int) -> None:
    """NIST SP 800-63B-4 section 3.1.1.2; OWASP ASVS 5.0 6.2.9."""
    typed = ("violet anvil fjord marmalade " * 12)[:length]

    assert passwords.password(typed, OWN) == typed


@pytest.mark.parametrize(
    ("typed", "told"),
    [
        ("", "missing"),
        ("fourteen chars", "14 characters"),
        ("v" * (LONGEST + 1), "too long"),
    ],
)
def test_a_length_that_does_not_do_is_told(typed: str, told: str) -> None:
    with pytest.raises(Unfit, match=told) as refused:
        passwords.password(typed, OWN)

    assert refused.value.field == "password"


@pytest.mark.parametrize(
    "typed",
    [
        "passwordpassword",
        "Password1234567890",
        "P@ssw0rdP@ssw0rd!",
        "passwort-passwort-2026",
        "qwertyuiopasdfghjkl",
        "qwertz qwertz qwertz",
        "iloveyouiloveyou",
        "letmein-letmein-letmein",
        "correct horse battery staple",
        "123456789012345",
        "9876543210987654321",
        "aaaaaaaaaaaaaaaa",
        "abcdefghijklmnop",
        "zyxwvutsrqponmlk",
        "xkqj xkqj xkqj xkqj",
        "harrow lane repairs",
        "HarrowLaneRepairs2026!",
        "Robin Robin Robin 1",
        "harrow-lane-robin-1999",
        "Summer2025Summer2026",
    ],
)
def test_a_password_made_of_common_pieces_patterns_or_own_names_is_refused(typed: str) -> None:
    with pytest.raises(Unfit, match="easy to guess"):
        passwords.password(typed, OWN)


@pytest.mark.parametrize("typed", ["alllowercaseandnodigitz", "ZEBRAS QUIETLY JUMP OVER", "0 digits or signs? fine"])
def test_no_rule_says_which_kinds_of_characters_there_must_be(typed: str) -> None:
    """OWASP ASVS 5.0 6.2.5."""
    assert passwords.password(typed, OWN) == typed


def test_an_accent_typed_on_another_keyboard_is_the_same_password() -> None:
    typed = "café au lait près du fourneau"

    assert passwords.password(unicodedata.normalize("NFD", typed), OWN) == passwords.password(typed, OWN)


@given(st.text(min_size=SHORTEST, max_size=LONGEST))
def test_a_password_is_refused_in_words_or_kept_unchanged(typed: str) -> None:
    assume(len(unicodedata.normalize("NFC", typed)) >= SHORTEST)
    try:
        kept = passwords.password(typed, OWN)
    except Unfit:
        return

    assert kept == unicodedata.normalize("NFC", typed)


@given(st.integers(min_value=0, max_value=999_999))
def test_most_pins_of_six_digits_do(number: int) -> None:
    typed = f"{number:06}"
    assume(
        typed != typed[:2] * 3 and typed != typed[:3] * 2 and typed not in "0123456789" and typed not in "9876543210"
    )

    assert passwords.pin(f" {typed} ") == typed


@pytest.mark.parametrize("typed", ["", "12345", "1234567", "12345a", "１２３４５６", "12 34 56", "-12345"])
def test_a_pin_has_six_digits(typed: str) -> None:
    with pytest.raises(Unfit, match="6 digits"):
        passwords.pin(typed)


@pytest.mark.parametrize("typed", ["123456", "654321", "000000", "777777", "121212", "123123"])
def test_a_pin_is_no_row_of_digits(typed: str) -> None:
    with pytest.raises(Unfit, match="easy to guess"):
        passwords.pin(typed)
