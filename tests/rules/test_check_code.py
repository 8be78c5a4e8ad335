"""A report's check code: what the shop printed is known again, anything else is not."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta

from hypothesis import assume, given
from hypothesis import strategies as st

from portal.rules.check_code import Judged, Paper, check_code, judge

SECRET = bytes(range(32))
PAPER = Paper("1457-4", "Handheld console, blue", date(2026, 3, 2), "What we found: corrosion.\nWhat we did: cleaned.")
PAPERS = st.builds(
    Paper,
    st.integers(10, 10**8).map(str),
    st.text(max_size=40),
    st.dates(date(2026, 1, 1), date(2036, 1, 1)),
    st.text(max_size=200),
)


@given(PAPERS)
def test_what_was_printed_is_known_again(paper: Paper) -> None:
    judged = judge(SECRET, paper, check_code(SECRET, paper))

    assert judged.head
    assert judged.words in (True, None)


@given(PAPERS, st.sampled_from(["number", "device", "day"]), st.text("abc123", min_size=1, max_size=5))
def test_another_head_is_not(paper: Paper, part: str, more: str) -> None:
    other = {
        "number": replace(paper, number=f"{paper.number}{len(more)}"),
        "device": replace(paper, device=f"{paper.device}{more}"),
        "day": replace(paper, day=paper.day + timedelta(days=len(more))),
    }[part]

    assert judge(SECRET, other, check_code(SECRET, paper)) == Judged(False, False if judged_words(other) else None)


def judged_words(paper: Paper) -> bool:
    return any(letter.isalnum() for letter in paper.words)


def test_a_word_changed_is_noticed() -> None:
    changed = replace(PAPER, words=PAPER.words.replace("cleaned", "replaced"))

    assert judge(SECRET, changed, check_code(SECRET, PAPER)) == Judged(head=True, words=False)


def test_without_its_words_only_the_head_is_judged() -> None:
    assert judge(SECRET, replace(PAPER, words=" – \n"), check_code(SECRET, PAPER)) == Judged(head=True, words=None)


def test_how_it_is_typed_does_not_matter() -> None:
    code = check_code(SECRET, PAPER)
    typed = Paper("14574", "  handheld CONSOLE blue ", PAPER.day, " what we found corrosion what we did:   cleaned")

    assert judge(SECRET, typed, code.lower().replace("-", " ").replace("0", "o").replace("1", "l")) == Judged(
        head=True, words=True
    )


@given(st.text(max_size=60))
def test_no_code_is_guessed(typed: str) -> None:
    assume(typed != check_code(SECRET, PAPER))

    assert not judge(SECRET, PAPER, typed).head


def test_another_shops_secret_makes_another_code() -> None:
    assert not judge(bytes(32), PAPER, check_code(SECRET, PAPER)).head
