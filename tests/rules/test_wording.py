"""The shop's own words: placeholders and nothing else, faults by line, and values that are never read again."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from portal.rules.sms import cost
from portal.rules.wording import MOST, Fault, Part, as_text, as_typed, briefly, check, dear, filled, named
from portal.rules.wording_occasions import OCCASIONS, PLACEHOLDERS

READY = OCCASIONS["ready", "always"]
ASKED = OCCASIONS["question_put", "extra"]
POSTED = OCCASIONS["posted", "always"]
VALUES = {name: f"<{name}>" for name in PLACEHOLDERS}

any_text = st.text(st.characters(codec="utf-8"), max_size=60)
plain_text = st.text(
    st.characters(codec="utf-8", exclude_characters="{}\n\r\t", exclude_categories=["C", "Z"]), max_size=30
)


def told(faults: list[Fault]) -> list[str]:
    return [str(fault.sentence()) for fault in faults]


def text_of(part: Part, words: str, values: dict[str, str] = VALUES) -> str:
    return as_text(filled(part, words, values))


# What is refused


@pytest.mark.parametrize(
    ("words", "fault"),
    [
        ("Hello {nmae}", "Subject of the mail, line 1: There is no {nmae} here. Is {name} meant?"),
        ("Hello { name }", "Subject of the mail, line 1: There is no { name } here. Is {name} meant?"),
        (
            "Hello {name.__class__}",
            "Subject of the mail, line 1: There is no {name.__class__} here. See the list of what may stand between "
            "braces.",
        ),
        (
            "{shop:>9999999}",
            "Subject of the mail, line 1: There is no {shop:>9999999} here. See the list of what may stand between "
            "braces.",
        ),
        ("{}", "Subject of the mail, line 1: There is no {} here. See the list of what may stand between braces."),
        ("{0}", "Subject of the mail, line 1: There is no {0} here. See the list of what may stand between braces."),
        ("{carrier!r}", "Subject of the mail, line 1: There is no {carrier!r} here. Is {carrier} meant?"),
        ("Hello {name", "Subject of the mail, line 1: A brace is opened and not closed."),
        ("Hello name}", "Subject of the mail, line 1: A brace is closed that was not opened."),
        ("Bell \a", "Subject of the mail, line 1: There is a sign in it that cannot be seen (U+0007)."),
        ("Turned \u202e", "Subject of the mail, line 1: There is a sign in it that cannot be seen (U+202E)."),
        ("x" * 79, "Subject of the mail, line 1: It has 79 signs; at most 78 fit."),
        ("Two\nlines", "Subject of the mail, line 2: It is one line."),
    ],
)
def test_what_is_no_placeholder_or_no_subject_is_told_with_its_line(words: str, fault: str) -> None:
    assert told(check(POSTED, Part.SUBJECT, words)) == [fault]


def test_every_fault_is_told_at_once_in_the_order_of_its_lines() -> None:
    words = "Hello {nmae}\n\nIt is {redy.\n\n{choose_link} {to_pay}"

    assert told(check(READY, Part.TEXT, words)) == [
        "Text of the mail, line 1: There is no {nmae} here. Is {name} meant?",
        "Text of the mail, line 3: A brace is opened and not closed.",
        "Text of the mail, line 5: {code} is missing: the code: for collecting, or for answering a question.",
        "Text of the mail, line 5: {choose_link} must always be said, and this paragraph is left out where there is no "
        "{to_pay}. Give each a paragraph of its own.",
    ]


def test_a_text_message_must_carry_the_link() -> None:
    assert told(check(READY, Part.SMS, "Ready!")) == [
        "Text message, line 1: {link} is missing: the reader’s own link; in a question about money the link to the "
        "question."
    ]


def test_a_question_about_money_must_name_the_amounts_and_the_day() -> None:
    assert told(check(ASKED, Part.TEXT, "May we?")) == [
        "Text of the mail, line 1: {answer_by} is missing: day and hour until when an answer is wanted.",
        "Text of the mail, line 1: {options} is missing: a line for each thing proposed, with its price.",
    ]


@pytest.mark.parametrize("secret", ["name", "device", "code", "to_pay", "link"])
def test_a_notice_names_nothing_that_a_passer_by_should_not_read(secret: str) -> None:
    assert check(READY, Part.PUSH, "{number} is ready, says {shop}") == []
    assert told(check(READY, Part.PUSH, f"{{{secret}}}")) == [
        f"Notice on a device, line 1: {{{secret}}} does not belong into a notice, which others may see on the phone."
    ]


def test_a_placeholder_of_another_message_is_unknown() -> None:
    assert check(POSTED, Part.TEXT, "{carrier}") == []
    assert len(check(READY, Part.SUBJECT, "{carrier}")) == 1


@pytest.mark.parametrize("part", list(Part))
def test_no_words_stand_for_those_of_the_program(part: Part) -> None:
    assert check(ASKED, part, "") == check(ASKED, part, " \n ") == []


# What is said


def test_each_placeholder_is_put_in() -> None:
    assert text_of(Part.TEXT, "Hello {name},\nyour {device}.\n\n\n{link}") == (
        "Hello <name>,\nyour <device>.\n\n<link>"
    )


def test_a_paragraph_that_has_nothing_to_say_is_left_out() -> None:
    words = "Ready.\n\nYour code: {code}\nKeep it safe.\n\nTo pay: {to_pay}\n\n{choose_link}"

    assert text_of(Part.TEXT, words, VALUES | {"code": ""}) == "Ready.\n\nTo pay: <to_pay>\n\n<choose_link>"


@pytest.mark.parametrize("part", [part for part in Part if part is not Part.TEXT])
def test_one_line_that_lacks_something_to_say_is_given_up_whole(part: Part) -> None:
    assert text_of(part, "{number}: code {code}") == "<number>: code <code>"
    assert filled(part, "{number}: code {code}", VALUES | {"code": ""}) == ()


def test_words_that_name_what_is_unknown_by_now_are_given_up_whole() -> None:
    assert filled(Part.TEXT, "Hello {name}\n\n{gone}", VALUES) == ()


def test_a_value_is_never_read_for_placeholders() -> None:
    values = VALUES | {"device": "{link} {secret} {0.__class__} {device}"}

    assert text_of(Part.TEXT, "Your {device}", values) == "Your {link} {secret} {0.__class__} {device}"


def test_what_was_put_in_stays_known_as_such() -> None:
    ((first, second),) = filled(Part.SMS, "See {link}", VALUES)

    assert (first.text, first.placeholder) == ("See ", "")
    assert (second.text, second.placeholder) == ("<link>", "link")


@given(any_text)
def test_whatever_is_typed_is_either_refused_or_can_be_filled(typed: str) -> None:
    words = as_typed(typed)
    faults = check(POSTED, Part.SUBJECT, words)

    if not faults and words.strip():
        assert set(named(words)) <= set(POSTED.placeholders)
        assert "{" not in (said := text_of(Part.SUBJECT, words))
        assert "}" not in said
        assert len(words) <= MOST[Part.SUBJECT]
    assert all(1 <= fault.line <= words.count("\n") + 1 for fault in faults)


@given(st.lists(st.tuples(plain_text, st.sampled_from(sorted(PLACEHOLDERS))), max_size=6), any_text)
def test_filling_is_putting_each_value_in_once(pieces: list[tuple[str, str]], value: str) -> None:
    words = "".join(f"{text}{{{name}}}" for text, name in pieces)
    values = dict.fromkeys(PLACEHOLDERS, f"{value}.")

    said = filled(Part.SUBJECT, words, values)

    assert as_text(said) == "".join(f"{text}{value}." for text, _name in pieces)


@given(any_text)
def test_words_typed_twice_are_the_same(typed: str) -> None:
    assert as_typed(as_typed(typed)) == as_typed(typed)


# What it costs


def test_one_text_is_not_dear() -> None:
    assert dear("x" * 160) is None


def test_a_text_too_long_is_told_with_how_many_texts_it_makes() -> None:
    assert str(dear("x" * 161)) == (
        "The text message makes 2 texts, each of them paid for: it has 161 signs, and 160 fit into one."
    )


def test_the_signs_that_make_it_dear_are_named() -> None:
    assert str(dear("x" * 80 + "ł")) == (
        "The text message makes 2 texts, each of them paid for: ł leaves each of them room for only 70 signs."
    )


@given(any_text.map(lambda text: text * 5))
def test_exactly_what_makes_several_texts_is_dear(text: str) -> None:
    assert (dear(text) is not None) == (cost(text).segments > 1)


@given(st.text(min_size=1, max_size=60))
def test_a_brief_name_fits(name: str) -> None:
    assert len(briefly(name)) <= 24


# What there is


def test_every_occasion_may_name_what_it_must() -> None:
    assert [
        each.name for each in OCCASIONS.values() for must in each.must.values() if set(must) - set(each.placeholders)
    ] == []


def test_every_placeholder_is_used_somewhere() -> None:
    assert {name for each in OCCASIONS.values() for name in each.placeholders} == set(PLACEHOLDERS)
