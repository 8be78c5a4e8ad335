"""Notices on a customer's own device: let from their page, only by push services on the list, stopped there again."""

from __future__ import annotations

import io
import json
import re
from collections.abc import Iterator
from pathlib import Path
from random import Random

import pytest
from PIL import Image, ImageChops, ImageDraw
from sqlalchemy import func, select

from notifications.channels.push import PushChannel
from notifications.instants import FixedClock
from portal.actions.contacts import ContactTyped, change_contact
from portal.actions.desk import Desk
from portal.actions.intake import NewDevice, NewVisit, Second, TakenIn, take_in
from portal.actions.links import renew_contact, renew_docket
from portal.main import Installation
from portal.store.push_tables import push_devices
from portal.web.customer.notices import PAPER
from tests.conftest import BENCH, opened
from tests.notifications import push_peer
from tests.notifications.push_peer import PushService
from tests.web.browser import Browser, hidden
from tests.web.conftest import on_both
from tests.web.test_customer_docket import path_of
from tests.web.test_customer_messages import chosen_ways, contact_of, page_of, written


@pytest.fixture
def peer() -> Iterator[PushService]:
    with push_peer.serving() as peer:
        yield peer


@pytest.fixture
def installation(
    database_url: str, clock: FixedClock, chooser: Random, tmp_path: Path, peer: PushService
) -> Iterator[Installation]:
    """A shop that sends notices, by the test's own push service."""
    settings = {"PUSH_CONTACT": "mailto:repairs@example.org", "PUSH_HOSTS": f"push.example.org {peer.origin}"}
    with opened(database_url, tmp_path, clock, chooser, **settings) as house:
        yield house


def form(peer: PushService, name: str = "phone", **other: str) -> dict[str, str]:
    """What the page's script sends of a browser."""
    device = peer.browser(name).device
    return {"endpoint": device.endpoint, "key": device.key, "secret": device.secret} | other


def devices(page: str) -> list[str]:
    """The public ids of the devices that a page lists."""
    return re.findall(r'name="device" value="(\w+)"', page)


def rows(desk: Desk) -> int:
    with desk.reading() as connection:
        return connection.execute(select(func.count()).select_from(push_devices)).scalar_one()


@pytest.fixture
def alone(desk: Desk) -> TakenIn:
    """A device whose owner left no address at all."""
    return take_in(desk, BENCH, NewVisit([NewDevice("Radio", "Hums")], name="Ada"))


@on_both
def test_a_browser_is_let_show_notices_before_every_other_way(
    client: Browser, desk: Desk, taken_in: TakenIn, peer: PushService
) -> None:
    page = page_of(desk, taken_in)
    before = client.get(page).text
    assert devices(before) == []
    assert (
        f'data-key="{client.application.extensions["benchwindow"].post_office.channels["push"].public_key}"' in before
    )

    answer = client.post(f"{page}/notices", data=form(peer))

    assert (answer.status_code, answer.location) == (303, f"{page}?noted=1#notices")
    contact = contact_of(desk, taken_in)
    assert (contact.has_push, contact.channels) == (True, ["push", "mail", "sms", "ring"])
    assert written(desk, taken_in)[-1] == ("push_begun", {"contact": "owner"})
    after = client.get(f"{page}?noted=1").text
    assert len(devices(after)) == 1
    assert chosen_ways(after)[0] == "push"
    assert peer.origin not in after
    assert peer.got == []  # nothing is asked of the push service before there is something to say


@on_both
def test_a_form_posted_twice_and_a_browser_that_comes_again_make_one_device(
    client: Browser, desk: Desk, taken_in: TakenIn, peer: PushService
) -> None:
    page = page_of(desk, taken_in)
    key = re.findall(r'name="deed_key" value="(\w+)"', client.get(page).text)[-1]

    for typed in (form(peer, deed_key=key), form(peer, deed_key=key), form(peer)):
        assert client.post(f"{page}/notices", data=typed).status_code == 303

    assert rows(desk) == 1
    assert [event for event, _data in written(desk, taken_in)].count("push_begun") == 2


