"""The record's pages: condition on arrival, tray, test sheet, parts, cautions. A refusal loses no word."""

from __future__ import annotations

from datetime import date, timedelta

import pytest
import tomlkit
from werkzeug.test import TestResponse

from notifications.instants import FixedClock
from portal.actions import moves, parts, shop
from portal.actions.desk import By, Desk, find
from portal.rules.numbers import spoken
from portal.rules.stages import Hold
from portal.store import parts as part_store
from portal.store import records, sheets, trays
from portal.store.tickets import Ticket
from tests.conftest import BENCH
from tests.web.browser import Browser, hidden_fields


def ticket(desk: Desk, number: str) -> Ticket:
    with desk.reading() as connection:
        return find(connection, number)


def send(browser: Browser, number: str, page: str, form: str, **typed: object) -> TestResponse:
    """Open a page of the ticket and send one of its forms."""
    at = f"/bench/{spoken(number)}"
    fields = hidden_fields(browser.get(f"{at}/{page}").text, f"{at}/{form}")
    return browser.post(f"{at}/{form}", data=fields | typed)


def test_the_condition_on_arrival_is_written_down_and_shown_again(
    staff_client: Browser, desk: Desk, number: str
) -> None:
    answer = send(
        staff_client,
        number,
        "record",
        "record",
        shop_sees="Picture socket loose",
        mark=["scuffed edge"],
        **{"place scuffed edge": "left"},
        own_mark=["sticker torn", ""],
        own_place=["back", ""],
        item=["power supply", ""],
        count=["1", ""],
        seal="broken",
        backed_up="yes",
        came_by="counter",
    )

    assert answer.status_code == 303
    with desk.reading() as connection:
        written = records.newest(connection, ticket(desk, number).id)
    assert written is not None
    assert [(mark.what, mark.place) for mark in written.record.marks] == [
        ("scuffed edge", "left"),
        ("sticker torn", "back"),
    ]
    page = staff_client.get(f"/bench/{spoken(number)}/record").text
    assert 'value="sticker torn"' in page
    assert 'value="broken" checked' in page


def test_a_record_that_does_not_fit_comes_back_as_it_was_typed(staff_client: Browser, desk: Desk, number: str) -> None:
    answer = send(
        staff_client, number, "record", "record", shop_sees="Loose socket", item=["cable"], count=["-1"], came_by="post"
    )

    assert answer.status_code == 422
    assert "Loose socket" in answer.text
    assert 'value="-1"' in answer.text
    with desk.reading() as connection:
        assert records.newest(connection, ticket(desk, number).id) is None


def test_a_passcode_in_the_record_is_asked_about_once(staff_client: Browser, desk: Desk, number: str) -> None:
    asked = send(staff_client, number, "record", "record", shop_sees="passcode 4711", came_by="counter")
    assert asked.status_code == 422

    fields = hidden_fields(asked.text, f"/bench/{spoken(number)}/record")
    kept = staff_client.post(
        f"/bench/{spoken(number)}/record", data=fields | {"shop_sees": "passcode 4711", "came_by": "counter"}
    )

    assert fields["confirmed"] == "1"
    assert kept.status_code == 303


def test_a_swollen_battery_puts_the_ticket_on_hold_until_it_is_dealt_with(
    staff_client: Browser, desk: Desk, number: str
) -> None:
    send(staff_client, number, "record", "record", battery=["swollen"], came_by="counter")
    assert ticket(desk, number).hold is Hold.SAFETY

    send(staff_client, number, "record", "record/safe", how="Taken out by a qualified person, waits in the sand box.")

    assert ticket(desk, number).hold is None


def test_a_common_thing_goes_into_the_tray_at_one_tap_and_all_goes_back_at_one(
    staff_client: Browser, desk: Desk, number: str
) -> None:
    send(staff_client, number, "tray", "tray", howmany="8", common="case screws")
    send(staff_client, number, "tray", "tray/all-back")

    with desk.reading() as connection:
        lines = trays.lines(connection, ticket(desk, number).id)
    assert [(line.what, line.count, line.put_back) for line in lines] == [("case screws", 8, 8)]


@pytest.mark.parametrize("count", ["-3", "0", "a lot", "100000"])
def test_an_absurd_count_is_refused_and_nothing_goes_into_the_tray(
    staff_client: Browser, desk: Desk, number: str, count: str
) -> None:
    answer = send(staff_client, number, "tray", "tray", what="screws", howmany=count)

    assert answer.status_code == 422
    assert 'value="screws"' in answer.text
    with desk.reading() as connection:
        assert trays.lines(connection, ticket(desk, number).id) == []


def test_two_people_on_one_tray_are_told_of_each_other(staff_client: Browser, desk: Desk, number: str) -> None:
    at = f"/bench/{spoken(number)}/tray"
    stale = hidden_fields(staff_client.get(at).text, at)
    send(staff_client, number, "tray", "tray", what="battery")

    answer = staff_client.post(at, data=stale | {"what": "card reader"})

    assert answer.status_code == 409
    assert "Somebody was here meanwhile" in answer.text
    assert 'value="card reader"' in answer.text


