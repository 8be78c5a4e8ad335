"""What a ticket is found by: words in any spelling, and a phone by its last digits or as people dial it."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from portal.rules.search_words import asked, words_of

NATIONAL = st.from_regex(r"[1-9][0-9]{8,9}", fullmatch=True)


def finds(question: str, *, name: str = "", phone: str = "", device: str = "") -> bool:
    """Whether each prefix that the question asks for begins some word."""
    prefixes, words = asked(question), words_of(name, phone, device)
    return bool(prefixes) and all(any(word.startswith(prefix) for word in words) for prefix in prefixes)


@given(NATIONAL, st.integers(3, 9))
def test_a_phone_is_found_by_its_last_digits(number: str, count: int) -> None:
    assert finds(number[-count:], phone=f"+44{number}")


@given(NATIONAL, st.sampled_from(["0", "+44", "0044", "44", "00 44 "]))
def test_a_phone_is_found_as_people_dial_it(number: str, prefix: str) -> None:
    assert finds(f"{prefix}{number[:4]} {number[4:]}", phone=f"+44{number}")


@given(NATIONAL, NATIONAL)
def test_another_phone_is_not_found(number: str, other: str) -> None:
    assert finds(f"0{number}", phone=f"+44{other}") == other.endswith(number)


@pytest.mark.parametrize("question", ["muller", "MÜLLER", "Müller’s synth", "synth mull"])
def test_words_are_found_in_any_spelling(question: str) -> None:
    assert finds(question, name="Jo Müller", device="Müller’s synthesizer")


@pytest.mark.parametrize("question", ["", " ", "–", "12"])
def test_what_asks_for_nothing_finds_nothing(question: str) -> None:
    assert not finds(question, name="Jo", phone="+447700900123")
