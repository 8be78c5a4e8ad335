"""“I am not satisfied”, and “is it the same fault?”: on the customer's page and at the bench, by plain forms."""

from __future__ import annotations

from datetime import timedelta

import pytest
from werkzeug.test import TestResponse

from notifications.instants import FixedClock
from portal.actions.desk import Desk
from portal.actions.handover import hand_over
from portal.actions.intake import TakenIn, told_again
from portal.rules.conversation import MOST_FREELY
from portal.rules.numbers import spoken
from portal.store import complaints, warranty
from tests.actions.aftermath import ticket_of
from tests.actions.bench import WITHOUT_CODE, bring_to
from tests.conftest import BENCH
from tests.web.browser import Browser, hidden, hidden_fields
from tests.web.conftest import on_both
from tests.web.test_customer_docket import path_of


@pytest.fixture
def gone(desk: Desk, number: str) -> str:
    """A repair whose device was handed over."""
    bring_to(desk, number, "ready")
    hand_over(desk, BENCH, number, WITHOUT_CODE, confirmed=True)
    return number


def send(browser: Browser, number: str, on: str, to: str = "", **fields: object) -> TestResponse:
    """Fill in a form of one page of the bench, and send it."""
    page, action = f"/bench/{spoken(number)}/{on}", f"/bench/{spoken(number)}/{to or on}"
    return browser.post(action, data=hidden_fields(browser.get(page).text, action) | fields)


def tell(client: Browser, address: str, **fields: object) -> TestResponse:
    """Send a form of the customer's, as the page has it."""
    return client.post(address, data={"deed_key": hidden(client.get(address).text, "deed_key")} | fields)


@on_both
def test_a_complaint_goes_to_the_bench_and_its_answer_back(
    client: Browser, staff_client: Browser, desk: Desk, taken_in: TakenIn, number: str
) -> None:
    docket = path_of(taken_in.link)
    address = f"{docket}/complain/{spoken(number)}"
    assert address in client.get(docket).text

    assert tell(client, address, words="It still does not charge.").status_code == 303

    assert "You have our answer by Mon, 16 Mar 2026" in client.get(docket).text
    assert "Your complaint" in client.get(docket).text
    assert "answer by Mon, 16 Mar 2026" in staff_client.get("/bench/today").text
    assert "The customer is not satisfied." in staff_client.get(f"/bench/{spoken(number)}").text
    assert send(staff_client, number, "complaint", words="We look again.", closes="1").status_code == 303
    page = client.get(address).text
    assert "We look again." in page
    assert "Your complaint is closed." in page
    assert "not satisfied." not in staff_client.get("/bench/today").text


def test_an_overdue_answer_stands_on_the_page_of_today(
    client: Browser, staff_client: Browser, desk: Desk, clock: FixedClock, taken_in: TakenIn, number: str
) -> None:
    tell(client, f"{path_of(taken_in.link)}/complain/{spoken(number)}", words="It hums.")
    clock.at += timedelta(days=15)
    staff_client.log_in("Robin")

    assert "overdue since Mon, 16 Mar 2026" in staff_client.get("/bench/today").text
    assert "Overdue: they were to have an answer" in staff_client.get(f"/bench/{spoken(number)}/complaint").text


def test_it_is_said_after_the_handover_too_and_settled_by_the_customer(
    client: Browser, desk: Desk, taken_in: TakenIn, gone: str
) -> None:
    docket = path_of(taken_in.link)
    address = f"{docket}/complain/{spoken(gone)}"
    assert address in client.get(docket).text
    tell(client, address, words="It broke on the way home.")

    answer = client.post(f"{address}/settled", data={"deed_key": hidden(client.get(address).text, "deed_key")})

    assert answer.status_code == 303
    with desk.reading() as connection:
        assert complaints.open_of(connection, ticket_of(desk, gone).id) is None


def test_what_cannot_be_sent_comes_back_as_it_was_typed(
    client: Browser, staff_client: Browser, taken_in: TakenIn, number: str
) -> None:
    address = f"{path_of(taken_in.link)}/complain/{spoken(number)}"
    answer = tell(client, address, words="<i>" + "x" * 2000)
    assert answer.status_code == 422
    assert "&lt;i&gt;xxx" in answer.text

    assert tell(client, address, words=" ").status_code == 422
    tell(client, address, words="It hums.")
    answer = client.post(address, data={"words": "It hums."})
    assert answer.status_code == 422
    assert "You have told us already" in answer.text
    answer = send(staff_client, number, "complaint", words=" ", closes="1")
    assert answer.status_code == 422
    assert 'name="closes" value="1" checked' in answer.text


