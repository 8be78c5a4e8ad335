"""`/health`: for whoever watches the site."""

from __future__ import annotations

import re
from datetime import timedelta

from notifications.instants import FixedClock
from portal.main import Installation
from tests.web.browser import Browser
from tests.web.conftest import on_both


@on_both
def test_a_site_whose_clock_has_swept_is_well(installation: Installation, client: Browser) -> None:
    list(installation.sweep())

    answer = client.get("/health")

    assert answer.status_code == 200
    assert answer.json == {"database": "ok", "storage": "ok", "clock": "alive"}


def test_a_clock_that_stands_still_is_told_and_the_site_still_answers(
    installation: Installation, client: Browser, clock: FixedClock
) -> None:
    list(installation.sweep())
    clock.at += timedelta(days=30)

    answer = client.get("/health")

    assert answer.status_code == 200
    assert answer.json["clock"].startswith("stale: ")
    assert "send" in answer.json["clock"]


@on_both
def test_the_staff_read_that_the_clock_stands_still(
    installation: Installation, staff_client: Browser, clock: FixedClock
) -> None:
    page = "/bench/today"
    assert "The clock stands still" in staff_client.get(page).text  # it has never run
    list(installation.sweep())
    assert "clock" not in staff_client.get(page).text.split("<main", 1)[1].split("<h2", 1)[0]

    clock.at += timedelta(hours=6)
    told = staff_client.get(page).text

    assert "The clock stands still: no message goes out" in told
    assert re.search(r"It was last seen Mon 2 Mar, 09:00\. Ask whoever .* benchwindow doctor", told)


def test_the_staff_read_that_one_sweep_was_not_done_and_that_the_time_went_back(
    installation: Installation, staff_client: Browser, clock: FixedClock
) -> None:
    list(installation.sweep())
    clock.at += timedelta(hours=6)
    list(installation.sweep(["send"]))
    assert "was not done for too long" in staff_client.get("/bench/today").text

    clock.at -= timedelta(days=2)
    assert "Nothing is deleted until somebody has looked at it." in staff_client.get("/bench/today").text


def test_it_answers_while_somebody_writes(installation: Installation, client: Browser) -> None:
    list(installation.sweep())

    with installation.desk.writing():
        answer = client.get("/health")

    assert answer.json["clock"] == "alive"


def test_a_photo_store_that_cannot_be_written_is_status_503(installation: Installation, client: Browser) -> None:
    (installation.settings.data / "photos").write_text("a file where the folder should be")

    answer = client.get("/health")

    assert answer.status_code == 503
    assert answer.json["storage"] == "cannot be written"


def test_a_database_that_does_not_answer_is_status_503(installation: Installation, client: Browser) -> None:
    with installation.engine.connect() as connection:
        connection.exec_driver_sql("ALTER TABLE heartbeats RENAME TO elsewhere")
        connection.commit()

    answer = client.get("/health")

    assert (answer.status_code, answer.json) == (503, {"database": "does not answer"})
