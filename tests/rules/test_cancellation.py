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
from portal.rules.hours import holiday_on
from portal.rules.policy import Hours, Policy
from portal.rules.policy_check import check
from portal.rules.proof import canonical
from portal.rules.refusals import Refused, Unfit

TOLD = Told(14, "You may cancel.", "Please begin.")
AGREED = date(2026, 3, 2)


@pytest.mark.parametrize("begin", ["", "yes", "EARLY", "early "])
def test_nothing_is_agreed_until_somebody_chose_when_to_begin(begin: str) -> None:
    with pytest.raises(Unfit) as refused:
        settle(TOLD, begin, last_day(AGREED, 14))
    assert refused.value.field == "begin"


@pytest.mark.parametrize("begin", list(Begin))
def test_the_day_of_the_agreement_does_not_count(begin: Begin) -> None:
    assert settle(TOLD, begin.value, last_day(AGREED, 14)) == Settled(TOLD, begin, date(2026, 3, 16))


@pytest.mark.parametrize(
    ("agreed", "last", "why"),
    [
        # Regulation (EEC, Euratom) No 1182/71 Art. 3(1): the day of the agreement does not count; Art. 3(4): a time
        # that ends on a public holiday, a Sunday or a Saturday ends with the last hour of the next working day.
        (date(2026, 3, 2), date(2026, 3, 16), "a Monday, as it is"),
        (date(2026, 3, 6), date(2026, 3, 20), "a Friday, as it is"),
        (date(2026, 3, 7), date(2026, 3, 23), "Saturday the 21st, so Monday"),
        (date(2026, 3, 8), date(2026, 3, 23), "Sunday the 22nd, so Monday"),
        (date(2026, 3, 20), date(2026, 4, 7), "Good Friday the 3rd, so Tuesday after Easter Monday"),
        (date(2026, 12, 11), date(2026, 12, 28), "Christmas Day, a Friday, so Monday"),
    ],
)
def test_by_the_law_of_the_union_the_time_ends_on_a_working_day(agreed: date, last: date, why: str) -> None:
    german = Hours.model_validate({"public_holidays": "DE"})

    assert last_day(agreed, 14, lambda day: bool(holiday_on(day, german))) == last, why


@given(st.dates(date(2020, 1, 1), date(2040, 1, 1)), st.integers(1, 90))
def test_a_time_is_never_shorter_than_its_days_and_ends_soon_after_them(agreed: date, days: int) -> None:
    german = Hours.model_validate({"public_holidays": "DE"})

    last = last_day(agreed, days, lambda day: bool(holiday_on(day, german)))

    assert timedelta(days=days) <= last - agreed <= timedelta(days=days + 4)  # four: from Good Friday over Easter
    assert last.weekday() < 5


@pytest.mark.parametrize(("law", "is_lengthened"), [("", False), ("uk", False), ("eu", True)])
def test_the_policy_says_whose_law_counts(law: str, is_lengthened: bool) -> None:
    # SI 2013/3134 reg. 30 gives fourteen days and says nothing of lengthening them.
    cancellation = Policy.model_validate(tomllib.loads(DEFAULT)).cancellation
    assert cancellation is not None
    assert cancellation.law == ""
    assert cancellation.model_copy(update={"law": law}).to_working_day is is_lengthened


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
    settled = settle(told, begin.value, last_day(AGREED, told.days))

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
        ("days = 14\n", "days = 0\n", "cancellation.days: found the number 0."),
        ("days = 14\n", "weeks = 2\n", "cancellation.weeks: found an unknown key."),
        ("days = 14\n", 'law = "US"\n', "cancellation.law: found"),
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
