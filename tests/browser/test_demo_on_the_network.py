"""The demo for a phone on the same network: another browser follows the links over the machine's own address."""

from __future__ import annotations

import threading
from datetime import UTC, datetime
from pathlib import Path

import waitress
from playwright.sync_api import Browser, expect
from waitress import wasyncore

from portal import demo, serving
from portal.main import open_installation
from portal.web.app import create_app
from seed.year import Size


def test_a_second_browser_follows_a_link_and_logs_in_over_the_machines_own_address(
    chrome: Browser, tmp_path: Path
) -> None:
    listening = serving.listen("0.0.0.0", 0)
    port = listening.getsockname()[1]
    made = demo.make(
        tmp_path / "shop", "0.0.0.0", port, now=datetime(2026, 11, 25, 14, 30, tzinfo=UTC), size=Size(2, 2)
    )
    house = open_installation(made.folder, environment={})
    sockets: dict[int, object] = {}
    server = waitress.create_server(create_app(house), sockets=[listening], map=sockets)
    thread = threading.Thread(target=server.run)
    thread.start()
    phone = chrome.new_context(viewport={"width": 360, "height": 740}, locale="en-GB")
    try:
        page = phone.new_page()
        page.goto(made.links[0][1])
        expect(page.get_by_text("Lantern Street Repairs").first).to_be_visible()

        page.goto(f"{made.base_url}/login")
        page.get_by_label("Name").fill("Robin")
        page.get_by_label("Password").fill(demo.LOGINS["Robin"][1])
        page.get_by_role("button", name="Log in").click()
        page.wait_for_url("**/bench/")  # over plain http: the login's cookie came back
    finally:
        phone.close()
        server.trigger.pull_trigger(lambda: wasyncore.close_all(sockets))
        thread.join()
        server.task_dispatcher.shutdown()
        house.engine.dispose()
