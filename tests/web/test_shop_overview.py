"""`/shop/`: what waits for the keeper, and the year in bars, tables and files."""

from __future__ import annotations

import csv
import io
import re

import pytest

from portal.actions.complaints import complain
from portal.actions.desk import Desk
from portal.actions.intake import NewVisit, take_in
from portal.actions.moves import hold
from portal.main import Installation
from portal.rules.stages import Hold
from tests.actions.lives import one_counted_and_one_here
from tests.conftest import BENCH
from tests.web.browser import Browser
from tests.web.conftest import on_both
from tests.web.test_customer_docket import counted

KEYS = ("stay", "here", "age", "kept", "asked", "answer", "told")


@pytest.fixture
def lived(desk: Desk, arrival: NewVisit) -> str:
    """The number of a repair that is here, beside one that has ended and is counted."""
    return one_counted_and_one_here(desk, arrival)


def test_a_shop_with_no_past_has_a_page_that_says_so(keeper_client: Browser) -> None:
    page = keeper_client.get("/shop/")

    assert page.status_code == 200
    assert "There is nothing to show yet." in page.text
    assert "Nothing." in page.text


def test_what_waits_is_counted_and_leads_there(lived: str, keeper_client: Browser, desk: Desk) -> None:
    hold(desk, BENCH, lived, Hold.DISPUTE.value)

    page = keeper_client.get("/shop/").text

    assert re.search(r'<span class="figures">1</span> in dispute, or claimed by somebody else', page)


@pytest.mark.parametrize(("times", "words"), [(1, "complaint to answer"), (2, "complaints to answer")])
def test_one_is_said_as_one(
    lived: str, keeper_client: Browser, desk: Desk, arrival: NewVisit, times: int, words: str
) -> None:
    numbers = [lived, take_in(desk, BENCH, arrival).numbers[0]]
    for number in numbers[:times]:
        complain(desk, number, "It hums")

    assert f'<span class="figures">{times}</span> {words}<' in keeper_client.get("/shop/").text


@on_both
def test_every_picture_is_drawn_told_in_a_table_and_there_as_a_file(lived: str, keeper_client: Browser) -> None:
    page = keeper_client.get("/shop/").text

    for key in KEYS:
        assert f'<section class="picture" aria-labelledby="{key}">' in page
        assert keeper_client.get(f"/shop/figures/{key}").status_code == 200
        answer = keeper_client.get(f"/shop/figures/{key}.csv")
        assert answer.mimetype == "text/csv"
    assert "<rect" in page
    assert "<script" not in re.sub(r"<head>.*?</head>", "", page, flags=re.DOTALL)
    rows = list(csv.reader(io.StringIO(keeper_client.get("/shop/figures/stay.csv").text.removeprefix("\ufeff"))))
    received = next(row for row in rows if row[0] == "Received")
    assert sum(int(count) for count in received[1:]) == 1


def test_the_picture_leads_to_the_repairs_behind_it(lived: str, keeper_client: Browser) -> None:
    assert f"/bench/{lived[:-1]}-{lived[-1]}" in keeper_client.get("/shop/figures/age").text


def test_a_picture_that_there_is_not_is_not_found(keeper_client: Browser) -> None:
    assert keeper_client.get("/shop/figures/profit").status_code == 404
    assert keeper_client.get("/shop/figures/profit.csv").status_code == 404


def test_the_bench_does_not_see_the_keepers_figures(staff_client: Browser) -> None:
    assert staff_client.get("/shop/").status_code == 403
    assert staff_client.get("/shop/figures/stay.csv").status_code == 403


def test_the_page_takes_five_statements_and_the_login(
    lived: str, keeper_client: Browser, installation: Installation
) -> None:
    keeper_client.get("/shop/")

    with counted(installation.engine) as statements:
        keeper_client.get("/shop/")

    of_the_door = [each for each in statements if "logins" in each]
    assert len(statements) - len(of_the_door) <= 5, statements
