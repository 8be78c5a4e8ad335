"""The end of a ticket on the bench's pages: handed over, posted, given up, claimed by somebody else, undone."""

from __future__ import annotations

from datetime import timedelta

import pytest
from werkzeug.test import TestResponse

from notifications.instants import FixedClock
from portal.actions import collection_codes
from portal.actions.desk import CUSTOMER, Desk, find
from portal.actions.giving_up import wish_on_page
from portal.actions.handover import return_unrepaired
from portal.actions.intake import NewVisit, take_in
from portal.actions.record import record
from portal.actions.return_ways import Wanted, choose
from portal.rules.intake_record import Item, Record
from portal.rules.numbers import spoken
from portal.rules.posting import PACKING
from portal.rules.stages import Ending
from portal.store import handovers, wishes
from portal.store.tickets import Ticket
from tests.actions.bench import bring_to
from tests.conftest import BENCH
from tests.web.browser import Browser, hidden_fields
from tests.web.conftest import on_both

HOME = "12 Harbour Rise\nQuayhaven"


@pytest.fixture
def ready(desk: Desk, number: str) -> str:
    """The number of a ticket whose device is ready; a power supply and a disc were handed in with it."""
    record(desk, BENCH, number, Record(items=(Item("power supply"), Item("disc", 2))))
    bring_to(desk, number, "ready")
    return number


def ticket_of(desk: Desk, number: str) -> Ticket:
    with desk.reading() as connection:
        return find(connection, number)


def code_of(desk: Desk, number: str) -> str:
    with desk.reading() as connection:
        return collection_codes.first(desk, connection, find(connection, number))


def send(browser: Browser, number: str, on: str, to: str = "", **fields: object) -> TestResponse:
    """Fill in the form of one page that posts to `to` (default: the page itself), and send it."""
    page, action = f"/bench/{spoken(number)}/{on}", f"/bench/{spoken(number)}/{to or on}"
    return browser.post(action, data=hidden_fields(browser.get(page).text, action) | fields)


@on_both
def test_a_device_is_handed_over_for_its_code_and_the_warranty_is_shown(
    staff_client: Browser, desk: Desk, ready: str
) -> None:
    answer = send(
        staff_client, ready, "handover", code=code_of(desk, ready).lower(), went=["0", "1"], tested="1", strokes=""
    )

    assert answer.status_code == 303
    page = staff_client.get(answer.location).text
    assert "collected" in page
    assert "Warranty until Tue, 2 Jun 2026" in page
    assert ticket_of(desk, ready).ending is Ending.COLLECTED
    card = staff_client.get(f"/bench/{spoken(ready)}/warranty").text
    assert "Handheld console, blue" in card
    assert "From Mon, 2 Mar 2026 until Tue, 2 Jun 2026" in card


def test_the_card_speaks_the_customers_language_and_others(staff_client: Browser, desk: Desk, ready: str) -> None:
    assert staff_client.get(f"/bench/{spoken(ready)}/warranty").status_code == 404
    send(staff_client, ready, "handover", code=code_of(desk, ready), went=["0", "1"])

    assert "Garantie" in staff_client.get(f"/bench/{spoken(ready)}/warranty?lang=de").text


def test_a_receipt_says_what_went_and_what_did_not_in_the_customers_language(
    staff_client: Browser, desk: Desk, ready: str
) -> None:
    page = f"/bench/{spoken(ready)}/receipt"
    assert staff_client.get(page).status_code == 404
    strokes = "[[[10, 20], [500, 900]]]"
    gone = {"went": ["0"], "missing": "The discs were never here.", "strokes": strokes, "tested": "1"}
    send(staff_client, ready, "handover", code=code_of(desk, ready), **gone)

    text = staff_client.get(page).text

    for told in ("power supply", "2 × disc", "The discs were never here.", "the collection code", "Tue, 2 Jun 2026"):
        assert told in text
    assert 'd="M10 20 L500 900"' in text
    assert page in staff_client.get(f"/bench/{spoken(ready)}/handed-over").text
    assert "Quittung über die Übergabe" in staff_client.get(f"{page}?lang=de").text


def test_what_was_undone_is_no_part_of_how_it_went_in_the_end(staff_client: Browser, desk: Desk, ready: str) -> None:
    send(staff_client, ready, "handover", code=code_of(desk, ready), went=["0", "1"])
    send(staff_client, ready, "handed-over", "undo-handover", why="The wrong one.")
    return_unrepaired(desk, BENCH, ready, "Asked back.", confirmed=True)

    assert staff_client.get(f"/bench/{spoken(ready)}/receipt").status_code == 404
    assert "the collection code" not in staff_client.get(f"/bench/{spoken(ready)}/handed-over").text


