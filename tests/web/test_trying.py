"""The page with three sides: in a demo only, for the demo's keeper only."""

from __future__ import annotations

import re
from collections.abc import Iterator
from datetime import UTC, datetime

import pytest

from portal import demo
from portal.main import open_installation
from portal.web.app import create_app
from seed.year import Size
from tests.web.browser import Browser, hidden


@pytest.fixture(scope="module")
def shop(tmp_path_factory: pytest.TempPathFactory) -> Iterator[demo.Demo]:
    folder = tmp_path_factory.mktemp("trying") / "shop"
    return demo.make(folder, "127.0.0.1", 8000, now=datetime(2026, 11, 25, 14, 30, tzinfo=UTC), size=Size(2, 4))


@pytest.fixture
def visitor(shop: demo.Demo) -> Iterator[Browser]:
    house = open_installation(shop.folder, environment={})
    app = create_app(house)
    app.test_client_class = Browser
    yield app.test_client()
    house.engine.dispose()


def come_in(visitor: Browser) -> str:
    """Press the button that lets the demo's keeper in; the address of the three sides."""
    page = visitor.get("/try/").text
    fields = {name: hidden(page, name) for name in ("csrf_token", "next", "name", "password")}
    return visitor.get(visitor.post("/login", data=fields).location).location


def test_a_real_shop_has_no_such_page_and_lets_nobody_frame_it(client: Browser) -> None:
    answer = client.get("/try/")

    assert answer.status_code == 404
    assert "frame-ancestors 'none'" in answer.headers["Content-Security-Policy"]
    assert "frame-src" not in answer.headers["Content-Security-Policy"]


def test_only_the_demos_own_pages_may_frame_its_pages(visitor: Browser) -> None:
    policy = visitor.get("/try/").headers["Content-Security-Policy"]

    assert "frame-ancestors 'self'" in policy
    assert "frame-src 'self'" in policy
    assert "'none'" in policy.split("default-src")[1][:8]


def test_a_stranger_is_shown_the_way_in_and_nothing_of_a_repair(visitor: Browser) -> None:
    answer = visitor.get("/try/1922-6")

    assert answer.status_code == 200
    assert "Come in as Kim, the keeper" in answer.text
    assert "/t/" not in answer.text


def test_the_bench_alone_does_not_see_a_customers_own_link(visitor: Browser) -> None:
    visitor.log_in("Robin", demo.LOGINS["Robin"][1])

    assert visitor.get("/try/").status_code == 403


def test_one_press_leads_to_a_repair_whose_three_sides_all_open(visitor: Browser) -> None:
    sides = visitor.get(come_in(visitor)).text

    addresses = re.findall(r'<iframe src="([^"]+)"', sides)
    assert len(addresses) == 3
    assert [visitor.get(address).status_code for address in addresses] == [200, 200, 200]
    assert any(address.startswith("/t/C") for address in addresses)  # the owner's own link


def test_something_new_is_another_word(visitor: Browser) -> None:
    address = come_in(visitor)
    before = visitor.get(f"{address}/news").text
    assert visitor.get(f"{address}/news").text == before

    number = address.rsplit("/", 1)[1]
    page = visitor.get(f"/bench/{number}").text
    fields = {name: hidden(page, name) for name in ("csrf_token", "seen", "deed_key")}
    visitor.post(f"/bench/{number}/note", data={**fields, "text": "Looked at the socket.", "audience": "bench"})

    assert visitor.get(f"{address}/news").text != before
