"""Notices in a real browser: let by a press, sealed on their way, shown by the page's own script, opened by a press.

No push service of a browser's maker is asked: the test's own takes what the shop sends, and hands what it opened to
Chromium as such a service would.
"""

from __future__ import annotations

import json
from collections.abc import Callable
from datetime import timedelta

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Page, expect

from portal.actions.desk import Desk
from portal.actions.intake import TakenIn
from portal.actions.notes import note
from portal.main import Installation
from portal.rules.numbers import spoken
from portal.store import pushes
from tests.browser.conftest import Open
from tests.browser.test_customer_docket import sideways
from tests.conftest import BENCH
from tests.notifications.push_peer import Listening, PushService
from tests.web.test_customer_messages import contact_of, page_of
from tests.web.test_customer_notices import alone, installation, peer  # noqa: F401 (a shop that sends notices)

# What stands in for the push service of the browser's maker: an address at the test's own.
SUBSCRIBES = """(told) => {
  PushManager.prototype.subscribe = async (wanted) => {
    if (!wanted.userVisibleOnly || wanted.applicationServerKey.length !== 87) throw new Error("not as it should be");
    return { toJSON: () => told };
  };
}"""
# Pressing what is shown, in the worker; which page it opens is kept in place of being opened.
PRESSED = """async () => {
  self.clients.openWindow = async (link) => { self.opened = link; };
  WindowClient.prototype.focus = async function () { self.focused = this.url; };
  self.opened = self.focused = "";
  let notification; // Chromium may not tell of it for a moment while it looks what is really shown
  for (let tries = 0; !notification && tries < 100; tries += 1) {
    [notification] = await self.registration.getNotifications();
    if (!notification) await new Promise((goOn) => { setTimeout(goOn, 50); });
  }
  let done;
  const pressed = new NotificationEvent("notificationclick", { notification });
  pressed.waitUntil = (promise) => { done = promise; };
  self.dispatchEvent(pressed);
  await done;
  return [self.opened, self.focused, (await self.registration.getNotifications()).length];
}"""
# The browser tells the worker that it listens elsewhere now.
MOVED = """async ([old, endpoint, p256dh, auth]) => {
  const moved = new Event("pushsubscriptionchange");
  moved.oldSubscription = { endpoint: old, options: {} };
  moved.newSubscription = { toJSON: () => ({ endpoint, keys: { p256dh, auth } }) };
  let done;
  moved.waitUntil = (promise) => { done = promise; };
  self.dispatchEvent(moved);
  await done;
}"""
SHOWN = """async () => (await (await navigator.serviceWorker.ready).getNotifications()).map(
  ({ title, body, tag, lang }) => ({ title, body, tag, lang }))"""


def let(page: Page, browser: Listening) -> None:
    """Press the button that lets this browser show notices."""
    page.context.grant_permissions(["notifications"])
    device = browser.device
    told = {"endpoint": device.endpoint, "keys": {"p256dh": device.key, "auth": device.secret}}
    page.evaluate(SUBSCRIBES, told)
    page.get_by_role("button", name="Show notices on this device").click()
    expect(page.get_by_text("Kept.")).to_be_visible()


@pytest.fixture
def deliver() -> Callable[[Page, str], None]:
    """Hands a notice to the page's service worker, as its browser's push service would."""

    def handed(page: Page, text: str) -> None:
        talk = page.context.new_cdp_session(page)
        registrations: list[str] = []
        talk.on(
            "ServiceWorker.workerRegistrationUpdated",
            lambda told: registrations.extend(each["registrationId"] for each in told["registrations"]),
        )
        talk.send("ServiceWorker.enable")
        page.evaluate("navigator.serviceWorker.ready.then(() => true)")
        page.wait_for_function("true")  # events of the talk are heard while something is waited for
        assert registrations
        origin = page.evaluate("location.origin")
        talk.send(
            "ServiceWorker.deliverPushMessage",
            {"origin": origin, "registrationId": registrations[-1], "data": text},
        )
        talk.detach()

    return handed


def test_a_device_knows_itself_among_several(
    open_page: Open,
    desk: Desk,
    taken_in: TakenIn,
    peer: PushService,  # noqa: F811
) -> None:
    page = open_page(page_of(desk, taken_in))
    let(page, peer.browser("tablet"))
    expect(page.get_by_text("It is this one.")).to_be_hidden()
    mine = peer.browser("phone")
    page.add_init_script(
        f"PushManager.prototype.getSubscription = async () => ({{ endpoint: {json.dumps(mine.endpoint)} }});"
    )
    let(page, mine)

    expect(page.get_by_text("It is this one.")).to_have_count(2)
    expect(page.get_by_text("It is this one.").nth(0)).to_be_hidden()
    expect(page.get_by_text("It is this one.").nth(1)).to_be_visible()
    expect(page.get_by_role("button", name="Show notices on this device")).to_be_hidden()


