"""The right to cancel what was agreed at a distance: nothing taken for granted, and no work begun against it."""

from __future__ import annotations

import json
import tomllib
from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from portal import resources
from portal.rules.cancellation import (
    Begin,
    Settled,
    Told,
    last_day,
    must_be_as_shown,
    must_not_wait,
    of_document,
    settle,
)
from portal.rules.policy import Policy
from portal.rules.policy_check import check
from portal.rules.proof import canonical
from portal.rules.refusals import Refused, Unfit

TOLD = Told(14, "You may cancel.", "Please begin.")
AGREED = date(2026, 3, 2)


@pytest.mark.parametrize("begin", ["", "yes", "EARLY", "early "])
def test_nothing_is_agreed_until_somebody_chose_when_to_begin(begin: str) -> None:
    with pytest.raises(Unfit) as refused:
        settle(TOLD, begin, AGREED)
    assert refused.value.field == "begin"


@pytest.mark.parametrize("begin", list(Begin))
def test_the_day_of_the_agreement_does_not_count(begin: Begin) -> None:
    assert settle(TOLD, begin.value, AGREED) == Settled(TOLD, begin, date(2026, 3, 16))


def test_work_waits_until_the_day_after_the_last_on_which_it_can_be_cancelled() -> None:
    until = last_day(AGREED, 14)

    for today in (AGREED, until):
        with pytest.raises(Refused, match="can be cancelled until 2026-03-16"):
            must_not_wait(until, False, today)
    must_not_wait(until, False, until + timedelta(days=1))


def test_work_begins_at_once_where_they_asked_for_it_or_were_met() -> None:
    must_not_wait(last_day(AGREED, 14), True, AGREED)
    must_not_wait(None, None, AGREED)


@given(st.builds(Told, st.integers(1, 90), st.text(max_size=40), st.text(max_size=40)), st.sampled_from(Begin))
def test_the_proof_holds_the_exact_words_and_the_choice(told: Told, begin: Begin) -> None:
    settled = settle(told, begin.value, AGREED)

    document = canonical({"number": "4711-3", "cancelling": settled.facts()})

    assert of_document(document) == settled
    assert json.loads(document)["cancelling"]["right"] == told.right


def test_a_proof_of_what_was_agreed_at_the_counter_holds_nothing_of_it() -> None:
    assert of_document(canonical({"number": "4711-3"})) is None


@pytest.mark.parametrize(
    "other", [Told(7, TOLD.right, TOLD.request), Told(14, "You may not.", TOLD.request), Told(14, TOLD.right, "Begin!")]
)
def test_words_that_changed_meanwhile_are_not_agreed_to(other: Told) -> None:
    must_be_as_shown(TOLD, TOLD.mark)
    with pytest.raises(Refused, match="changed while you were reading"):
        must_be_as_shown(other, TOLD.mark)


DEFAULT = resources.default_policy().read_text(encoding="utf-8")


@pytest.mark.parametrize(
    ("old", "new", "fault"),
    [
        ("request.de = ", "request.fr = ", "cancellation.request.de: found no text."),
        ("days = 14\nright", "days = 0\nright", "cancellation.days: found the number 0."),
        ("days = 14\nright", "weeks = 2\nright", "cancellation.weeks: found an unknown key."),
    ],
)
def test_a_policy_tells_it_in_each_language_or_not_at_all(old: str, new: str, fault: str) -> None:
    assert check(DEFAULT) == []
    assert any(str(each.sentence()).startswith(fault) for each in check(DEFAULT.replace(old, new, 1)))


def test_the_words_that_a_policy_begins_with_name_the_time_to_give_money_back() -> None:
    cancellation = Policy.model_validate(tomllib.loads(DEFAULT)).cancellation

    assert cancellation is not None
    assert cancellation.days == 14
    assert all("14" in words for words in cancellation.right.values())