def test_what_was_said_on_the_telephone_is_written_down(
    client: Browser, staff_client: Browser, taken_in: TakenIn, number: str
) -> None:
    answer = send(staff_client, number, "complaint", "complaint/said", words=" ")
    assert answer.status_code == 422

    assert send(staff_client, number, "complaint", "complaint/said", words="It hums, he says.").status_code == 303

    assert "They have an answer by Mon, 16 Mar 2026" in staff_client.get(f"/bench/{spoken(number)}/complaint").text
    assert "It hums, he says." in client.get(f"{path_of(taken_in.link)}/complain/{spoken(number)}").text


def test_who_complains_without_end_waits(client: Browser, taken_in: TakenIn, number: str) -> None:
    address = f"{path_of(taken_in.link)}/complain/{spoken(number)}"
    for _time in range(MOST_FREELY):
        assert tell(client, address, words="It hums.").status_code == 303
        client.post(f"{address}/settled", data={"deed_key": hidden(client.get(address).text, "deed_key")})

    answer = tell(client, address, words="It hums still.")

    assert answer.status_code == 429
    assert "It hums still." in answer.text


def test_nobody_complains_about_the_repair_of_somebody_else(client: Browser, taken_in: TakenIn) -> None:
    assert client.get(f"{path_of(taken_in.link)}/complain/1234-0").status_code == 404


@on_both
def test_a_device_comes_back_is_looked_at_and_its_customer_objects(
    client: Browser, staff_client: Browser, desk: Desk, clock: FixedClock, gone: str
) -> None:
    clock.at += timedelta(days=5)
    staff_client.log_in("Robin")
    assert "Here again" in staff_client.get(f"/bench/{spoken(gone)}").text
    answer = send(staff_client, gone, "again", fault=" ")
    assert answer.status_code == 422
    answer = send(staff_client, gone, "again", fault="Does not charge again.")
    assert answer.status_code == 303
    with desk.reading() as connection:
        new = warranty.later(connection, ticket_of(desk, gone).id)[0]
    assert spoken(new) in staff_client.get(answer.location).text
    assert spoken(gone) in staff_client.get(f"/bench/{spoken(new)}/again").text

    answer = send(staff_client, new, "again", "again/found", verdict="same", way="customer", words="<b>Socket</b>")
    assert answer.status_code == 422
    assert "does not pay for bringing it back" in answer.text
    assert "&lt;b&gt;Socket" in answer.text
    assert 'value="same" checked' in answer.text
    fields = {"verdict": "other", "way": "customer", "words": "The battery, not the socket."}
    assert send(staff_client, new, "again", "again/found", **fields).status_code == 303

    docket = docket_of(desk, new)
    assert f"It is here again within the warranty of your repair {spoken(gone)}" in client.get(docket).text
    address = f"{docket}/found/{spoken(new)}"
    assert address in client.get(docket).text
    page = client.get(address).text
    assert "another fault than before" in page
    assert "The battery, not the socket." in page
    assert "The way here and back is for you to pay." in page
    assert tell(client, address, words=" ").status_code == 422
    assert tell(client, address, words="It is the socket.").status_code == 303
    assert "Customers do not agree" in staff_client.get("/bench/today").text
    assert "The customer does not agree." in staff_client.get(f"/bench/{spoken(new)}/again").text


def docket_of(desk: Desk, number: str) -> str:
    """The docket's path of a repair's visit."""
    with desk.reading() as connection:
        return path_of(told_again(desk, connection, ticket_of(desk, number).number).link)


def test_taking_in_by_the_number_of_an_earlier_repair_leads_to_its_warranty(
    staff_client: Browser, clock: FixedClock, gone: str
) -> None:
    page = staff_client.get(f"/bench/take-in?like={spoken(gone)}").text
    assert f"The warranty of {spoken(gone)} runs until Tue, 2 Jun 2026." in page
    assert f"/bench/{spoken(gone)}/again" in page

    clock.at += timedelta(days=100)
    staff_client.log_in("Robin")
    assert "/again" not in staff_client.get(f"/bench/take-in?like={spoken(gone)}").text


def test_after_the_warranty_it_is_a_new_repair(staff_client: Browser, clock: FixedClock, gone: str) -> None:
    clock.at += timedelta(days=100)
    staff_client.log_in("Robin")

    page = staff_client.get(f"/bench/{spoken(gone)}/again").text

    assert "The warranty ended on Tue, 2 Jun 2026." in page
    assert f"/bench/take-in?like={spoken(gone)}" in page or "like=" in page


def test_the_page_of_a_repair_that_did_not_come_back_says_so(
    client: Browser, staff_client: Browser, taken_in: TakenIn, number: str
) -> None:
    assert "did not come back" in staff_client.get(f"/bench/{spoken(number)}/again").text
    assert "a new one" in client.get(f"{path_of(taken_in.link)}/found/{spoken(number)}").text
