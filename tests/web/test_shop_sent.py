"""What went out: the keeper sees what was told about which repair, and what could not be delivered."""

from __future__ import annotations

from datetime import timedelta

import pytest
from flask import Flask
from sqlalchemy import update

from notifications import outbox as outbox_of
from notifications.channels import mail
from notifications.tables import STATES, outbox
from portal import resources
from portal.actions import notes
from portal.actions.desk import By, Desk
from portal.actions.intake import TakenIn
from portal.main import Installation
from portal.rules.numbers import spoken
from portal.web.page import STATE_WORDS, message_words
from tests.web.browser import Browser
from tests.web.conftest import on_both


@on_both
def test_a_message_about_a_ticket_leads_to_it(keeper_client: Browser, desk: Desk, taken_in: TakenIn) -> None:
    page = keeper_client.get("/shop/sent").text

    assert "Told: taken in" in page
    assert f'href="/bench/{spoken(taken_in.numbers[0])}"' in page
    assert "1 message waits to be sent." in page


@on_both
def test_what_could_not_be_delivered_is_listed_alone_with_what_the_other_side_said(
    keeper_client: Browser, desk: Desk, taken_in: TakenIn, technician: By
) -> None:
    notes.note(desk, technician, taken_in.numbers[0], "A word", audience="customer")
    with desk.writing() as connection:
        failed = {"state": "failed", "settled_at": desk.clock.now(), "outcome": "550 no such <mailbox>"}
        connection.execute(update(outbox).where(outbox.c.event == "noted").values(**failed))

    page = keeper_client.get("/shop/sent?troubled=1").text

    assert "Told: a note" in page
    assert "550 no such &lt;mailbox&gt;" in page
    assert "could not be delivered · by e-mail · <time" in page
    assert "Told: taken in" not in page


def test_every_message_and_every_state_has_its_words() -> None:
    events = [each.name for each in (resources.templates() / "messages").iterdir() if each.is_dir()]

    assert len(events) > 20
    assert [event for event in events if str(message_words(event)) == event] == []
    assert set(STATE_WORDS) == set(STATES)


def test_older_messages_stand_on_further_pages(
    keeper_client: Browser, desk: Desk, taken_in: TakenIn, technician: By
) -> None:
    for place in range(60):
        notes.note(desk, technician, taken_in.numbers[0], f"Word {place}", audience="customer")

    first = keeper_client.get("/shop/sent").text
    assert first.count("Told: a note") == 50
    older = first.split('href="/shop/sent?before=')[1].split('"')[0]

    second = keeper_client.get(f"/shop/sent?before={older}").text
    assert second.count("Told: a note") == 10
    assert "Older ones" not in second


def test_a_strange_page_is_the_first_page(keeper_client: Browser, taken_in: TakenIn) -> None:
    for before in ("x", "-1", "9" * 40, ""):
        assert "Told: taken in" in keeper_client.get("/shop/sent", query_string={"before": before}).text


def test_no_name_and_no_address_stands_in_the_list(keeper_client: Browser, taken_in: TakenIn) -> None:
    page = keeper_client.get("/shop/sent").text

    assert "Marsh" not in page
    assert "ada@example.org" not in page


# Read as the customer would, where mail lies in a folder


@pytest.fixture
def letters(installation: Installation, taken_in: TakenIn) -> list[outbox_of.Trace]:
    """What went out into the mailbox folder, the newest first."""
    assert [tally.failed for _name, tally in installation.sweep(["send"])] == [0]
    with installation.desk.reading() as connection:
        return outbox_of.newest(connection, 10)


@on_both
def test_a_letter_is_read_as_the_customer_has_it(
    keeper_client: Browser, letters: list[outbox_of.Trace], taken_in: TakenIn
) -> None:
    at = f"/shop/sent/{letters[0].id}"
    assert f'href="{at}"' in keeper_client.get("/shop/sent").text

    page = keeper_client.get(at).text

    for text in ("ada@example.org", "Hello Ada Marsh", "Handheld console, blue", f'href="{at}/html"'):
        assert text in page
    docket = keeper_client.get(f"{at}/attached/0")
    assert docket.headers["Content-Disposition"].startswith("attachment")
    assert docket.mimetype == "application/octet-stream"
    assert docket.data


def test_a_letters_html_is_a_page_without_any_right(keeper_client: Browser, letters: list[outbox_of.Trace]) -> None:
    answer = keeper_client.get(f"/shop/sent/{letters[0].id}/html")

    assert "Hello Ada Marsh" in answer.text
    assert answer.headers.getlist("Content-Security-Policy") == [
        "sandbox; default-src 'none'; img-src data:; form-action 'none'; frame-ancestors 'none'; base-uri 'none'"
    ]


def test_what_is_no_letter_is_not_found(keeper_client: Browser, desk: Desk, letters: list[outbox_of.Trace]) -> None:
    number = letters[0].id
    for path in (f"{number + 1}", f"{number}/attached/9", "0/html"):
        assert keeper_client.get(f"/shop/sent/{path}").status_code == 404
    with desk.writing() as connection:
        outbox_of.empty(connection, desk.clock.now() + timedelta(days=1), 10, desk.clock.now())

    assert keeper_client.get(f"/shop/sent/{number}").status_code == 404
    assert "Read it" not in keeper_client.get("/shop/sent").text


def test_nothing_is_read_of_mail_that_went_out_into_the_world(
    app: Flask, keeper_client: Browser, letters: list[outbox_of.Trace], monkeypatch: pytest.MonkeyPatch
) -> None:
    office = app.extensions["benchwindow"].post_office
    monkeypatch.setitem(office.channels, "mail", mail.channel("smtp://mail.example.org", "example.org"))

    assert "Read it" not in keeper_client.get("/shop/sent").text
    assert keeper_client.get(f"/shop/sent/{letters[0].id}").status_code == 404