def test_a_notice_is_shown_and_leads_to_the_page_of_the_repair(
    open_page: Open,
    desk: Desk,
    installation: Installation,  # noqa: F811
    taken_in: TakenIn,
    peer: PushService,  # noqa: F811
    deliver: Callable[[Page, str], None],
) -> None:
    own = page_of(desk, taken_in)
    page = open_page(own)
    browser = peer.browser()
    expect(page.get_by_text("scripts are not allowed in it")).to_be_hidden()
    let(page, browser)
    assert contact_of(desk, taken_in).has_push
    assert page.evaluate("navigator.serviceWorker.ready.then((each) => new URL(each.scope).pathname)") == "/t/"

    note(desk, BENCH, taken_in.numbers[0], "The port was worn.", audience="customer")
    desk.clock.at += timedelta(minutes=10)
    list(installation.sweep(["send"]))
    text = browser.opened(peer.got[-1].body).decode()
    deliver(page, text)
    shown = page.wait_for_function(f"({SHOWN})().then((shown) => shown.length === 1 && shown[0])").json_value()

    assert shown["body"] == f"News of repair {spoken(taken_in.numbers[0])}."
    assert (shown["title"], shown["lang"], shown["tag"]) == ("A small repair shop", "en", json.loads(text)["tag"])

    deliver(page, text)  # once more: it takes its own place
    page.wait_for_function(f"({SHOWN})().then((shown) => shown.length === 1)")
    (worker,) = page.context.service_workers
    opened, focused, left = worker.evaluate(PRESSED)
    assert (opened.removeprefix(page.evaluate("location.origin")), focused, left) == (
        own.removesuffix("/messages"),
        "",
        0,
    )
    page.goto(opened)
    expect(page.get_by_text("The port was worn.")).to_be_visible()

    deliver(page, text)  # the page is open by now: it is not opened a second time
    page.wait_for_function(f"({SHOWN})().then((shown) => shown.length === 1)")
    assert worker.evaluate(PRESSED) == ["", page.url, 0]


def test_a_browser_that_moves_takes_its_notices_along(
    open_page: Open,
    desk: Desk,
    taken_in: TakenIn,
    peer: PushService,  # noqa: F811
) -> None:
    page = open_page(page_of(desk, taken_in))
    let(page, peer.browser("old"))
    new = peer.browser("new").device
    page.evaluate("navigator.serviceWorker.ready.then(() => true)")
    (worker,) = page.context.service_workers

    worker.evaluate(MOVED, [peer.browser("old").endpoint, new.endpoint, new.key, new.secret])

    with desk.reading() as connection:
        assert [each.endpoint for each in pushes.of(connection, contact_of(desk, taken_in).ref)] == [new.endpoint]


@pytest.mark.parametrize("link", ["https://elsewhere.example/t/x", "//elsewhere.example/t/", "/bench/", "/t/../bench/"])
def test_a_notice_leads_nowhere_but_to_customers_pages(
    open_page: Open,
    desk: Desk,
    taken_in: TakenIn,
    peer: PushService,  # noqa: F811
    deliver: Callable[[Page, str], None],
    link: str,
) -> None:
    page = open_page(page_of(desk, taken_in))
    let(page, peer.browser())

    deliver(page, json.dumps({"title": "The bench", "body": "Come.", "link": link, "tag": "t", "lang": "en"}))
    page.wait_for_function(f"({SHOWN})().then((shown) => shown.length === 1)")

    (worker,) = page.context.service_workers
    assert worker.evaluate(PRESSED) == ["", "", 0]


def test_who_does_not_let_it_reads_why_nothing_happens(open_page: Open, desk: Desk, taken_in: TakenIn) -> None:
    page = open_page(page_of(desk, taken_in))
    page.evaluate("() => { Notification.requestPermission = async () => 'denied'; }")

    page.get_by_role("button", name="Show notices on this device").click()

    expect(page.get_by_role("status")).to_contain_text("does not let this page show notices")
    assert not contact_of(desk, taken_in).has_push


def test_a_push_service_that_cannot_be_reached_is_said(open_page: Open, desk: Desk, taken_in: TakenIn) -> None:
    page = open_page(page_of(desk, taken_in))
    page.context.grant_permissions(["notifications"])
    page.evaluate(
        "() => { PushManager.prototype.subscribe = async () => { throw new DOMException('', 'AbortError'); }; }"
    )

    page.get_by_role("button", name="Show notices on this device").click()

    expect(page.get_by_role("status")).to_contain_text("could not reach its push service")
    assert not contact_of(desk, taken_in).has_push


@pytest.mark.parametrize("scripts", [True, False], ids=["with scripts", "without scripts"])
def test_a_device_is_stopped_with_scripts_and_without(
    open_page: Open,
    desk: Desk,
    taken_in: TakenIn,
    peer: PushService,  # noqa: F811
    scripts: bool,
) -> None:
    let(open_page(page_of(desk, taken_in)), peer.browser())
    page = open_page(page_of(desk, taken_in), width=320, scripts=scripts)

    page.get_by_role("button", name="Show no more notices there").click()

    expect(page.get_by_role("status").first).to_contain_text("Kept.")
    assert not contact_of(desk, taken_in).has_push


@pytest.mark.parametrize("dark", [False, True], ids=["day", "night"])
def test_axe_finds_nothing_and_nothing_scrolls_sideways(
    open_page: Open,
    desk: Desk,
    taken_in: TakenIn,
    alone: TakenIn,  # noqa: F811
    peer: PushService,  # noqa: F811
    dark: bool,
) -> None:
    own = page_of(desk, taken_in)
    let(open_page(own), peer.browser())
    page = open_page("/", width=320, dark=dark)
    for each in (own, f"{own}?lang=de&noted=1", f"{alone.link.removeprefix('http://bench.test')}/messages"):
        page.goto(each)

        found = Axe().run(page)

        assert found.violations_count == 0, f"{each}: {found.generate_report()}"
        assert sideways(page) == 0, each