def test_several_devices_are_stopped_one_by_one_and_the_order_is_the_shops_again(
    client: Browser, desk: Desk, taken_in: TakenIn, peer: PushService
) -> None:
    page = page_of(desk, taken_in)
    for name in ("phone", "tablet"):
        client.post(f"{page}/notices", data=form(peer, name))
    first, second = devices(client.get(page).text)

    assert client.post(f"{page}/notices/stop", data={"device": first}).status_code == 303
    assert devices(client.get(page).text) == [second]
    assert contact_of(desk, taken_in).has_push

    client.post(f"{page}/notices/stop", data={"device": second})
    contact = contact_of(desk, taken_in)
    assert (contact.has_push, contact.channels) == (False, ["mail", "sms", "ring"])
    assert written(desk, taken_in)[-1] == ("push_stopped", {"contact": "owner"})


def test_who_chose_notices_alone_and_stops_them_is_reached_as_the_shop_does(
    client: Browser, desk: Desk, taken_in: TakenIn, peer: PushService
) -> None:
    page = page_of(desk, taken_in)
    client.post(f"{page}/notices", data=form(peer))
    assert client.post(page, data={"wants": "all", "way": ["push", ""]}).status_code == 303
    assert contact_of(desk, taken_in).channels == ["push"]

    client.post(f"{page}/notices/stop", data={"device": devices(client.get(page).text)[0]})

    assert contact_of(desk, taken_in).channels is None


@pytest.mark.parametrize(
    "wrong",
    [
        {"endpoint": "https://evil.example/1"},
        {"endpoint": "https://127.0.0.1/1"},
        {"endpoint": "https://push.example.org@169.254.169.254/1"},
        {"endpoint": "http://push.example.org/1"},
        {"endpoint": ""},
        {"endpoint": "https://push.example.org/" + "x" * 2000},
        {"key": ""},
        {"key": "x" * 5000},
        {"secret": "short"},
        {"secret": "\x00"},
    ],
)
def test_what_cannot_be_written_to_is_refused_and_changes_nothing(
    client: Browser, desk: Desk, taken_in: TakenIn, peer: PushService, wrong: dict[str, str]
) -> None:
    page = page_of(desk, taken_in)

    answer = client.post(f"{page}/notices", data=form(peer) | wrong)

    assert answer.status_code == 422
    assert "a service that this shop does not use" in answer.text
    assert (rows(desk), contact_of(desk, taken_in).has_push) == (0, False)
    assert [event for event, _data in written(desk, taken_in)] == ["arrived"]


def test_there_is_an_end_to_devices(client: Browser, desk: Desk, taken_in: TakenIn, peer: PushService) -> None:
    page = page_of(desk, taken_in)
    answers = [client.post(f"{page}/notices", data=form(peer, f"device-{place}")) for place in range(6)]

    assert [answer.status_code for answer in answers] == [303] * 5 + [422]
    assert "on 5 devices already" in answers[-1].text
    assert client.post(f"{page}/notices", data=form(peer, "device-3")).status_code == 303  # a known one comes again


def test_nobody_stops_the_device_of_another(client: Browser, desk: Desk, peer: PushService) -> None:
    second = Second(name="Eve", email="eve@example.org", may_be_told=True)
    taken = take_in(desk, BENCH, NewVisit([NewDevice("Phone", "")], email="ada@example.org", second=second))
    owners, seconds = page_of(desk, taken), page_of(desk, taken, "second")
    client.post(f"{owners}/notices", data=form(peer))

    answer = client.post(f"{seconds}/notices/stop", data={"device": devices(client.get(owners).text)[0]})

    assert answer.status_code == 422
    assert "shows no notices any more" in answer.text
    assert (rows(desk), contact_of(desk, taken, "second").has_push) == (1, False)


def test_another_sites_form_lets_nothing_show_notices(
    client: Browser, desk: Desk, taken_in: TakenIn, peer: PushService
) -> None:
    page = page_of(desk, taken_in)

    answer = client.post(f"{page}/notices", data=form(peer), headers={"Origin": "https://elsewhere.example"})

    assert (answer.status_code, rows(desk)) == (403, 0)


@on_both
def test_a_browser_that_listens_elsewhere_now_says_so_by_its_old_endpoint(
    client: Browser, desk: Desk, taken_in: TakenIn, peer: PushService
) -> None:
    for taken in (taken_in, take_in(desk, BENCH, NewVisit([NewDevice("Radio", "")], email="ada@example.org"))):
        client.post(f"{page_of(desk, taken)}/notices", data=form(peer, "old"))
    client.post(f"{page_of(desk, taken_in)}/notices", data=form(peer, "new"))
    old = peer.browser("old").endpoint

    for _time in range(2):
        assert client.post("/t/notices/moved", data=form(peer, "new", old=old)).status_code == 204

    with desk.reading() as connection:
        found = connection.execute(select(push_devices.c.endpoint)).scalars().all()
    assert found == [peer.browser("new").endpoint] * 2


