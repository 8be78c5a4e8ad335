"""The real site in waitress, and Debian's Chromium in front of it."""

from __future__ import annotations

import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager

import pytest
import waitress
from flask import Flask
from playwright.sync_api import Browser, Page, Route, sync_playwright
from waitress import wasyncore

from portal.actions.desk import By
from tests.pictures.conftest import heif_enc  # noqa: F401 (the same tool)
from tests.web.browser import PASSWORD
from tests.web.conftest import add_staff, app, database_url, desk, password_hash  # noqa: F401 (the same site)

QUIET = [
    "--headless",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]
Open = Callable[..., Page]


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    for item in items:
        if "browser" in item.path.parts:
            item.add_marker(pytest.mark.browser)
            item.add_marker(pytest.mark.flaky(reruns=1))  # a busy machine; the summary names each, for it may be a race


@pytest.fixture(scope="session")
def chrome(chromium: str) -> Iterator[Browser]:
    """One Chromium for the session; each test gets its own context."""
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=chromium, args=QUIET)
        yield browser
        browser.close()


@contextmanager
def served(app: Flask, **where: object) -> Iterator[int]:  # noqa: F811
    """Serves a site, and tells at which port; `where` is as waitress takes it."""
    sockets: dict[int, object] = {}
    server = waitress.create_server(app, threads=4, map=sockets, **where)
    thread = threading.Thread(target=server.run)
    thread.start()
    yield server.effective_port

    def stop() -> None:
        for channel in list(server.active_channels.values()):
            channel.handle_close()  # closes the files that are still on their way to a page that is gone
        wasyncore.close_all(sockets)

    server.trigger.pull_trigger(stop)
    thread.join()
    server.task_dispatcher.shutdown()


@pytest.fixture
def site(app: Flask) -> Iterator[str]:  # noqa: F811
    """The address at which the site answers."""
    with served(app, host="127.0.0.1", port=0) as port:
        yield f"http://127.0.0.1:{port}"


@pytest.fixture
def open_page(chrome: Browser, site: str) -> Iterator[Open]:
    """Opens a page of the site: `open_page("/", width=320, dark=True, scripts=False)`.

    Whatever it asks of anybody but the site is stopped and fails the test, as does any error in its console.
    """
    contexts, asked, faults = [], [], []

    def watch(route: Route) -> None:
        if route.request.url.startswith((site, "data:", "blob:")):
            route.continue_()
        else:
            asked.append(route.request.url)
            route.abort()

    def open_at(path: str, *, width: int = 360, dark: bool = False, scripts: bool = True, name: str = "") -> Page:
        context = chrome.new_context(
            base_url=site,
            viewport={"width": width, "height": 800},
            color_scheme="dark" if dark else "light",
            java_script_enabled=scripts,
            locale="en-GB",
        )
        contexts.append(context)
        context.set_default_timeout(15_000)
        context.route("**/*", watch)
        page = context.new_page()
        page.on("pageerror", lambda fault: faults.append(str(fault)))
        if name:
            log_in(page, name)
        page.goto(path)
        return page

    yield open_at
    for context in contexts:
        context.close()
    assert asked == [], "the page asked something of somebody else"
    assert faults == [], "a script failed"


def log_in(page: Page, name: str) -> None:
    """Log in by the form."""
    page.goto("/login")
    page.get_by_label("Name").fill(name)
    page.get_by_label("Password").fill(PASSWORD)
    page.get_by_role("button", name="Log in").click()
    page.wait_for_url("**/bench/")


@pytest.fixture
def at_bench(open_page: Open, technician: By) -> Open:
    """Opens pages as Robin of the bench."""

    def open_at(path: str, **how: object) -> Page:
        return open_page(path, name="Robin", **how)

    return open_at


@pytest.fixture
def as_keeper(open_page: Open, keeper: By) -> Open:
    """Opens pages as Kim, the keeper."""

    def open_at(path: str, **how: object) -> Page:
        return open_page(path, name="Kim", **how)

    return open_at