def test_a_signature_is_kept_as_strokes_and_drawn_again(staff_client: Browser, desk: Desk, ready: str) -> None:
    code = code_of(desk, ready)
    for damaged in ("{", '{"a": 1}', "[[[0]]]", "[[[1e9, 2], [3, 4]]]", "[" * 100_000, '"x"'):
        answer = send(staff_client, ready, "handover", code=code, went=["0", "1"], strokes=damaged)
        assert answer.status_code == 422, damaged
        assert "no signature" in answer.text

    send(staff_client, ready, "handover", code=code, went=["0", "1"], strokes="[[[10, 20], [500, 900]]]")

    assert 'd="M10 20 L500 900"' in staff_client.get(f"/bench/{spoken(ready)}/handed-over").text
    ticket = ticket_of(desk, ready)
    with desk.reading() as connection:
        went = handovers.newest(connection, ticket.id)
        assert went is not None
        assert wishes.signature(connection, ticket.id, went.entry) == [[[10, 20], [500, 900]]]


def test_a_wrong_code_comes_back_with_everything_typed(staff_client: Browser, desk: Desk, ready: str) -> None:
    answer = send(staff_client, ready, "handover", code="<b>4F7", went="1", tested="1", strokes="[[[1, 2], [3, 4]]]")

    assert answer.status_code == 422
    assert "This is not the code for this device." in answer.text
    assert 'value="&lt;b&gt;4F7"' in answer.text
    assert 'name="went" value="1" checked' in answer.text
    assert 'name="went" value="0" checked' not in answer.text
    assert 'value="[[[1, 2], [3, 4]]]"' in answer.text
    assert ticket_of(desk, ready).ending is None


def test_what_was_handed_in_and_is_not_ticked_asks_what_became_of_it(
    staff_client: Browser, desk: Desk, ready: str
) -> None:
    code = code_of(desk, ready)
    answer = send(staff_client, ready, "handover", code=code, went="0")
    assert answer.status_code == 422
    assert "Not ticked: 2 × disc." in answer.text

    fields = hidden_fields(answer.text, f"/bench/{spoken(ready)}/handover")
    given = {"code": code, "went": "0", "missing": "Fetched by the owner’s son."}
    staff_client.post(f"/bench/{spoken(ready)}/handover", data=fields | given)

    page = staff_client.get(f"/bench/{spoken(ready)}/handed-over").text
    assert "2 × disc<br>Fetched by the owner’s son." in page


@pytest.mark.parametrize("went", ["", "-1", "99", "x", "9" * 9999, "0\x00"])
def test_ticks_of_what_was_never_handed_in_count_for_nothing(
    staff_client: Browser, desk: Desk, ready: str, went: str
) -> None:
    answer = send(staff_client, ready, "handover", code=code_of(desk, ready), went=went)

    assert answer.status_code == 422
    assert ticket_of(desk, ready).ending is None


def test_without_a_code_the_keeper_goes_through_the_list(keeper_client: Browser, desk: Desk, ready: str) -> None:
    answer = send(keeper_client, ready, "handover", went=["0", "1"], checked="device", why="Lost the message.")
    assert answer.status_code == 422
    assert "At least 2 of the list" in answer.text
    assert "Lost the message." in answer.text

    answer = send(
        keeper_client, ready, "handover", went=["0", "1"], checked=["device", "rung"], why="Lost the message."
    )
    assert answer.status_code == 303
    assert "no code" in keeper_client.get(answer.location).text


def test_the_bench_is_not_offered_what_only_the_keeper_may(staff_client: Browser, desk: Desk, ready: str) -> None:
    assert 'name="checked"' not in staff_client.get(f"/bench/{spoken(ready)}/handover").text

    answer = send(staff_client, ready, "handover", went=["0", "1"], checked=["device", "rung"], why="Nice people.")

    assert answer.status_code == 422
    assert "only the keeper" in answer.text
    assert ticket_of(desk, ready).ending is None


def test_a_device_that_is_not_ready_says_where_it_is_to_go_first(staff_client: Browser, number: str) -> None:
    page = staff_client.get(f"/bench/{spoken(number)}/handover").text

    assert "It is not in “Ready”." in page


def test_a_page_that_is_stale_is_told_so_and_tries_no_code(staff_client: Browser, desk: Desk, ready: str) -> None:
    path = f"/bench/{spoken(ready)}/handover"
    fields = hidden_fields(staff_client.get(path).text, path)
    choose(desk, CUSTOMER, ready, Wanted("collect", "2026-03-05"))

    answer = staff_client.post(path, data=fields | {"code": "000000"})

    assert answer.status_code == 409
    assert "Somebody was here meanwhile" in answer.text
    assert 'value="000000"' in answer.text