def test_a_sheet_is_filled_in_and_a_measured_value_decides(staff_client: Browser, desk: Desk, number: str) -> None:
    answer = send(
        staff_client,
        number,
        "sheet",
        "sheet",
        check=["starts", "usb"],
        **{"result starts": "pass", "value usb": "5.3 V"},
    )

    assert answer.status_code == 303, answer.text
    with desk.reading() as connection:
        tried = {each.check: each.result for each in sheets.sheet(connection, ticket(desk, number).id)}
    assert tried == {"starts": "pass", "usb": "fail"}  # USB 2.0 section 7.2.2: VBUS 4.75 to 5.25 V


def test_only_the_keeper_lets_a_sheet_through(
    staff_client: Browser, keeper_client: Browser, desk: Desk, number: str
) -> None:
    refused = send(staff_client, number, "sheet", "sheet/let-through", why="The owner knows")
    done = send(keeper_client, number, "sheet", "sheet/let-through", why="The owner knows")

    assert refused.status_code == 422
    assert "Only the keeper" in refused.text
    assert done.status_code == 303


def test_an_ordered_part_holds_the_ticket_until_the_delivery_is_ticked_off(
    staff_client: Browser, desk: Desk, number: str
) -> None:
    send(
        staff_client,
        number,
        "parts",
        "parts/order",
        what="picture socket",
        supplier="A supplier",
        expected_on="2026-03-09",
    )
    assert ticket(desk, number).hold is Hold.PART

    page = staff_client.get("/bench/parts").text
    fields = hidden_fields(page, "/bench/parts")
    answer = staff_client.post("/bench/parts", data=fields | {f"how {fields['part']}": "arrived"})

    assert answer.status_code == 303
    assert ticket(desk, number).hold is None


def test_a_part_without_a_day_is_refused_with_its_words_kept(staff_client: Browser, desk: Desk, number: str) -> None:
    answer = send(staff_client, number, "parts", "parts/order", what="fan", supplier="A supplier")

    assert answer.status_code == 422
    assert 'value="fan"' in answer.text
    with desk.reading() as connection:
        assert part_store.of_ticket(connection, ticket(desk, number).id) == []


def test_a_part_that_arrived_is_fitted_and_free_work_is_listed(
    staff_client: Browser, desk: Desk, number: str, technician: By
) -> None:
    send(staff_client, number, "parts", "parts/stock", what="fan", used="1")
    send(staff_client, number, "parts", "parts/courtesy", what="cleaned inside")

    page = staff_client.get(f"/bench/{spoken(number)}/parts").text

    assert "used, taken from another device" in page
    assert "cleaned inside" in page


def test_a_caution_is_read_once_and_then_out_of_the_way(staff_client: Browser, desk: Desk, number: str) -> None:
    moves.move(desk, BENCH, number, "board_work", confirmed=True)
    at = f"/bench/{spoken(number)}"
    before = staff_client.get(at).text
    assert "Mind this" in before

    staff_client.post(f"{at}/cautions", data=hidden_fields(before, f"{at}/cautions"))

    assert "Mind this" not in staff_client.get(at).text


def test_a_late_part_is_marked_on_the_list(staff_client: Browser, desk: Desk, number: str, clock: FixedClock) -> None:
    parts.order(desk, BENCH, number, "fan", "A supplier", date(2026, 3, 4))
    clock.at += timedelta(days=5)

    staff_client.log_in("Robin")

    assert "late" in staff_client.get("/bench/parts").text


def test_a_donor_device_is_listed_with_its_owners_consent_and_what_was_taken_out(
    staff_client: Browser, desk: Desk, number: str
) -> None:
    assert staff_client.get("/bench/donors").status_code == 404  # off by default
    switch_on(desk, "donors")
    fields = hidden_fields(staff_client.get("/bench/donors").text, "/bench/donors")

    refused = staff_client.post("/bench/donors", data=fields | {"device": "Old console", "whose": "Bram"})
    added = staff_client.post(
        "/bench/donors", data=fields | {"device": "Old console", "whose": "Bram", "consent": "Folder 3"}
    )
    send(staff_client, number, "parts", "parts/stock", what="fan", donor="1")

    assert (refused.status_code, added.status_code) == (422, 303)
    assert 'value="Old console"' in refused.text
    page = staff_client.get("/bench/donors").text
    assert "Folder 3" in page
    assert f'fan (<a href="/bench/{spoken(number)}">' in page


def switch_on(desk: Desk, what: str) -> None:
    """Switch something of the bench on in the policy."""
    document = tomlkit.parse(shop.show_policy(desk))
    document.setdefault("bench", tomlkit.table())[what] = True
    shop.load_policy(desk, BENCH, tomlkit.dumps(document))
