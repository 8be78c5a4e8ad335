"""A passcode is asked about before it is written down; serial numbers and times never are."""

from __future__ import annotations

from datetime import time

import pytest
from hypothesis import given
from hypothesis import strategies as st

from portal.rules.imei import check_digit
from portal.rules.passcodes import gives_passcode_away
from portal.rules.refusals import AskFirst
from portal.rules.secrets import ask_about_secrets

WORDS = st.sampled_from(["PIN", "pin", "passcode", "Password", "unlock code", "Passwort", "Sperrcode", "Geheimzahl"])
BETWEEN = st.sampled_from([" ", ": ", " is ", " = ", " ist ", " lautet ", " – "])
CODES = st.text("0123456789", min_size=4, max_size=8)
DIGITS = st.text("0123456789", min_size=14, max_size=14)
TIMES = st.builds(
    lambda at, form: at.strftime(form),
    st.times(),
    st.sampled_from(["%H:%M", "%H:%M:%S", "%H.%M", "%H.%M Uhr", "%I:%M %p", "%I %p"]),
)


@pytest.mark.parametrize(
    "text",
    [
        "PIN 1234",
        "pin: 0815",
        "Passcode is 9 8 7 6",
        "1234 is the PIN",
        "His password is hunter2 he says",
        "Passwort lautet „Sommer“",
        "Kennwort: Sommer",
        "Screen lock 2-5-8-0",
        "Brought at 14:30, PIN 4711",
    ],
)
def test_a_word_for_a_passcode_with_a_code_beside_it_is_noticed(text: str) -> None:
    assert gives_passcode_away(text)


@pytest.mark.parametrize(
    "text",
    [
        "",
        "Customer knows the PIN and comes at 14:30.",
        "Pin 7 of the connector is bent",
        "The PIN is set anew by the owner",
        "Passcode removed on 2026-03-02",
        "Lock removed; password not needed",
        "Replaced 1234 and 5678",
        "Spinning 1234 times",
    ],
)
def test_a_harmless_note_is_not(text: str) -> None:
    assert not gives_passcode_away(text)


@given(WORDS, BETWEEN, CODES)
def test_any_number_told_as_a_passcode_is_noticed(word: str, between: str, code: str) -> None:
    assert gives_passcode_away(f"She says the {word}{between}{code}.")


@given(WORDS, BETWEEN, DIGITS, st.sampled_from(["", " ", "-"]))
def test_an_imei_never_triggers_the_question(word: str, between: str, body: str, joint: str) -> None:
    imei = joint.join([body[:2], body[2:8], body[8:], check_digit(body)])

    assert not gives_passcode_away(f"{word}{between}{imei}")
    assert not gives_passcode_away(f"{imei} {word}")


@given(WORDS, BETWEEN, TIMES)
def test_a_time_never_triggers_the_question(word: str, between: str, at: str) -> None:
    assert not gives_passcode_away(f"{word}{between}{at}")
    assert not gives_passcode_away(f"{at} {word}")


@given(st.text(max_size=300))
def test_no_text_breaks_the_question(text: str) -> None:
    assert gives_passcode_away(text) in (True, False)


def test_the_question_is_asked_once_and_dismissed_by_saying_so() -> None:
    with pytest.raises(AskFirst, match="looks like a passcode"):
        ask_about_secrets("Looks fine.", "PIN 1234", confirmed=False)

    ask_about_secrets("PIN 1234", confirmed=True)


def test_midnight_is_a_time() -> None:
    assert not gives_passcode_away(f"PIN {time(0, 0):%H:%M}")
