"""Collection codes: derived, read as people write them, and not to be guessed."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from portal.rules.collection_code import LETTERS, MOST_TRIES, WINDOW, Holder, code, grouped, opening, read
from portal.rules.throttle import Tally, forgotten_at, wait, weigh
from portal.rules.tokens import ALPHABET, LinkKind

SECRET = bytes(range(32))
ADA = Holder(LinkKind.CONTACT, "A1B2C3D4E5", 1)
TICKET = "Z9Y8X7W6V5"
REFS = st.text(ALPHABET, min_size=10, max_size=10)
HOLDERS = st.builds(
    Holder, st.sampled_from([LinkKind.CONTACT, LinkKind.DOCKET]), REFS, st.integers(1, 9), st.integers(0, 3)
)
MONDAY = datetime(2026, 3, 2, 9, tzinfo=UTC)


@given(holder=HOLDERS, ticket=REFS)
def test_a_code_is_six_letters_of_the_safe_alphabet_and_always_the_same(holder: Holder, ticket: str) -> None:
    made = code(SECRET, holder, ticket)

    assert len(made) == LETTERS
    assert set(made) <= set(ALPHABET)
    assert made == code(SECRET, holder, ticket)


@given(holder=HOLDERS, ticket=REFS)
def test_a_code_opens_however_it_is_written(holder: Holder, ticket: str) -> None:
    shown = grouped(code(SECRET, holder, ticket))

    for typed in (shown, shown.lower(), shown.replace("-", " "), f" {shown} ", shown.replace("0", "o")):
        assert opening(SECRET, typed, [ADA, holder], ticket) in (holder, ADA)


@pytest.mark.parametrize(
    ("other", "ticket"),
    [
        pytest.param(replace(ADA, ref="A1B2C3D4E6"), TICKET, id="another contact's"),
        pytest.param(ADA, "Z9Y8X7W6V4", id="another device's"),
        pytest.param(replace(ADA, version=2), TICKET, id="of a renewed link"),
        pytest.param(replace(ADA, used=1), TICKET, id="after one was used"),
        pytest.param(replace(ADA, kind=LinkKind.DOCKET), TICKET, id="of a docket with the same id"),
    ],
)
def test_another_code_does_not_open(other: Holder, ticket: str) -> None:
    assert opening(SECRET, code(SECRET, other, ticket), [ADA], TICKET) is None


@pytest.mark.parametrize(
    "typed", ["", "-", "4F7K2", "4F7K2MM", "4F7K2U", "４F7K2M", "ſſſſſſ", "4F7\x00K2M", "🙂🙂🙂🙂🙂🙂"]
)
def test_what_is_no_code_opens_nothing(typed: str) -> None:
    assert read(typed) == ""
    assert opening(SECRET, typed, [ADA], TICKET) is None


def test_nothing_opens_what_nobody_has_a_code_for() -> None:
    assert opening(SECRET, code(SECRET, ADA, TICKET), [], TICKET) is None


def most_tries(days: int, patience: timedelta) -> int:
    """How many codes somebody can try who knocks whenever they may, and after so many tries waits to be forgotten."""
    tally: Tally | None = None
    now, tries = MONDAY, 0
    while now < MONDAY + timedelta(days=days):
        if tally and tally.tries >= MOST_TRIES:
            heard_at = tally.tried_at + wait(tally.tries, MOST_TRIES, WINDOW)
            now = max(heard_at, min(forgotten_at(tally, MOST_TRIES, WINDOW), heard_at + patience))
        kept, verdict = weigh(tally, now, MOST_TRIES, WINDOW)
        assert verdict.allowed
        tally, tries = kept, tries + 1
    return tries


@pytest.mark.parametrize("patience", [timedelta(), timedelta(days=30)], ids=["knocks on", "waits to be forgotten"])
def test_somebody_who_tries_for_a_year_will_hardly_guess_a_code(patience: timedelta) -> None:
    """Two codes open at most (the owner's and a second person's), of 32**6; less than one in half a million."""
    tries = most_tries(365, patience)

    assert MOST_TRIES < tries <= 1_000
    assert tries * 2 / 32**LETTERS < 1 / 500_000
