"""A purge that is killed at any moment, or has no room, has done whole steps only, and the next one goes on."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
from collections import Counter
from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path
from random import Random

import pytest
from sqlalchemy import select

from notifications.instants import FixedClock
from portal.actions import photos, retention
from portal.actions.handover import return_unrepaired
from portal.actions.intake import NewDevice, NewVisit, take_in
from portal.main import Installation, open_installation
from portal.rules.retention import OF_A_VISIT, Kept
from portal.store.keeping_tables import keeping, purges
from portal.store.tables import contacts
from tests.conftest import BASE_URL, BENCH, MONDAY, SECRET, load_default_policy
from tests.pictures.samples import as_bytes, four_corners

VISITS, KILLS = 45, 8  # three steps of twenty for each kind
LATER = MONDAY + timedelta(days=70)


@pytest.fixture
def house(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Installation]:
    """A shop in which much is due."""
    for name, value in {"BENCHWINDOW_SECRET_KEY": SECRET.hex(), "BENCHWINDOW_BASE_URL": BASE_URL}.items():
        monkeypatch.setenv(name, value)
    monkeypatch.setenv("LATER", LATER.isoformat())
    house = open_installation(tmp_path, clock=FixedClock(MONDAY))
    load_default_policy(house.desk)
    for place in range(VISITS):
        visit = NewVisit([NewDevice(f"Radio {place}", "Hums.")], f"Ada {place}", f"a{place}@example.org")
        number = take_in(house.desk, BENCH, visit).numbers[0]
        if place < 3:
            photos.add(house.desk, house.photo_files, BENCH, number, as_bytes(four_corners()), confirmed=True)
        return_unrepaired(house.desk, BENCH, number, "As it came.")
    yield house
    house.engine.dispose()


def purge(house: Installation, how: str) -> subprocess.CompletedProcess[str]:
    command = [sys.executable, "-m", "tests.faults.purger", str(house.settings.data), how]
    root = Path(__file__).parents[2]
    return subprocess.run(command, capture_output=True, text=True, check=False, cwd=root, env=os.environ)


def assert_only_whole_steps_were_done(house: Installation) -> int:
    """What is written down as gone is what is gone; tells how many kinds of visits that were."""
    with house.desk.reading() as connection:
        assert connection.exec_driver_sql("PRAGMA integrity_check").scalar_one() == "ok"
        left = Counter(connection.execute(select(keeping.c.kept)).scalars())
        gone: Counter[str] = Counter()
        for kept, number in connection.execute(select(purges.c.kept, purges.c.count)):
            gone[kept] += number
        people = len(connection.execute(select(contacts.c.id)).all())
    assert {kept: left[kept] + gone[kept] for kept in OF_A_VISIT} == dict.fromkeys(OF_A_VISIT, VISITS)
    assert people == left[Kept.CONTACT]
    return sum(gone[kept] for kept in OF_A_VISIT)


def test_killed_at_random_moments_it_goes_on_where_it_stopped(house: Installation) -> None:
    chance, gone = Random(9), [0]
    for _kill in range(KILLS):
        ran = purge(house, f"dies:{chance.randint(1, 500)}")
        assert ran.returncode == -signal.SIGKILL, ran.stderr
        gone.append(assert_only_whole_steps_were_done(house))
    assert gone == sorted(gone)
    assert 0 < gone[-1] < VISITS * len(OF_A_VISIT), "nothing shows that it was killed half-way"

    retention.apply(house.desk, house.photo_files, LATER, most=2**31)

    assert_only_whole_steps_were_done(house)
    assert not any(each.count for each in retention.due(house.desk, LATER))
    photos.sweep_up(house.desk, house.photo_files, LATER + timedelta(days=3650))  # what a kill left of files
    assert list(house.photo_files.all()) == []


def test_without_room_nothing_is_half_gone_and_with_room_it_goes_on(house: Installation) -> None:
    with house.engine.connect().execution_options(isolation_level="AUTOCOMMIT") as connection:
        connection.exec_driver_sql("PRAGMA wal_checkpoint(TRUNCATE)")

    ran = purge(house, "full:40000")

    assert ran.returncode != 0
    assert "database or disk is full" in ran.stderr or "disk I/O error" in ran.stderr, ran.stderr
    assert_only_whole_steps_were_done(house)
    retention.apply(house.desk, house.photo_files, LATER, most=2**31)
    assert not any(each.count for each in retention.due(house.desk, LATER))
