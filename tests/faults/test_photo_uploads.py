"""Uploads to the site as it is really run: killed in the middle of one, and flooded with files."""

from __future__ import annotations

import http.client
import os
import signal
import subprocess
import sys
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from portal.actions import photos as deeds
from portal.actions.intake import NewDevice, NewVisit, take_in
from portal.actions.people import add_staff
from portal.main import Installation, open_installation
from portal.rules.numbers import spoken
from tests.actions.photo_shelf import kept
from tests.conftest import BENCH
from tests.phone import FORM, Phone
from tests.pictures.samples import as_bytes, four_corners
from tests.test_serving import Site, wait_until
from tests.web.browser import PASSWORD

pytestmark = pytest.mark.slow
PICTURE = as_bytes(four_corners(2000, 1500), "PNG", compress_level=0)  # some megabytes, so that sending takes a while
GROWS_AT_MOST = 40_000  # kilobytes


@pytest.fixture
def house(tmp_path: Path) -> Iterator[Installation]:
    """A shop with somebody at the bench."""
    subprocess.run([sys.executable, "-m", "portal", "--data", str(tmp_path), "init"], check=True, capture_output=True)
    opened = open_installation(tmp_path, environment={})
    add_staff(opened.desk, BENCH, "Robin", PASSWORD, "bench")
    yield opened
    opened.engine.dispose()


@pytest.fixture
def number(house: Installation) -> str:
    """A device in it."""
    return spoken(take_in(house.desk, BENCH, NewVisit([NewDevice("Console", "Dead.")], name="Ada Marsh")).numbers[0])


@pytest.fixture
def site(house: Installation) -> Iterator[Site]:
    """The site in front of it."""
    served = Site(house.settings.data, "--no-clock")
    wait_until(served.answers, "the site answers")
    yield served
    if served.process.poll() is None:
        served.process.terminate()
    served.process.wait()


@pytest.fixture
def phone(site: Site) -> Iterator[Phone]:
    """Robin's phone."""
    made = Phone(site.port)
    made.log_in("Robin")
    yield made
    made.close()


def files_in(house: Installation) -> list[Path]:
    return [path for path in (house.settings.data / "photos").rglob("*") if path.is_file()]


@pytest.mark.parametrize("sent", [0.5, 1.0], ids=["half of it sent", "all of it sent"])
def test_a_site_killed_in_mid_upload_has_no_row_without_its_files_and_no_file_after_the_sweep_without_its_row(
    house: Installation, number: str, site: Site, phone: Phone, sent: float
) -> None:
    body = phone.form(number, PICTURE, PICTURE, PICTURE)
    connection = http.client.HTTPConnection("127.0.0.1", site.port)
    connection.putrequest("POST", f"/bench/{number}/photos")
    for name, value in (phone.headers(FORM) | {"Content-Length": str(len(body))}).items():
        connection.putheader(name, value)
    connection.endheaders(body[: int(len(body) * sent)])

    for pid in (site.process.pid, *site.workers()):
        os.kill(pid, signal.SIGKILL)
    site.process.wait()

    now = datetime.now(UTC)
    deeds.sweep_up(house.desk, house.photo_files, now + timedelta(days=2))
    rows = kept(house.desk, number)
    assert len(rows) < 3
    assert sorted(path.name for path in files_in(house)) == sorted(
        f"{row.ref}-{size}.jpg" for row in rows for size in ("large", "small")
    )
    connection.close()


def test_thousands_of_files_at_once_leave_the_site_as_it_was(
    house: Installation, number: str, site: Site, phone: Phone
) -> None:
    (worker,) = site.workers()
    assert phone.send(number, PICTURE) == 303
    before = most_kilobytes(worker)

    for _ in range(3):
        assert phone.send(number, *[b"\xff\xd8\xff" + bytes(100)] * 5_000) == 413

    assert most_kilobytes(worker) - before < GROWS_AT_MOST
    assert phone.send(number, PICTURE) == 303
    assert len(kept(house.desk, number)) == 2


def most_kilobytes(pid: int) -> int:
    """The most memory that the process ever held (proc(5), VmHWM)."""
    lines = Path(f"/proc/{pid}/status").read_text(encoding="ascii").splitlines()
    return int(next(line for line in lines if line.startswith("VmHWM")).split()[1])
