"""Words between customers and the shop: bounded, by whom and how, and unread until somebody reads or answers them."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from portal.rules import conversation as rules
from portal.rules.refusals import Refused, Unfit

MONDAY = datetime(2026, 3, 2, 9, 0, tzinfo=UTC)
ENDS_THE_WAIT = [("words_read", {}), ("noted", {"answers": "2"})]
LEAVES_IT = [("noted", {}), ("said", {"how": "phone"}), ("moved", {"stage": "ready"}), ("rang", {"outcome": "reached"})]
EVENTS = st.lists(st.sampled_from([("wrote", {"writer": "owner"}), *ENDS_THE_WAIT, *LEAVES_IT]), max_size=12)


def test_words_are_needed_and_bounded() -> None:
    assert rules.written("  Is it\r\nready? ") == "Is it\nready?"
    for typed in ("", " \n ", "x" * (rules.LONGEST + 1)):
        with pytest.raises(Unfit) as refusal:
            rules.written(typed)
        assert refusal.value.field == "text"


@pytest.mark.parametrize("read", [rules.how, rules.outcome])
def test_only_what_is_offered_may_be_chosen(read) -> None:
    with pytest.raises(Unfit):
        read("pigeon")


def test_a_customer_sends_a_bounded_number_of_photos() -> None:
    rules.room_for_photo(rules.MOST_PHOTOS - 1)
    with pytest.raises(Refused):
        rules.room_for_photo(rules.MOST_PHOTOS)


@given(EVENTS)
def test_words_wait_from_the_first_that_came_after_the_last_reading(events: list) -> None:
    told = [(event, data, MONDAY + timedelta(hours=place)) for place, (event, data) in enumerate(events)]
    read = max((at for event, data, at in told if (event, data) in ENDS_THE_WAIT), default=MONDAY - timedelta(hours=1))
    wrote = [at for event, _data, at in told if event == "wrote" and at > read]

    assert rules.unread_since(told) == (wrote[0] if wrote else None)


@given(EVENTS)
def test_an_answer_is_to_the_newest_of_the_customers_own_words(events: list) -> None:
    told = [(place, event) for place, (event, _data) in enumerate(events, 1)]
    theirs = [place for place, event in told if event in ("wrote", "said")]

    assert rules.to_answer(told) == (theirs[-1] if theirs else None)
