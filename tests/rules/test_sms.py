"""What a text message costs: alphabet, units, segments, at the very edges; and how a text is made cheaper."""

from __future__ import annotations

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from portal.rules.sms import Alphabet, cost, plain, with_note

GSM7, UCS2 = Alphabet.GSM7, Alphabet.UCS2
YA, EMOJI = "я", "😀"
FAMILY, FLAG = "👩‍👩‍👦", "🇬🇧"


@pytest.mark.parametrize(
    ("text", "units", "segments"),
    [
        ("", 0, 0),
        ("a", 1, 1),
        ("a" * 160, 160, 1),
        ("a" * 161, 161, 2),
        ("a" * 306, 306, 2),
        ("a" * 307, 307, 3),
        ("a" * 459, 459, 3),
        ("a" * 460, 460, 4),
        ("€" * 80, 160, 1),
        ("€" * 81, 162, 2),
        ("a" * 158 + "€", 160, 1),
        ("a" * 159 + "€", 161, 2),
        # An escape and its character stay in one segment.
        ("a" * 152 + "€" + "a" * 151, 305, 2),
        ("a" * 152 + "€" + "a" * 152, 306, 3),
        ("€" * 153, 306, 3),
    ],
)
def test_a_text_in_the_seven_bit_alphabet(text: str, units: int, segments: int):
    assert (cost(text).alphabet, cost(text).units, cost(text).segments) == (GSM7, units, segments)


@pytest.mark.parametrize(
    ("text", "units", "segments"),
    [
        (YA * 70, 70, 1),
        (YA * 71, 71, 2),
        (YA * 134, 134, 2),
        (YA * 135, 135, 3),
        (EMOJI * 35, 70, 1),
        (EMOJI * 36, 72, 2),
        # Two surrogates stay in one segment.
        (YA * 66 + EMOJI + YA * 65, 133, 2),
        (YA * 66 + EMOJI + YA * 66, 134, 3),
        # One odd character turns all of it.
        ("a" * 69 + EMOJI, 71, 2),
        ("a" * 68 + EMOJI, 70, 1),
        (FAMILY, 8, 1),
        (FLAG, 4, 1),
    ],
)
def test_a_text_beyond_it(text: str, units: int, segments: int):
    assert (cost(text).alphabet, cost(text).units, cost(text).segments) == (UCS2, units, segments)


@pytest.mark.parametrize("letter", ["’", "\u00a0", "`", "\t", "á", "ê", "Ç", "ç"])
def test_what_turns_a_text_into_the_dear_alphabet(letter: str):
    assert cost(letter).alphabet is UCS2


@pytest.mark.parametrize("letter", [*"éèùìòàäöüñß£¥§¿¡Øåæ@_ΔΩ", "\n", *"^{}\\[~]|€"])
def test_what_does_not(letter: str):
    assert cost(letter).alphabet is GSM7


@pytest.mark.parametrize(
    ("typed", "sent"),
    [
        ("Don’t ring – it’s “ready”…", "Don't ring - it's \"ready\"..."),
        ("18\u202f€, \u00a0soon", "18 €,  soon"),
        ("Ângela ê Ça Łódź", "Ângela ê Ça Łódź"),  # Ł has no plain twin, so nothing is lost for nothing
        ("Ângela ê Ça", "Angela e Ca"),
        ("Größe, Äpfel, café", "Größe, Äpfel, café"),
        ("Ваш ноутбук готов’", "Ваш ноутбук готов’"),
        ("ready 😀 – soon", "ready 😀 – soon"),
    ],
)
def test_a_text_is_made_plain_where_that_makes_it_cheaper(typed: str, sent: str):
    assert plain(typed) == sent


@given(st.text(max_size=400))
@example("…" * 65)
def test_making_plain_never_costs_more_and_happens_once(text: str):
    made = plain(text)

    assert plain(made) == made
    assert cost(made).segments <= cost(text).segments
    assert cost(made).alphabet is GSM7 or made == text


@given(st.text(max_size=200))
@example("a" * 137)
@example("a" * 138)
def test_a_note_stands_behind_a_text_where_both_go_out_as_one(text: str):
    note = "Replies are not read."
    sent = with_note(text, note)

    assert sent in (text, f"{text} {note}")
    assert (sent != text) is (cost(f"{text} {note}").segments == 1)
    assert with_note(sent, note) == sent


@given(st.text(max_size=500))
def test_segments_hold_all_and_not_more_than_needed(text: str):
    told = cost(text)
    room = 153 if told.alphabet is GSM7 else 67

    assert told.units <= max(told.segments * room, 160 if told.alphabet is GSM7 else 70)
    # A pair that does not fit any more leaves at most one unit of a segment empty.
    assert told.segments <= 1 or told.units > (told.segments - 1) * (room - 1)
    if told.alphabet is UCS2:
        assert told.units == len(text.encode("utf-16-le", "surrogatepass")) // 2
