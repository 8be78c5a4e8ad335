"""What becomes of a ready window: who is shown it, what it misses, which reason is one."""

from __future__ import annotations

from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from portal.language import language
from portal.rules.forecast import Thin, Window
from portal.rules.refusals import Refused, Unfit
from portal.rules.windows import (
    REASONS,
    Miss,
    Outlook,
    Why,
    fit_promise,
    fit_reason,
    misses,
    must_be_under_way,
    outlook,
    probably,
    will_be_missed,
)

TODAY = date(2026, 12, 1)
WINDOW = Window(date(2026, 12, 8), date(2026, 12, 11), date(2026, 12, 9), 0.8)


def said(window: Window | Thin = WINDOW, *, finished: int = 100, held: bool = True, shown: bool = True) -> Outlook:
    return outlook(window, window, finished=finished, needed=40, held=held, shown=shown)


def test_customers_are_shown_a_window_where_the_past_is_enough_and_has_held() -> None:
    assert said().why is Why.SHOWN
    assert said(held=False).why is Why.UNPROVEN
    assert said(shown=False).why is Why.OFF
    assert said(held=False).window == WINDOW  # for the bench


def test_without_a_window_it_is_said_what_is_lacking() -> None:
    assert said(finished=12) == Outlook(Why.THIN, None, None, 12, 40)
    assert said(Thin(3)) == Outlook(Why.THIN, None, None, 3, 20)
    assert said(Thin(30)) == Outlook(Why.OUTLASTED, None, None, 30, 20)


days = st.dates(date(2026, 1, 1), date(2027, 1, 1))


@given(days, days, days)
def test_a_day_is_likely_missed_after_the_middle_and_in_doubt_before_the_end(day: date, one: date, two: date) -> None:
    median, last = min(one, two), max(one, two)

    found = misses(day, median, last)

    assert (found is Miss.LIKELY) == (day < median)
    assert (found is None) == (day >= last)


def test_where_nothing_is_known_nothing_is_missed() -> None:
    assert misses(None, TODAY, TODAY) is None
    assert misses(TODAY, None, None) is None


@pytest.mark.parametrize(
    ("window", "promised", "told", "missed"),
    [
        (WINDOW, None, None, False),
        (WINDOW, None, date(2026, 12, 9), False),
        (WINDOW, None, date(2026, 12, 8), True),
        (WINDOW, date(2026, 12, 9), date(2026, 12, 8), False),  # the shop's word counts before what was reckoned
        (WINDOW, date(2026, 12, 8), None, True),
        (Thin(30), None, date(2026, 12, 8), True),  # outlasted everything
        (Thin(3), date(2026, 12, 1), None, False),
        (Thin(3), date(2026, 11, 30), None, True),
        (Thin(3), None, date(2026, 11, 1), False),  # what was told is not shown any more
    ],
)
def test_the_day_that_the_customer_reckons_with_is_missed(
    window: Window | Thin, promised: date | None, told: date | None, missed: bool
) -> None:
    assert will_be_missed(said(window), promised, told, TODAY) is missed


def test_of_a_window_that_is_not_shown_nobody_reckons_with_a_day() -> None:
    assert not will_be_missed(said(held=False), None, date(2026, 12, 2), TODAY)


@pytest.mark.parametrize(
    ("first", "last", "words"),
    [
        (date(2026, 12, 8), date(2026, 12, 11), "between Tuesday 8 and Friday 11 December"),
        (date(2026, 11, 28), date(2026, 12, 1), "between Saturday 28 November and Tuesday 1 December"),
        (date(2026, 12, 8), date(2026, 12, 8), "on Tuesday 8 December"),
    ],
)
def test_a_window_is_said_in_plain_words(first: date, last: date, words: str) -> None:
    told = language("en", "Europe/London").say(probably(first, last))

    assert told == f"Probably ready {words} (8 in 10 repairs like this)."


def test_a_promise_is_for_today_or_later() -> None:
    assert fit_promise(TODAY, TODAY) == TODAY
    for day in (None, TODAY - timedelta(days=1)):
        with pytest.raises(Unfit):
            fit_promise(day, TODAY)


def test_a_reason_is_one_of_the_list() -> None:
    assert [fit_reason(each) for each in REASONS] == list(REASONS)
    with pytest.raises(Unfit):
        fit_reason("")


@pytest.mark.parametrize(("stage", "ended"), [(None, False), ("cleaning", True), ("ready", False)])
def test_only_of_what_is_here_and_not_ready_anything_is_said(stage: str | None, ended: bool) -> None:
    with pytest.raises(Refused):
        must_be_under_way(stage, ended, "ready")
