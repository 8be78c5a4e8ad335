"""Counts of tries hold across connections, and two tries at once count as two."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from datetime import timedelta
from threading import Barrier

from portal.actions.desk import Desk
from portal.rules.throttle import Verdict
from portal.store import throttles

KEY, OTHER = "a" * 64, "b" * 64
WINDOW = timedelta(minutes=10)


def hit(desk: Desk, key: str = KEY, limit: int = 2) -> Verdict:
    with desk.writing() as connection:
        return throttles.hit(connection, key, desk.clock.now(), limit, WINDOW)


def test_the_try_past_the_limit_hears_when_the_next_is_heard(desk: Desk) -> None:
    assert [hit(desk).allowed for _ in range(2)] == [True, True]

    assert hit(desk) == Verdict(False, desk.clock.now() + WINDOW)


def test_the_wait_grows_with_each_try_that_was_heard(desk: Desk) -> None:
    hit(desk), hit(desk)
    desk.clock.at += WINDOW
    assert hit(desk).allowed

    assert hit(desk).retry_at == desk.clock.now() + 2 * WINDOW


def test_another_key_is_not_counted_with_it(desk: Desk) -> None:
    hit(desk, limit=1)

    assert not hit(desk, limit=1).allowed
    assert hit(desk, OTHER, limit=1).allowed


def test_tries_are_cleared_for_one_key_only(desk: Desk) -> None:
    hit(desk, limit=1), hit(desk, OTHER, limit=1)

    with desk.writing() as connection:
        throttles.clear(connection, KEY)

    assert hit(desk, limit=1).allowed
    assert not hit(desk, OTHER, limit=1).allowed


def test_of_eight_tries_at_once_as_many_are_heard_as_the_limit_allows(desk: Desk) -> None:
    together = Barrier(8)

    def try_once(_place: int) -> bool:
        together.wait()
        return hit(desk, limit=3).allowed

    with ThreadPoolExecutor(8) as pool:
        heard = list(pool.map(try_once, range(8)))

    assert sum(heard) == 3