def test_what_the_customer_chose_stands_on_the_page(staff_client: Browser, desk: Desk, ready: str) -> None:
    choose(desk, CUSTOMER, ready, Wanted("send", "2026-03-05", "Ben <Quill>"))

    page = staff_client.get(f"/bench/{spoken(ready)}/handover").text

    assert "Ben &lt;Quill&gt;" in page
    assert "Thu, 5 Mar 2026" in page


def test_the_bench_writes_down_how_a_customer_wants_it(staff_client: Browser, desk: Desk, ready: str) -> None:
    answer = send(staff_client, ready, "handover", "choice", way="post", address=HOME)
    assert answer.status_code == 422
    assert "12 Harbour Rise\nQuayhaven</textarea>" in answer.text

    answer = send(staff_client, ready, "handover", "choice", way="post", address=HOME, confirmed_address="1")
    assert answer.status_code == 303
    assert "Post it back" in staff_client.get(answer.location).text


# A mistake


def test_a_mistake_is_undone_with_a_reason_while_there_is_time(
    staff_client: Browser, desk: Desk, clock: FixedClock, ready: str
) -> None:
    send(staff_client, ready, "handover", code=code_of(desk, ready), went=["0", "1"])
    answer = send(staff_client, ready, "handed-over", "undo-handover", why=" ")
    assert answer.status_code == 422

    answer = send(staff_client, ready, "handed-over", "undo-handover", why="The wrong one.")
    assert answer.status_code == 303
    assert "It is here again." in staff_client.get(answer.location).text

    send(staff_client, ready, "handover", code=code_of(desk, ready), went=["0", "1"])
    clock.at += timedelta(minutes=61)
    assert "undo-handover" not in staff_client.get(f"/bench/{spoken(ready)}/handed-over").text


# By post


@pytest.fixture
def to_post(desk: Desk, ready: str) -> str:
    """The number of a ticket whose owner wants it posted."""
    choose(desk, CUSTOMER, ready, Wanted("post", address=HOME, confirmed=True))
    return ready


def test_a_parcel_goes_by_the_packing_list(staff_client: Browser, desk: Desk, to_post: str) -> None:
    given = {"carrier": "The town’s carrier", "reference": "QH <42>", "posted_on": "2026-03-02"}
    answer = send(staff_client, to_post, "post", packed=list(PACKING)[1:], **given)
    assert answer.status_code == 422
    assert "Look at everything on the packing list" in answer.text
    assert "What may be posted changes: ask the carrier, and follow local rules." in answer.text
    assert 'value="QH &lt;42&gt;"' in answer.text

    answer = send(staff_client, to_post, "post", packed=list(PACKING), **given)
    assert answer.status_code == 303
    assert "QH &lt;42&gt;" in staff_client.get(answer.location).text
    assert ticket_of(desk, to_post).ending is Ending.POSTED


def test_what_became_of_the_parcel_is_written_down(
    staff_client: Browser, desk: Desk, clock: FixedClock, to_post: str
) -> None:
    assert (
        send(staff_client, to_post, "post", packed=list(PACKING), carrier="Carrier", posted_on="2026-03-02").status_code
        == 303
    )
    clock.at += timedelta(days=3)
    staff_client.log_in("Robin")
    answer = send(staff_client, to_post, "post", "parcel/arrived", day="2026-03-09")
    assert answer.status_code == 422

    answer = send(staff_client, to_post, "post", "parcel/came-back", day="2026-03-05", why="Nobody at home.")
    assert answer.status_code == 303
    assert "The parcel is here again." in staff_client.get(answer.location).text
    assert ticket_of(desk, to_post).ending is None


def test_where_no_address_is_confirmed_the_bench_writes_down_what_was_said(
    staff_client: Browser, desk: Desk, ready: str
) -> None:
    answer = send(staff_client, ready, "post", "post/address", address=HOME)
    assert answer.status_code == 422
    assert HOME in answer.text

    assert send(staff_client, ready, "post", "post/address", address=HOME, confirmed_address="1").status_code == 303
    assert "Before the box is closed" in staff_client.get(f"/bench/{spoken(ready)}/post").text


def test_a_damaged_battery_offers_no_post(staff_client: Browser, desk: Desk, number: str) -> None:
    record(desk, BENCH, number, Record(battery=("wet",)))

    page = staff_client.get(f"/bench/{spoken(number)}/post").text

    assert "A damaged battery is not posted. Ask the carrier and follow local codes." in page
    assert 'name="carrier"' not in page


# Given up


