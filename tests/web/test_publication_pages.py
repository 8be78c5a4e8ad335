"""The question whether pictures may be published: answered on the customer's page, or noted at the counter."""

from __future__ import annotations

import pytest
from werkzeug.test import TestResponse

from portal.actions.desk import Desk, find
from portal.actions.intake import NewVisit, TakenIn, take_in
from portal.rules.numbers import spoken
from portal.store import publication
from tests.conftest import BENCH
from tests.web.browser import Browser, hidden_fields


def allowed(desk: Desk, number: str) -> bool:
    with desk.reading() as connection:
        return publication.standing(connection, find(connection, number).id) is not None


def page_of(taken_in: TakenIn) -> str:
    return "/t/" + taken_in.link.rpartition("/")[2] + "/photos"


def say(client: Browser, page: str, number: str, may: str) -> TestResponse:
    path = f"{page}/{spoken(number)}/publication"
    return client.post(path, data=hidden_fields(client.get(page).text, path) | {"may": may})


def test_it_is_a_no_until_the_customer_says_otherwise_and_can_be_taken_back(
    client: Browser, staff_client: Browser, desk: Desk, taken_in: TakenIn
) -> None:
    (number,), page = taken_in.numbers, page_of(taken_in)
    bench = f"/bench/{spoken(number)}"
    assert "Not for publication" in client.get(page).text
    for path in (bench, f"{bench}/photos"):
        assert "Not for publication" in staff_client.get(path).text

    assert say(client, page, number, "yes").status_code == 303
    assert allowed(desk, number)
    assert "Not for publication" not in client.get(page).text
    for path in (bench, f"{bench}/photos"):
        assert "Not for publication" not in staff_client.get(path).text

    assert say(client, page, number, "no").status_code == 303
    assert not allowed(desk, number)
    assert "Not for publication" in staff_client.get(bench).text
    assert "The customer wrote." in staff_client.get(bench).text
    assert "the consent was taken back" in staff_client.get(f"{bench}/conversation").text


def test_the_same_form_sent_twice_says_it_once(client: Browser, desk: Desk, taken_in: TakenIn) -> None:
    (number,), page = taken_in.numbers, page_of(taken_in)
    path = f"{page}/{spoken(number)}/publication"
    fields = hidden_fields(client.get(page).text, path) | {"may": "yes"}

    assert [client.post(path, data=fields).status_code for _ in range(2)] == [303, 303]
    assert allowed(desk, number)


@pytest.mark.parametrize("may", ["no", "", "perhaps"])
def test_what_is_no_clear_yes_allows_nothing(client: Browser, desk: Desk, taken_in: TakenIn, may: str) -> None:
    (number,), page = taken_in.numbers, page_of(taken_in)

    answer = say(client, page, number, may)

    assert answer.status_code == 422
    assert "nothing to take back" in answer.text
    assert not allowed(desk, number)


def test_another_visits_device_cannot_be_allowed(
    client: Browser, desk: Desk, taken_in: TakenIn, arrival: NewVisit
) -> None:
    other = take_in(desk, BENCH, arrival).numbers[0]

    answer = client.post(f"{page_of(taken_in)}/{spoken(other)}/publication", data={"may": "yes"})

    assert answer.status_code == 404
    assert not allowed(desk, other)


def test_it_is_noted_at_the_counter_and_taken_back_there(staff_client: Browser, desk: Desk, number: str) -> None:
    page = f"/bench/{spoken(number)}/photos"
    path = f"/bench/{spoken(number)}/publication"
    for may, then in (("yes", True), ("no", False)):
        fields = hidden_fields(staff_client.get(page).text, path)
        assert staff_client.post(path, data=fields | {"may": may}).status_code == 303
        assert allowed(desk, number) is then


def test_it_is_asked_when_a_device_is_taken_in_and_is_no_by_default(staff_client: Browser, desk: Desk) -> None:
    for typed, then in (({}, False), ({"may_publish": "yes"}, True)):
        fields = hidden_fields(staff_client.get("/bench/take-in").text, "/bench/take-in")
        answer = staff_client.post("/bench/take-in", data=fields | {"device": "Radio", "fault": "Hums"} | typed)
        number = answer.location.split("/")[-2]
        assert allowed(desk, number) is then
