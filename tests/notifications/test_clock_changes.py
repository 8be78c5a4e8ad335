"""The nights on which the clocks change, in London and Berlin: each message goes once, by day, none is lost."""

from __future__ import annotations

from collections import Counter
from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

import pytest

from portal.actions.notes import note
from portal.store import policies
from tests.conftest import BENCH
from tests.notifications.test_letters import Shop, part, shop  # noqa: F401 (the same shop)

# Both zones change at 01:00 UTC on these days.
SPRING, AUTUMN = date(2026, 3, 29), date(2026, 10, 25)
EVERY = timedelta(minutes=30)


@pytest.fixture
def database_url(sqlite_database: str) -> str:
    """SQLite only: nothing here differs between databases."""
    return sqlite_database


def rule(shop: Shop, zone: str, begins: str) -> None:  # noqa: F811
    """A shop in a zone that sends from this time on, on every day."""
    with shop.desk.writing() as connection:
        text = policies.document(connection, 1)
        assert text is not None
        changed = text.replace('zone = "Europe/London"', f'zone = "{zone}"')
        for old, new in (
            ("day_begins = 08:00:00", f"day_begins = {begins}"),
            ("on_closed_days = false", "on_closed_days = true"),
            ("gather_minutes = 10", "gather_minutes = 0"),
        ):
            assert old in changed
            changed = changed.replace(old, new)
        policies.add(connection, changed, shop.desk.clock.now(), None)


@pytest.mark.parametrize("zone", ["Europe/London", "Europe/Berlin"])
@pytest.mark.parametrize("day", [SPRING, AUTUMN], ids=["spring", "autumn"])
@pytest.mark.parametrize("begins", ["08:00:00", "01:30:00", "02:30:00"])  # by day, and within either's gap or fold
def test_what_comes_up_in_the_night_goes_once_when_the_day_begins(
    shop: Shop,  # noqa: F811
    zone: str,
    day: date,
    begins: str,
):
    rule(shop, zone, begins)
    number = shop.arrive()
    shop.send()
    midnight = datetime.combine(day, time(0), ZoneInfo(zone)).astimezone(UTC)
    shop.desk.clock.at = midnight - timedelta(hours=2)
    went: Counter[str] = Counter()
    put, moments = [], []
    while shop.desk.clock.at < midnight + timedelta(hours=12):
        if shop.desk.clock.at < midnight + timedelta(hours=5):
            put.append(f"At {shop.desk.clock.at:%H:%M}Z.")
            note(shop.desk, BENCH, number, put[-1], audience="customer")
        for mail in shop.send():
            moments.append(shop.desk.clock.at)
            text = part(mail, "plain")
            went.update(each for each in put if each in text)
        shop.desk.clock.at += EVERY

    assert went == Counter(dict.fromkeys(put, 1))
    # The first of two such times, and within the gap an hour later on the wall (RFC 5545 3.3.5).
    assert moments[0] == datetime.combine(day, time.fromisoformat(begins), ZoneInfo(zone)).astimezone(UTC)
