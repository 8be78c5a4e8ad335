"""Makes the README's pictures from the demo, with Debian's Chromium: `python seed/screens/make.py`."""

from __future__ import annotations

import email
import email.policy
import html
import mailbox
import shutil
import tempfile
import threading
from pathlib import Path

import waitress
from PIL import Image
from playwright.sync_api import BrowserContext, ViewportSize, sync_playwright

from portal import demo
from portal.main import open_installation
from portal.store import tickets
from portal.web.app import create_app

HERE = Path(__file__).parent
PORT = 8765
PHONE: ViewportSize = {"width": 400, "height": 860}


def main() -> None:
    """Make the demo, serve it, take the pictures."""
    with tempfile.TemporaryDirectory() as folder:
        made = demo.make(Path(folder) / "shop", "127.0.0.1", PORT)
        house = open_installation(made.folder, environment={})
        server = waitress.create_server(create_app(house), host="127.0.0.1", port=PORT)
        threading.Thread(target=server.run, daemon=True).start()
        with house.desk.reading() as connection:
            busy = max(
                (line.ticket for line in tickets.open_tickets(connection) if line.ticket.stage == "testing"),
                key=lambda ticket: ticket.revision,
            )
        with sync_playwright() as playwright:
            chromium = playwright.chromium.launch(executable_path=shutil.which("chromium"), args=["--no-sandbox"])
            context = chromium.new_context(viewport=PHONE, device_scale_factor=1.5, locale="en-GB")
            link = next(link for what, link in made.links if what.endswith("Testing"))
            _picture(context, "customer", link)
            _picture(context, "message", _newest_letter(made.folder))
            _log_in(context, made.base_url)
            _picture(context, "bench", f"{made.base_url}/bench/")
            _picture(context, "ticket", f"{made.base_url}/bench/{busy.number}")
            chromium.close()
        server.close()
        house.engine.dispose()


def _picture(context: BrowserContext, name: str, address: str) -> None:
    page = context.new_page()
    if address.startswith("http"):
        answer = page.goto(address)
        if answer is None or not answer.ok:
            raise RuntimeError(f"No picture of {name}: the page does not open.")
    else:
        page.set_content(address)
    file = HERE / f"{name}.png"
    page.screenshot(path=file)
    page.close()
    # Paper and ink need few colours.
    Image.open(file).convert("RGB").quantize(64).save(file, optimize=True)


def _newest_letter(folder: Path) -> str:
    """The newest English letter to a customer, as a mail program shows it."""
    letters = [
        email.message_from_bytes(each.as_bytes(), policy=email.policy.default)
        for each in mailbox.Maildir(folder / "mail")
    ]
    letter = next(each for each in reversed(letters) if each["Content-Language"] == "en")
    body = letter.get_body(("html",))
    subject = html.escape(letter["Subject"])
    words = body.get_content() if body else ""
    return (
        f'<div style="font: 16px sans-serif; padding: 1em; overflow-wrap: anywhere"><b>{subject}</b><hr>{words}</div>'
    )


def _log_in(context: BrowserContext, base_url: str) -> None:
    page = context.new_page()
    page.goto(f"{base_url}/login")
    page.get_by_label("Name").fill("Robin")
    page.get_by_label("Password").fill(demo.LOGINS["Robin"][1])
    page.get_by_role("button", name="Log in").click()
    page.wait_for_url("**/bench/**")
    page.close()


if __name__ == "__main__":
    main()
