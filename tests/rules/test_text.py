"""Typed text: what cannot be seen goes, what was meant stays, and there is an end to it."""

from __future__ import annotations

import unicodedata

import pytest
from hypothesis import given
from hypothesis import strategies as st

from portal.rules.refusals import Unfit
from portal.rules.sentences import say
from portal.rules.text import LONG, SHORT, line, passage

WHAT = say("The note")


def one(typed: str, **more: object) -> str:
    return line("text", WHAT, typed, **more)


def several(typed: str, **more: object) -> str:
    return passage("text", WHAT, typed, **more)


@pytest.mark.parametrize(
    ("typed", "kept"),
    [
        pytest.param("a\x00b", "ab", id="NUL, which PostgreSQL cannot store"),
        pytest.param("a\x1b[31mb", "a[31mb", id="escape, which colours a terminal"),
        pytest.param("a\x7fb\x9bc", "abc", id="delete and C1 controls"),
        pytest.param("cod\u202egpj.exe", "codgpj.exe", id="right-to-left override"),
        pytest.param("\u2067a\u2069\u200f", "a", id="isolates and marks"),
        pytest.param("a\ue000b", "ab", id="private use"),
        pytest.param("a\ud800b", "ab", id="lone surrogate, which UTF-8 cannot write"),
        pytest.param("a\u2028b", "a b", id="line separator"),
        pytest.param("a\u2029b", "a b", id="paragraph separator"),
        pytest.param("  a \t b  ", "a b", id="white space folds"),
        pytest.param("a\r\nBcc: all@example.org", "a Bcc: all@example.org", id="a header's line break"),
        pytest.param("e\u0301", "é", id="NFC"),
        pytest.param("שלום", "שלום", id="right-to-left letters stay"),
        pytest.param("👩\u200d🔧", "👩\u200d🔧", id="a joined emoji stays whole"),
        pytest.param("❤\ufe0f", "❤\ufe0f", id="a coloured heart stays coloured"),
        pytest.param('<b>7 < 9</b> & "x"', '<b>7 < 9</b> & "x"', id="HTML is only text"),
        pytest.param("{{7*7}} {name}", "{{7*7}} {name}", id="templates are only text"),
        pytest.param("'; DROP TABLE tickets; --", "'; DROP TABLE tickets; --", id="SQL is only text"),
    ],
)
def test_a_line_keeps_what_can_be_seen(typed: str, kept: str) -> None:
    assert one(typed) == kept


@pytest.mark.parametrize(
    ("typed", "kept"),
    [
        ("one\r\ntwo\rthree\u2028four\x0bfive\x85six", "one\ntwo\nthree\nfour\nfive\nsix"),
        ("\n\n  first  \n\n second\n\n", "first\n\n second"),
        ("a\tb", "a b"),
        (" \n\t\n ", ""),
    ],
)
def test_a_passage_keeps_its_lines(typed: str, kept: str) -> None:
    assert several(typed) == kept


@pytest.mark.parametrize(("fit", "limit"), [(one, SHORT), (several, LONG)])
def test_text_may_be_as_long_as_its_limit_and_no_longer(fit, limit: int) -> None:
    assert fit("é" * limit) == "é" * limit
    with pytest.raises(Unfit, match=rf"The note has {limit + 1} characters; at most {limit} fit.") as refused:
        fit("é" * (limit + 1))
    assert refused.value.field == "text"


def test_ten_thousand_characters_are_refused_with_their_count() -> None:
    with pytest.raises(Unfit, match="has 10000 characters; at most 120 fit"):
        one("x" * 10_000)


@pytest.mark.parametrize("typed", ["", "   ", "\x00", "\u202e", "\r\n"])
@pytest.mark.parametrize("fit", [one, several])
def test_what_must_be_there_is_missed_when_nothing_of_it_can_be_seen(fit, typed: str) -> None:
    assert fit(typed) == ""
    with pytest.raises(Unfit, match=r"The note is missing. Please fill it in."):
        fit(typed, required=True)


@given(st.text(st.characters(), max_size=SHORT // 4))
def test_text_that_was_brought_into_form_stays_as_it_is(typed: str) -> None:
    kept = one(typed)

    assert one(kept) == kept
    assert unicodedata.is_normalized("NFC", kept)
    assert several(several(typed)) == several(typed)


@given(st.text(st.characters(), max_size=SHORT // 4))
def test_any_text_can_be_stored_and_printed_afterwards(typed: str) -> None:
    kept = several(typed)

    assert kept.encode("utf-8").decode("utf-8") == kept
    assert not [letter for letter in kept if letter != "\n" and unicodedata.category(letter) == "Cc"]
