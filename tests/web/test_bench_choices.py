"""What a customer asks for on the telephone about their messages, kept by the bench for them."""

from __future__ import annotations

import re

import pytest

from portal.actions.desk import Desk, find
from portal.actions.intake import NewDevice, NewVisit, Second, TakenIn, take_in
from portal.store import journal, visits
from tests.conftest import BENCH
from tests.web.browser import Browser, hidden
from tests.web.conftest import on_both
from tests.web.test_customer_messages import chosen_ways, contact_of, page_of


def address(taken: TakenIn, place: int = 0) -> str:
    """The page of the ticket's choices."""
    return f"/bench/{taken.numbers[place][:-1]}-{taken.numbers[place][-1]}/choices"


def send(browser: Browser, taken: TakenIn, role: str = "owner", place: int = 0, **typed: object):
    """Open the page and send a contact's form."""
    page = browser.get(address(taken, place)).text
    shown = {name: hidden(page, name) for name in ("seen", "csrf_token", "deed_key")}
    return browser.post(f"{address(taken, place)}/{role}", data=shown | typed)


@on_both
def test_the_bench_keeps_what_a_customer_asks_for(staff_client: Browser, desk: Desk, taken_in: TakenIn) -> None:
    before = staff_client.get(address(taken_in)).text
    assert "ada@example.org" in before  # the bench may see where it leads

    answer = send(staff_client, taken_in, wants="few", way=["ring", "mail"], no_reminders="on", language="de")

    assert answer.status_code == 303
    contact = contact_of(desk, taken_in)
    assert (contact.wants, contact.channels, contact.no_reminders) == ("few", ["ring", "mail"], True)
    after = staff_client.get(answer.location).text
    assert "Messages go by it from now on." in after
    assert chosen_ways(after) == ["ring", "mail"]
    with desk.reading() as connection:
        assert visits.by_id(connection, contact.visit_id).language == "de"
        entry = journal.entries(connection, find(connection, taken_in.numbers[0]).id)[-1]
    assert (entry.event, entry.by, entry.audience) == ("chose_messages", "Robin", "bench")


def test_the_customer_finds_it_on_their_own_page(
    client: Browser, staff_client: Browser, desk: Desk, taken_in: TakenIn
) -> None:
    send(staff_client, taken_in, wants="all", way=["ring"])

    assert chosen_ways(client.get(page_of(desk, taken_in)).text) == ["ring", ""]


def test_it_stands_in_the_journal_of_the_ticket_that_was_spoken_of(staff_client: Browser, desk: Desk) -> None:
    taken = take_in(desk, BENCH, NewVisit([NewDevice("Radio", ""), NewDevice("Phone", "")], email="ada@example.org"))

    assert send(staff_client, taken, place=1, wants="none").status_code == 303

    with desk.reading() as connection:
        said = [
            [entry.event for entry in journal.entries(connection, find(connection, number).id)]
            for number in taken.numbers
        ]
    assert said == [["arrived"], ["arrived", "chose_messages"]]


def test_a_second_person_is_asked_for_themselves(staff_client: Browser, desk: Desk) -> None:
    second = Second(name="Eve", email="eve@example.org", may_be_told=True)
    taken = take_in(desk, BENCH, NewVisit([NewDevice("Phone", "")], email="ada@example.org", second=second))
    page = staff_client.get(address(taken)).text
    assert len(re.findall("<form method=.post. action=.*?/choices/", page)) == 2

    assert send(staff_client, taken, role="second", wants="few", way=["mail"]).status_code == 303

    assert (contact_of(desk, taken, "second").wants, contact_of(desk, taken).wants) == ("few", "all")


@pytest.mark.parametrize(
    ("typed", "told"),
    [
        ({"wants": "all", "way": ["", ""]}, "Choose at least one way"),
        ({"wants": "few", "way": ["sms"]}, "Choose at least one way"),  # the shop has no gateway
        ({"wants": "few", "way": ["push"]}, "Choose at least one way"),  # no device of theirs shows notices
        ({"wants": "sometimes", "way": ["mail"]}, "Choose how much"),
        ({"wants": "all", "way": ["mail"], "language": "tlh"}, "does not write in that language"),
    ],
)
def test_what_does_not_fit_is_refused_and_stays_as_it_was_typed(
    staff_client: Browser, desk: Desk, taken_in: TakenIn, typed: dict, told: str
) -> None:
    before = contact_of(desk, taken_in)

    answer = send(staff_client, taken_in, no_reminders="on", **typed)

    assert answer.status_code == 422
    assert told in answer.text
    assert re.search(r'name="no_reminders" checked', answer.text)
    assert contact_of(desk, taken_in) == before


def test_there_is_no_second_person_to_choose_for(staff_client: Browser, taken_in: TakenIn) -> None:
    assert send(staff_client, taken_in, role="second", wants="none").status_code == 404


def test_what_changed_meanwhile_is_told_first(staff_client: Browser, desk: Desk, taken_in: TakenIn) -> None:
    page = staff_client.get(address(taken_in)).text
    shown = {name: hidden(page, name) for name in ("seen", "csrf_token", "deed_key")}
    send(staff_client, taken_in, wants="none")

    answer = staff_client.post(f"{address(taken_in)}/owner", data=shown | {"wants": "all", "way": ["mail"]})

    assert answer.status_code == 409
    assert "Somebody was here meanwhile" in answer.text
    assert contact_of(desk, taken_in).wants == "none"


def test_the_page_is_found_from_the_ticket_and_from_the_telephone(staff_client: Browser, taken_in: TakenIn) -> None:
    ticket = address(taken_in).removesuffix("/choices")

    for page in (ticket, f"{ticket}/phone"):
        assert f'href="{address(taken_in)}"' in staff_client.get(page).text
