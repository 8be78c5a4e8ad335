"""The main job from end to end at a phone's width: a device arrives, moves, is refused once; its owner follows it."""

from __future__ import annotations

import mailbox
import re
from datetime import timedelta
from email import message_from_bytes
from email.message import EmailMessage
from email.policy import default

import pytest
from playwright.sync_api import Page, expect

from portal.actions.desk import Desk, find
from portal.main import Installation
from portal.rules.stages import Event, rebuild
from portal.store import journal
from tests.browser.conftest import Open


def press(page: Page, name: str) -> None:
    page.get_by_role("button", name=name, exact=True).first.click()


def mail(installation: Installation) -> list[EmailMessage]:
    """What has gone out."""
    box = mailbox.Maildir(installation.settings.mailbox)
    return [message_from_bytes(letter.as_bytes(), policy=default) for letter in box]


@pytest.mark.parametrize("scripts", [True, False], ids=["with scripts", "without scripts"])
def test_a_repair_is_taken_in_moved_refused_noted_mailed_and_followed(
    at_bench: Open, open_page: Open, installation: Installation, desk: Desk, scripts: bool
) -> None:
    bench = at_bench("/bench/take-in", scripts=scripts)
    bench.fill("#name", "Ada Marsh")
    bench.fill("#email", "ada@example.org")
    bench.fill("#device-0", "Handheld console, blue")
    bench.fill("#fault-0", "Does not charge any more.")
    press(bench, "Take in")
    number = bench.locator(".number").first.inner_text().strip()
    assert re.fullmatch(r"\d{4}-\d", number)

    bench.goto(f"/bench/{number}")
    press(bench, "to Board work")
    if bench.get_by_role("button", name="Move there all the same").count():
        press(bench, "Move there all the same")
    assert "Board work since" in bench.locator(".sheet .said").inner_text()

    bench.locator("summary", has_text="Back to an earlier stage").click()
    press(bench, "back to Received")
    assert "The reason for going back is missing" in bench.get_by_role("alert").inner_text()

    bench.fill("#text-note", "The charging socket was torn off. We are fitting a new one.")
    press(bench, "For the customer too")
    expect(bench.locator(".journal li", has_text="The charging socket was torn off.")).to_be_visible()
    desk.clock.at += timedelta(minutes=10)  # notes gather for so long
    assert next(installation.sweep(["send"]))[1].failed == 0

    letters = mail(installation)
    assert len(letters) == 3
    told = "\n".join(letter.get_body(("plain",)).get_content() for letter in letters)
    assert "The charging socket was torn off." in told
    link = re.search(r"/t/[0-9A-Z]{37}", told)
    assert link is not None

    customer = open_page(link[0], scripts=scripts)
    page = customer.locator("main").inner_text()
    assert number in page
    assert "The charging socket was torn off." in page
    assert "Ada" not in page
    with desk.reading() as connection:
        ticket = find(connection, number)
        entries = journal.entries(connection, ticket.id)
    assert rebuild([Event(entry.event, entry.data) for entry in entries]) == ticket.standing