@pytest.mark.parametrize(
    "wrong",
    [{"old": "https://push.example.org/guessed"}, {"endpoint": "https://10.0.0.1/"}, {"key": "none"}, {"old": ""}],
)
def test_whoever_does_not_know_the_old_endpoint_or_names_no_push_service_moves_nothing(
    client: Browser, desk: Desk, taken_in: TakenIn, peer: PushService, wrong: dict[str, str]
) -> None:
    client.post(f"{page_of(desk, taken_in)}/notices", data=form(peer, "old"))
    told = form(peer, "new", old=peer.browser("old").endpoint)

    assert client.post("/t/notices/moved", data=told | wrong).status_code == 204

    with desk.reading() as connection:
        found = connection.execute(select(push_devices.c.endpoint)).scalars().all()
    assert found == [peer.browser("old").endpoint]


# Whose link lets a device show notices


@on_both
def test_who_left_no_address_comes_by_the_docket(
    client: Browser, desk: Desk, alone: TakenIn, peer: PushService
) -> None:
    docket = path_of(alone.link)
    assert f"{docket}/messages" in client.get(docket).text

    assert client.post(f"{docket}/messages/notices", data=form(peer)).status_code == 303

    assert contact_of(desk, alone).channels == ["push", "mail", "sms", "ring"]


def test_the_docket_of_whoever_left_an_address_lets_nothing_show_notices(
    client: Browser, desk: Desk, taken_in: TakenIn, peer: PushService
) -> None:
    docket = path_of(taken_in.link)

    assert client.post(f"{docket}/messages/notices", data=form(peer)).status_code == 404
    assert client.get(f"{docket}/messages").status_code == 404
    assert client.get(f"{docket}/app.json").status_code == 404
    assert "/messages" not in client.get(docket).text
    assert rows(desk) == 0


def test_a_link_that_is_renewed_takes_its_devices_along(
    client: Browser, desk: Desk, taken_in: TakenIn, peer: PushService
) -> None:
    client.post(f"{page_of(desk, taken_in)}/notices", data=form(peer))
    renew_docket(desk, BENCH, taken_in.numbers[0])
    assert rows(desk) == 1  # the docket's link is not the one that let it

    renew_contact(desk, BENCH, taken_in.numbers[0], contact_of(desk, taken_in).ref)

    assert (rows(desk), contact_of(desk, taken_in).has_push) == (0, False)


def test_whose_only_phone_lies_on_the_bench_comes_by_the_docket_until_it_is_theirs_again(
    client: Browser, desk: Desk, peer: PushService
) -> None:
    on_bench = NewVisit([NewDevice("Phone", "Dark")], name="Ada", phone="07700 900123", phone_is_on_bench=True)
    taken = take_in(desk, BENCH, on_bench)

    assert client.post(f"{path_of(taken.link)}/messages/notices", data=form(peer)).status_code == 303
    assert contact_of(desk, taken).has_push
    change_contact(desk, BENCH, taken.numbers[0], "owner", ContactTyped(name="Ada", phone="07700 900123"))

    assert not contact_of(desk, taken).has_push
    assert client.get(f"{path_of(taken.link)}/messages").status_code == 404


@pytest.mark.parametrize("how", ["a renewed docket", "an address", "a number"])
def test_what_the_docket_let_show_notices_ends_with_it(
    client: Browser, desk: Desk, alone: TakenIn, peer: PushService, how: str
) -> None:
    client.post(f"{path_of(alone.link)}/messages/notices", data=form(peer))
    if how == "a renewed docket":
        renew_docket(desk, BENCH, alone.numbers[0])
    else:
        typed = {"email": "ada@example.org"} if how == "an address" else {"phone": "07700 900123"}
        change_contact(desk, BENCH, alone.numbers[0], "owner", ContactTyped(name="Ada", **typed))

    assert (rows(desk), contact_of(desk, alone).has_push) == (0, False)


# What goes with the page


def test_the_script_that_shows_notices_lies_where_it_may_open_customers_pages_alone(client: Browser) -> None:
    answer = client.get("/t/notices_worker.js")

    assert (answer.status_code, answer.headers["Cache-Control"]) == (200, "no-cache")
    assert answer.content_type.startswith("text/javascript")
    assert "Service-Worker-Allowed" not in answer.headers
    assert 'addEventListener("fetch"' not in answer.text  # it answers for no page


