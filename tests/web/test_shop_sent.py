"""What went out: the keeper sees what was told about which repair, and what could not be delivered."""

from __future__ import annotations

from sqlalchemy import update

from notifications.tables import outbox
from portal.actions import notes
from portal.actions.desk import By, Desk
from portal.actions.intake import TakenIn
from portal.rules.numbers import spoken
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
    assert "Told: taken in" not in page


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