def test_a_wish_on_paper_is_written_down_and_the_keeper_ends_it(
    staff_client: Browser, keeper_client: Browser, desk: Desk, number: str
) -> None:
    written = {"gives_up": "1", "data": "destroy", "how": "letter", "where": "Folder <3>"}
    answer = send(staff_client, number, "give-up", "give-up/wish", **(written | {"how": ""}))
    assert answer.status_code == 422
    assert "Folder &lt;3&gt;</textarea>" in answer.text
    assert 'name="gives_up" value="1" checked' in answer.text

    assert send(staff_client, number, "give-up", "give-up/wish", **written).status_code == 303
    page = staff_client.get(f"/bench/{spoken(number)}/give-up").text
    assert "Folder &lt;3&gt;" in page
    assert "The keeper ends this" in page

    answer = send(keeper_client, number, "give-up", data_done="", recycler="Recycler <of the town>")
    assert answer.status_code == 422
    assert "Recycler &lt;of the town&gt;" in answer.text
    assert "goes to a licensed recycler" in answer.text
    answer = send(keeper_client, number, "give-up", data_done="Shredded by Kim.", recycler="Recycler")
    assert answer.status_code == 303
    assert ticket_of(desk, number).ending is Ending.GIVEN_UP


def test_destroying_the_data_alone_leaves_the_device_here(keeper_client: Browser, desk: Desk, number: str) -> None:
    send(keeper_client, number, "give-up", "give-up/wish", data="destroy", how="signed here", where="Folder 3")

    answer = send(keeper_client, number, "give-up", "give-up/destroyed", destroyed="Shredded by Kim.")

    assert answer.status_code == 303
    assert ticket_of(desk, number).ending is None


def test_a_wish_is_taken_back(staff_client: Browser, desk: Desk, number: str) -> None:
    send(staff_client, number, "give-up", "give-up/wish", gives_up="1", data="none inside", how="mail", where="Mail")

    assert send(staff_client, number, "give-up", "give-up/back").status_code == 303
    assert "What does the owner write?" in staff_client.get(f"/bench/{spoken(number)}/give-up").text


# Claimed


def test_a_claim_is_logged_and_settled_by_the_keeper(
    staff_client: Browser, keeper_client: Browser, desk: Desk, ready: str
) -> None:
    assert send(staff_client, ready, "ownership", words=" ").status_code == 422
    send(staff_client, ready, "ownership", words="A caller says it is hers. <b>")
    send(staff_client, ready, "ownership", "ownership/log", words="The police rang.")

    page = staff_client.get(f"/bench/{spoken(ready)}/ownership").text
    assert page.index("The police rang.") < page.index("A caller says it is hers. &lt;b&gt;")
    assert "ownership/settle" not in page
    answer = send(staff_client, ready, "handover", code=code_of(desk, ready), went=["0", "1"])
    assert answer.status_code == 422
    assert "Somebody else says that this device is theirs" in answer.text

    assert send(keeper_client, ready, "ownership", "ownership/settle", words="She found hers.").status_code == 303
    assert send(staff_client, ready, "handover", code=code_of(desk, ready), went=["0", "1"]).status_code == 303


def test_the_ticket_leads_to_every_way_back(staff_client: Browser, desk: Desk, ready: str) -> None:
    page = staff_client.get(f"/bench/{spoken(ready)}").text

    for way in ("handover", "post", "give-up", "ownership"):
        assert f'href="/bench/{spoken(ready)}/{way}"' in page
        assert staff_client.get(f"/bench/{spoken(ready)}/{way}").status_code == 200


def test_the_bench_sees_today_who_comes_and_what_is_to_be_posted_or_was_given_up(
    staff_client: Browser, keeper_client: Browser, desk: Desk, clock: FixedClock, arrival: NewVisit, ready: str
) -> None:
    choose(desk, CUSTOMER, ready, Wanted("send", "2026-03-02", "Ben Quill"))
    page = staff_client.get("/bench/today").text
    assert "Somebody comes today" in page
    assert "Ben Quill" in page
    assert "thing waits for you today" not in staff_client.get("/bench/").text

    choose(desk, CUSTOMER, ready, Wanted("post", address=HOME, confirmed=True))
    page = staff_client.get("/bench/today").text
    assert "Somebody comes today" not in page
    assert f'href="/bench/{spoken(ready)}/post"' in page
    assert "1 thing waits for you today" in staff_client.get("/bench/").text

    other = take_in(desk, BENCH, arrival).numbers[0]
    wish_on_page(desk, other, True, "none inside", "GIVE UP", "en")
    assert "Given up by their owners" in keeper_client.get("/bench/today").text
    assert "Given up by their owners" not in staff_client.get("/bench/today").text