def test_the_page_can_be_put_on_the_home_screen(client: Browser, desk: Desk, taken_in: TakenIn) -> None:
    own = page_of(desk, taken_in).removesuffix("/messages")

    told = json.loads(client.get(f"{own}/app.json").text)

    assert (told["start_url"], told["scope"], told["display"]) == (own, own, "standalone")
    page = client.get(f"{own}/messages").text
    assert f'href="{own}/app.json"' in page
    assert "On an iPhone or iPad: open this page in Safari" in page


def test_its_icons_are_the_shops_own_and_small(client: Browser, desk: Desk, taken_in: TakenIn) -> None:
    """The sizes that browsers ask for; 180 is what an iPhone takes (from memory)."""
    own = page_of(desk, taken_in).removesuffix("/messages")
    icons = json.loads(client.get(f"{own}/app.json").text)["icons"]
    sizes = {each["src"]: each["sizes"] for each in icons} | {"/static/icon-180.png": "180x180"}

    assert sorted((each["sizes"], each["purpose"]) for each in icons) == [
        ("192x192", "any"),
        ("512x512", "any"),
        ("512x512", "maskable"),
    ]
    assert '<link rel="apple-touch-icon" href="/static/icon-180.png">' in client.get(f"{own}/messages").text
    for source, size in sizes.items():
        answer = client.get(source)
        assert answer.content_type == "image/png"
        assert len(answer.data) < 8_000
        with Image.open(io.BytesIO(answer.data)) as picture:
            assert "x".join(map(str, picture.size)) == size
            assert picture.convert("RGBA").getextrema()[3] == (255, 255)  # an iPhone paints black through holes


def test_an_icon_that_is_cut_loses_only_paper(client: Browser) -> None:
    """Of a maskable icon only the middle is sure to stay: a circle with a radius of 40 % of its width."""
    with Image.open(io.BytesIO(client.get("/static/icon-512-cut.png").data)) as picture:
        pixels = picture.convert("RGB")
    outside = Image.new("L", pixels.size, 255)
    ImageDraw.Draw(outside).ellipse((51, 51, 461, 461), fill=0)
    paper = Image.new("RGB", pixels.size, PAPER)

    drawn = ImageChops.difference(pixels, paper).convert("L").point(lambda level: 255 * (level > 8))

    assert drawn.getbbox() is not None
    assert ImageChops.multiply(drawn, outside).getbbox() is None


def test_the_bench_sees_that_a_device_shows_notices(
    client: Browser, staff_client: Browser, desk: Desk, taken_in: TakenIn, peer: PushService
) -> None:
    client.post(f"{page_of(desk, taken_in)}/notices", data=form(peer))

    page = staff_client.get(f"/bench/{taken_in.numbers[0]}", follow_redirects=True).text

    assert "notices on a device" in page
    assert "The customer lets a device show notices" in page
    assert peer.origin not in page


def test_without_scripts_the_page_says_what_is_needed(client: Browser, desk: Desk, taken_in: TakenIn) -> None:
    page = client.get(page_of(desk, taken_in)).text

    assert "scripts are not allowed in it" in page
    assert re.search(r"<form[^>]*data-notices[^>]* hidden>", page)
    assert hidden(page, "endpoint") == ""


class TestAShopThatSendsNone:
    """Whose settings say nothing of notices."""

    @pytest.fixture
    def installation(
        self, database_url: str, clock: FixedClock, chooser: Random, tmp_path: Path
    ) -> Iterator[Installation]:
        with opened(database_url, tmp_path, clock, chooser) as house:
            yield house

    def test_says_nothing_of_them(
        self, client: Browser, desk: Desk, taken_in: TakenIn, alone: TakenIn, peer: PushService
    ) -> None:
        page = page_of(desk, taken_in)

        assert "otice" not in client.get(page).text
        assert client.post(f"{page}/notices", data=form(peer)).status_code == 404
        assert "/messages" not in client.get(path_of(alone.link)).text
        assert client.get(f"{path_of(alone.link)}/messages").status_code == 404


def test_where_the_extra_is_missing_no_page_leads_to_what_is_not_there(
    client: Browser, alone: TakenIn, monkeypatch: pytest.MonkeyPatch
) -> None:
    assert "/messages" in client.get(path_of(alone.link)).text
    monkeypatch.setattr(PushChannel, "works", False)

    assert "/messages" not in client.get(path_of(alone.link)).text
    assert client.get(f"{path_of(alone.link)}/messages").status_code == 404
