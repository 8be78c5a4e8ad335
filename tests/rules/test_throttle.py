"""How often something may be tried: freely up to a limit, then after waits that double."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from portal.rules.throttle import LONGEST_WAIT, Tally, forgotten_at, key, wait, weigh

NOW = datetime(2026, 3, 2, 9, 0, tzinfo=UTC)
WINDOW = timedelta(minutes=10)
LIMIT = 3


def test_tries_up_to_the_limit_go_freely() -> None:
    tally = None
    for _ in range(LIMIT):
        tally, verdict = weigh(tally, NOW, LIMIT, WINDOW)
        assert verdict.allowed

    assert tally == Tally(LIMIT, NOW)


def test_the_try_past_the_limit_is_refused_until_the_window_is_over() -> None:
    kept, verdict = weigh(Tally(LIMIT, NOW), NOW + WINDOW / 2, LIMIT, WINDOW)

    assert kept is None
    assert (verdict.allowed, verdict.retry_at) == (False, NOW + WINDOW)


def test_knocking_on_does_not_lengthen_the_wait() -> None:
    tally = Tally(LIMIT, NOW)
    for minute in range(10):
        kept, verdict = weigh(tally, NOW + timedelta(minutes=minute), LIMIT, WINDOW)
        assert (kept, verdict.retry_at) == (None, NOW + WINDOW)


@pytest.mark.parametrize(("tries", "minutes"), [(1, 0), (2, 0), (3, 10), (4, 20), (5, 40), (6, 80), (7, 160)])
def test_the_wait_doubles_with_every_try_past_the_limit(tries: int, minutes: int) -> None:
    assert wait(tries, LIMIT, WINDOW) == timedelta(minutes=minutes)


@pytest.mark.parametrize("tries", [20, 100, 10**9])
def test_no_wait_is_longer_than_a_day(tries: int) -> None:
    assert wait(tries, LIMIT, WINDOW) == LONGEST_WAIT


def test_a_wait_is_never_shorter_than_its_window() -> None:
    assert wait(LIMIT, LIMIT, timedelta(days=7)) == timedelta(days=7)


def test_all_is_forgotten_after_a_quiet_window_past_the_wait() -> None:
    tally = Tally(5, NOW)
    quiet_until = NOW + timedelta(minutes=40) + WINDOW

    assert forgotten_at(tally, LIMIT, WINDOW) == quiet_until
    assert weigh(tally, quiet_until, LIMIT, WINDOW)[0] == Tally(1, quiet_until)
    almost = quiet_until - timedelta(microseconds=1)
    assert weigh(tally, almost, LIMIT, WINDOW)[0] == Tally(6, almost)


@given(
    st.lists(st.timedeltas(timedelta(), timedelta(hours=3)), max_size=60),
    st.integers(1, 10),
    st.timedeltas(timedelta(seconds=1), timedelta(hours=2)),
)
def test_no_window_ever_hears_more_tries_than_the_limit(pauses: list[timedelta], limit: int, window: timedelta) -> None:
    tally, now, heard = None, NOW, []
    for pause in pauses:
        now += pause
        kept, verdict = weigh(tally, now, limit, window)
        assert verdict.allowed == (kept is not None)
        if kept:
            tally = kept
            heard.append(now)

    for first in heard:
        assert len([moment for moment in heard if first <= moment < first + window]) <= limit


def test_a_key_tells_its_subject_to_nobody_and_differs_by_purpose_subject_and_secret() -> None:
    keys = {
        key(secret, purpose, subject)
        for secret in (b"a", b"b")
        for purpose in ("login", "link")
        for subject in ("192.0.2.1", "192.0.2.2")
    }

    assert len(keys) == 8
    assert all(len(each) == 64 and int(each, 16) for each in keys)
