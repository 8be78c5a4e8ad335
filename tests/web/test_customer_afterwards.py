"""After the handover the customer's page shrinks, says how long the warranty runs, and ends with it."""

from __future__ import annotations

from datetime import timedelta

import pytest

from notifications.instants import FixedClock
from portal.actions import complaints, handover, retention
from portal.actions.desk import Desk, find
from portal.actions.intake import TakenIn
from portal.main import Installation
from portal.rules.numbers import spoken
from portal.store import journal
from tests.conftest import BENCH
from tests.web.browser import Browser
from tests.web.test_own_data_pages import contact_link as own_path


@pytest.fixture
def address(taken_in: TakenIn, desk: Desk) -> str:
    """The page of a device that was given back, which keeps it for 30 days."""
    handover.return_unrepaired(desk, BENCH, taken_in.numbers[0], "No part to be had")
    return "/t/" + taken_in.link.rpartition("/")[2]


def test_the_page_ends_when_its_time_is_over_with_a_kind_word(client: Browser, clock: FixedClock, address: str) -> None:
    clock.at += timedelta(days=29)
    assert client.get(address).status_code == 200

    clock.at += timedelta(days=2)
    over = client.get(address)

    assert over.status_code == 410
    assert "This page has ended" in over.text
    assert client.get(f"{address}/photos").status_code == 410
    assert client.get(f"{address}/state").status_code == 410


@pytest.mark.parametrize("years", [1, 8])
@pytest.mark.parametrize("whose", ["docket", "own"])
def test_a_page_that_is_erased_while_somebody_looks_ends_with_the_same_kind_word(
    client: Browser,
    installation: Installation,
    clock: FixedClock,
    address: str,
    taken_in: TakenIn,
    years: int,
    whose: str,
) -> None:
    page = address if whose == "docket" else own_path(installation.desk, taken_in.numbers[0])
    assert client.get(page).status_code == 200

    clock.at += timedelta(days=years * 366)
    retention.apply(installation.desk, installation.photo_files, clock.now())

    number = spoken(taken_in.numbers[0])
    for answer in (
        client.get(page),
        client.get(f"{page}/state", headers={"If-None-Match": '"1.1"'}),
        client.post(f"{page}/again/{number}", data={"again": "It went dark."}),
        client.post(f"{page}/data/erase", data={"passed": "0" * 64}),
    ):
        assert answer.status_code == 410
        assert "This page has ended" in answer.text


def test_a_complaint_keeps_the_page_and_the_page_says_so_and_until_when(
    client: Browser, keeper_client: Browser, desk: Desk, clock: FixedClock, address: str, taken_in: TakenIn
) -> None:
    number = spoken(taken_in.numbers[0])
    promise = "Until that is settled, and two weeks more, the page of this repair stays open"
    assert promise not in client.get(f"{address}/privacy").text
    complaints.complain(desk, taken_in.numbers[0], "It came back with a scratch.")
    for told in (client.get(f"{address}/privacy").text, keeper_client.get(f"/bench/{number}/data").text):
        assert "Still open: your complaint." in " ".join(told.split())
        assert promise in told

    clock.at += timedelta(days=40)
    assert client.get(address).status_code == 200
    assert client.get(f"{address}/complain/{number}").status_code == 200

    complaints.answer(desk, BENCH, taken_in.numbers[0], "We polish it.", closes=True)
    assert client.get(f"{address}/complain/{number}").status_code == 200  # the answer can be read
    clock.at += timedelta(days=14)
    assert client.get(f"{address}/complain/{number}").status_code == 410


def test_a_device_that_has_gone_wrong_again_is_told_to_the_bench_once(
    client: Browser, staff_client: Browser, desk: Desk, taken_in: TakenIn, address: str
) -> None:
    (number,) = taken_in.numbers
    answer = client.post(f"{address}/again/{spoken(number)}", data={"again": "It went dark on the way home."})

    assert answer.status_code == 303
    assert "You told us that it has gone wrong again." in client.get(address).text
    with desk.reading() as connection:
        last = journal.entries(connection, find(connection, number).id)[-1]
    assert (last.event, last.text) == ("gone_wrong_again", "It went dark on the way home.")
    assert "It went dark on the way home." in staff_client.get("/bench/today").text


def test_saying_it_without_words_is_refused(client: Browser, taken_in: TakenIn, address: str) -> None:
    answer = client.post(f"{address}/again/{spoken(taken_in.numbers[0])}", data={"again": "  "})

    assert answer.status_code == 422
    assert "What has gone wrong is missing" in answer.text


def test_a_device_that_is_still_here_cannot_have_gone_wrong_again(client: Browser, taken_in: TakenIn) -> None:
    at = "/t/" + taken_in.link.rpartition("/")[2]
    answer = client.post(f"{at}/again/{spoken(taken_in.numbers[0])}", data={"again": "Hm"})

    assert answer.status_code == 422
    assert "still here" in answer.text
