"""A device is ready and nobody answers for a year: `sweep --at` day by day, and the mailbox as its owner reads it."""

from __future__ import annotations

import email
import json
from collections.abc import Iterator
from datetime import UTC, date, datetime, timedelta
from email import policy as mail_policy
from email.message import EmailMessage
from email.utils import parsedate_to_datetime
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest

from notifications.instants import FixedClock
from portal import resources
from portal.actions import formal_notices, moves
from portal.actions.intake import NewDevice, NewVisit, take_in
from portal.main import Installation, open_installation
from portal.rules.hours import open_spans
from portal.rules.policy import Policy
from portal.store import policies
from tests.actions.bench import bring_to
from tests.actions.test_formal_notices import LAW, TYPED, newest, post
from tests.conftest import BENCH, MONDAY, Run

LONDON = ZoneInfo("Europe/London")
SAID = {  # what each tone says and no other
    "friendly": "is ready and waits for you here.",
    "plain": "Please choose a day to collect it",
    "firm": "Our shelves are small",
    "last": "This is the last reminder of this kind.",
}


@pytest.fixture
def house(shop: Run, tmp_path: Path) -> Iterator[Installation]:
    """The shop of the command, with a clock that the test sets, and a policy that names a law."""
    opened = open_installation(tmp_path / "shop", clock=FixedClock(MONDAY))
    with opened.desk.writing() as connection:
        document = resources.default_policy().read_text(encoding="utf-8") + LAW
        policies.add(connection, document, MONDAY, None)
    yield opened
    opened.engine.dispose()


@pytest.fixture
def ready(house: Installation) -> str:
    """A radio that was ready on Monday, 2 March 2026; its owner was told, and says nothing."""
    arrival = NewVisit([NewDevice("Radio", "Hums")], name="Ada Marsh", email="ada@example.org")
    number = take_in(house.desk, BENCH, arrival).numbers[0]
    bring_to(house.desk, number, "ready")
    return number


def sweep_through(shop: Run, first: int, last: int, step: int = 1) -> None:
    """Sweep at ten o'clock of each day, weekends and holidays too, and each time once more, which does nothing."""
    for day in range(first, last + 1, step):
        at = (MONDAY + timedelta(days=day, hours=1)).isoformat()
        status, _out, err = shop("sweep", "remind", "send", "--at", at)
        assert (status, err) == (0, "")
    again = [json.loads(line) for line in shop("sweep", "remind", "send", "--at", at)[1].splitlines()]
    assert [each["done"] for each in again] == [0, 0]


def reminders(tmp_path: Path) -> list[tuple[date, str]]:
    """The day and the tone of each reminder in the mailbox, the oldest first."""
    found = []
    for file in (tmp_path / "shop" / "mail" / "new").iterdir():
        letter = email.message_from_bytes(file.read_bytes(), policy=mail_policy.default)
        assert isinstance(letter, EmailMessage)
        body = letter.get_body(("plain",))
        assert body is not None
        words = " ".join(body.get_content().split())
        if "no reminder comes until that is settled" in words:  # as only reminders say
            tones = [tone for tone, said in SAID.items() if said in words]
            day = parsedate_to_datetime(str(letter["Date"])).astimezone(LONDON).date()
            found.append((day, *tones))
    return sorted(found)  # type: ignore[return-value]


def test_each_reminder_comes_once_on_an_open_day_and_in_its_tone(
    shop: Run, house: Installation, tmp_path: Path, ready: str
) -> None:
    sweep_through(shop, 0, 45)
    sweep_through(shop, 50, 365, 15)

    assert reminders(tmp_path) == [
        (date(2026, 3, 5), "friendly"),
        (date(2026, 3, 9), "plain"),
        (date(2026, 3, 16), "firm"),
        (date(2026, 3, 30), "last"),
    ]
    with house.desk.reading() as connection:
        in_force: Policy = house.desk.policy(connection)
    assert all(open_spans(day, in_force.hours, LONDON) for day, _tone in reminders(tmp_path))


def test_none_comes_after_a_formal_notice_not_even_one_that_waits_for_the_morning(
    shop: Run, house: Installation, tmp_path: Path, ready: str
) -> None:
    sweep_through(shop, 0, 8)
    clock = house.desk.clock
    assert isinstance(clock, FixedClock)
    clock.at = MONDAY + timedelta(days=14, hours=-2)  # the morning on which the third is due, before the shop opens
    shop("sweep", "remind", "--at", (clock.at + timedelta(hours=3)).isoformat())  # put, and not sent
    formal_notices.make(house.desk, BENCH, ready, "collect", TYPED)
    post(house.desk, tmp_path, ready, newest(house.desk, ready).made_on.isoformat())

    sweep_through(shop, 14, 40)
    sweep_through(shop, 50, 365, 15)

    assert reminders(tmp_path) == [(date(2026, 3, 5), "friendly"), (date(2026, 3, 9), "plain")]


def test_not_ready_after_all_takes_back_the_reminder_that_waits_and_the_series_begins_anew(
    shop: Run, house: Installation, tmp_path: Path, ready: str
) -> None:
    sweep_through(shop, 0, 4)
    clock = house.desk.clock
    assert isinstance(clock, FixedClock)
    clock.at = datetime(2026, 3, 9, 8, 30, tzinfo=UTC)
    shop("sweep", "remind", "--at", "2026-03-09T10:00+00:00")  # the second is put, and not sent
    moves.move(house.desk, BENCH, ready, "testing", why="It hums again.")
    sweep_through(shop, 7, 20)
    clock.at = datetime(2026, 4, 1, 10, 0, tzinfo=UTC)
    moves.move(house.desk, BENCH, ready, "ready", confirmed=True)

    sweep_through(shop, 31, 80)

    assert reminders(tmp_path) == [
        (date(2026, 3, 5), "friendly"),
        (date(2026, 4, 7), "friendly"),  # 4 April, moved over the weekend and Easter Monday
        (date(2026, 4, 8), "plain"),
        (date(2026, 4, 15), "firm"),
        (date(2026, 4, 29), "last"),
    ]
