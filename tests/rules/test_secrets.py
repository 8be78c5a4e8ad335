"""Free text that looks like a card, an identity number or a passcode is asked about; what a bench writes is not."""

from __future__ import annotations

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from portal.rules.imei import check_digit
from portal.rules.refusals import AskFirst
from portal.rules.secrets import ask_about_secrets, gives_card_away, gives_identifier_away

SCHEMES = st.sampled_from([("4", 16), ("51", 16), ("55", 16), ("2221", 16), ("2720", 16), ("34", 15), ("37", 15)])
BETWEEN = st.sampled_from(["", " ", "-"])


def grouped(digits: str, between: str) -> str:
    return between.join(digits[place : place + 4] for place in range(0, len(digits), 4))


@given(SCHEMES, BETWEEN, st.text("0123456789", min_size=19, max_size=19))
def test_a_cards_number_is_noticed_however_it_is_grouped(scheme: tuple[str, int], between: str, filler: str) -> None:
    first, length = scheme
    body = (first + filler)[: length - 1]

    assert gives_card_away(f"She pays with {grouped(body + check_digit(body), between)}, until 12/29.")


@given(SCHEMES, st.text("0123456789", min_size=19, max_size=19), st.integers(1, 9))
def test_a_wrong_check_digit_is_no_card(scheme: tuple[str, int], filler: str, off: int) -> None:
    first, length = scheme
    body = (first + filler)[: length - 1]
    wrong = str((int(check_digit(body)) + off) % 10)

    assert not gives_card_away(body + wrong)


@given(st.sampled_from(["35", "86", "01", "99"]), st.text("0123456789", min_size=12, max_size=12))
def test_an_imei_is_no_card(reporter: str, rest: str) -> None:
    body = reporter + rest

    assert not gives_card_away(f"IMEI {body}{check_digit(body)}")


@pytest.mark.parametrize(
    "text",
    [
        "AB 12 34 56 C",
        "her number is qq123456c".replace("qq", "je"),
        "078-05-1120",
        "Steuer-ID 86095742719",  # the form's own example number
        "Rentenversicherung 15 070649 C 103",
    ],
)
def test_national_identifiers_are_noticed(text: str) -> None:
    assert gives_identifier_away(text)


@pytest.mark.parametrize(
    "text",
    [
        "",
        "Board 820-00165, U7600 replaced",
        "Ring +44 7700 900123 after 17:00",
        "07700900123",
        "Invoice 2026-03-0042",
        "GB123456C",  # no number begins so
        "Serial C02XK1ZTJGH5",
        "86095742718",  # a wrong check digit
        "12345678901",
        "000-12-3456",
        "capacitor 100 uF 35 V, 2-5-8 pins",
    ],
)
def test_what_a_bench_writes_is_not(text: str) -> None:
    assert not gives_identifier_away(text)
    assert not gives_card_away(text)


@given(st.text(max_size=300))
def test_no_text_breaks_the_question(text: str) -> None:
    assert gives_card_away(text) in (True, False)
    assert gives_identifier_away(text) in (True, False)


@given(st.text("0123456789", min_size=10, max_size=10).filter(lambda digits: digits[0] == "0"))
def test_a_telephone_number_never_triggers_it(rest: str) -> None:
    assume(len(rest) == 10)

    assert not gives_identifier_away(f"0{rest}")


def test_every_warning_is_told_at_once_and_one_tap_dismisses_them() -> None:
    text = "PIN 1234, card 4111 1111 1111 1111, AB123456C"

    with pytest.raises(AskFirst) as asked:
        ask_about_secrets("Fine.", text, confirmed=False)
    assert len(asked.value.reasons) == 3

    ask_about_secrets(text, confirmed=True)
