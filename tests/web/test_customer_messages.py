"""How somebody hears from the shop: chosen on their own link's page, kept with every refusal, stopped by one press."""

from __future__ import annotations

import re

import pytest

from portal.actions.desk import Desk, find
from portal.actions.intake import NewDevice, NewVisit, Second, TakenIn, take_in
from portal.actions.links import renew_contact
from portal.rules.tokens import LinkKind
from portal.store import journal, visits
from portal.store.visits import Contact
from tests.conftest import BENCH
from tests.web.browser import Browser, hidden
from tests.web.conftest import on_both
from tests.web.test_customer_docket import path_of


def contact_of(desk: Desk, taken: TakenIn, role: str = "owner") -> Contact:
    with desk.reading() as connection:
        visit = visits.by_ref(connection, taken.visit_ref)
        assert visit is not None
        return next(each for each in visits.contacts_of(connection, visit.id) if each.role == role)


def page_of(desk: Desk, taken: TakenIn, role: str = "owner") -> str:
    """The page behind a contact's own link."""
    contact = contact_of(desk, taken, role)
    return path_of(desk.links.customer(LinkKind.CONTACT, contact.ref, contact.link_version)) + "/messages"


def written(desk: Desk, taken: TakenIn) -> list[tuple[str, dict]]:
    """The journal's events with their data."""
    with desk.reading() as connection:
        ticket = find(connection, taken.numbers[0])
        return [(entry.event, dict(entry.data)) for entry in journal.entries(connection, ticket.id)]


def chosen_ways(page: str) -> list[str]:
    """What the selects show, in order."""
    return [
        (re.findall(r'value="(\w*)" selected', select) or [""])[0]
        for select in re.findall(r'<select id="way.*?</select>', page, re.DOTALL)
    ]


@on_both
def test_a_customer_chooses_ways_in_their_order_how_much_and_the_language(
    client: Browser, desk: Desk, taken_in: TakenIn
) -> None:
    page = page_of(desk, taken_in)
    key = hidden(client.get(page).text, "deed_key")

    typed = {"wants": "few", "way": ["ring", "mail"], "no_reminders": "on", "language": "de", "deed_key": key}
    answer = client.post(page, data=typed)

    assert answer.status_code == 303
    contact = contact_of(desk, taken_in)
    assert (contact.wants, contact.channels, contact.no_reminders) == ("few", ["ring", "mail"], True)
    with desk.reading() as connection:
        assert visits.by_id(connection, contact.visit_id).language == "de"
    shown = client.get(answer.headers["Location"]).text
    assert "Gespeichert." in shown
    assert chosen_ways(shown) == ["ring", "mail"]
    assert written(desk, taken_in)[-1] == ("chose_messages", {"contact": "owner", "wants": "few"})


def test_the_same_form_twice_counts_once(client: Browser, desk: Desk, taken_in: TakenIn) -> None:
    page = page_of(desk, taken_in)
    typed = {"wants": "none", "deed_key": hidden(client.get(page).text, "deed_key")}

    assert [client.post(page, data=typed).status_code for _each in range(2)] == [303, 303]
    assert [event for event, _data in written(desk, taken_in)].count("chose_messages") == 1


def test_who_stopped_may_start_again(client: Browser, desk: Desk, taken_in: TakenIn) -> None:
    page = page_of(desk, taken_in)

    client.post(page, data={"wants": "none"})
    assert contact_of(desk, taken_in).wants == "none"
    assert chosen_ways(client.get(page).text) == ["mail", "ring"]  # as the shop has them; there is no gateway
    client.post(page, data={"wants": "all", "way": ["mail", ""]})

    assert (contact_of(desk, taken_in).wants, contact_of(desk, taken_in).channels) == ("all", ["mail"])


def test_the_bench_sees_who_wants_no_messages(
    client: Browser, staff_client: Browser, desk: Desk, taken_in: TakenIn
) -> None:
    bench = f"/bench/{taken_in.numbers[0]}"
    assert "wants" not in staff_client.get(bench, follow_redirects=True).text

    client.post(page_of(desk, taken_in), data={"wants": "none"})

    page = staff_client.get(bench, follow_redirects=True).text
    assert "wants no messages" in page
    assert "The customer chose which messages to get: nothing" in page


@pytest.mark.parametrize(
    ("typed", "told"),
    [
        ({"wants": "all", "way": ["", ""]}, "Choose at least one way"),
        ({"wants": "few", "way": ["pigeon", ""]}, "Choose at least one way"),
        ({"wants": "few", "way": ["sms", ""]}, "Choose at least one way"),  # the shop has no gateway
        ({"wants": "sometimes", "way": ["mail", ""]}, "Choose how much"),
        ({"way": ["mail", ""]}, "Choose how much"),
        ({"wants": "all", "way": ["mail", ""], "language": "tlh"}, "does not write in that language"),
    ],
)
def test_a_choice_that_does_not_fit_is_refused_and_changes_nothing(
    client: Browser, desk: Desk, taken_in: TakenIn, typed: dict, told: str
) -> None:
    before = contact_of(desk, taken_in)

    answer = client.post(page_of(desk, taken_in), data=typed | {"no_reminders": "on"})

    assert answer.status_code == 422
    assert told in answer.text
    assert re.search(r'name="no_reminders" checked', answer.text)
    assert contact_of(desk, taken_in) == before
    assert [event for event, _data in written(desk, taken_in)] == ["arrived"]


def test_a_way_chosen_twice_counts_once(client: Browser, desk: Desk, taken_in: TakenIn) -> None:
    client.post(page_of(desk, taken_in), data={"wants": "all", "way": ["ring", "ring"]})

    assert contact_of(desk, taken_in).channels == ["ring"]


def test_addresses_are_shown_so_that_only_their_owner_knows_them(
    client: Browser, desk: Desk, taken_in: TakenIn
) -> None:
    page = client.get(page_of(desk, taken_in)).text

    assert "a…@example.org" in page
    assert "…123" in page
    assert "ada@example.org" not in page
    assert "900123" not in page


def test_the_dockets_link_leads_to_nobodys_choices(client: Browser, desk: Desk, taken_in: TakenIn) -> None:
    docket = path_of(taken_in.link)

    for page in ("messages", "messages/reminders"):
        assert client.get(f"{docket}/{page}").status_code == 404
        assert client.post(f"{docket}/{page}", data={"wants": "none"}).status_code == 404
    assert contact_of(desk, taken_in).wants == "all"
    assert "/messages" not in client.get(docket).text
    assert "/messages" in client.get(page_of(desk, taken_in).removesuffix("/messages")).text


def test_a_second_person_chooses_for_themselves_and_not_the_language(client: Browser, desk: Desk) -> None:
    second = Second(name="Eve", email="eve@example.org", may_be_told=True)
    taken = take_in(desk, BENCH, NewVisit([NewDevice("Phone", "")], email="ada@example.org", second=second))
    page = page_of(desk, taken, "second")

    assert 'name="language"' not in client.get(page).text
    client.post(page, data={"wants": "few", "way": ["mail"], "language": "de"})

    assert (contact_of(desk, taken, "second").wants, contact_of(desk, taken).wants) == ("few", "all")
    with desk.reading() as connection:
        assert visits.by_id(connection, contact_of(desk, taken).visit_id).language == "en"


def test_a_renewed_link_chooses_nothing_any_more(client: Browser, desk: Desk, taken_in: TakenIn) -> None:
    page = page_of(desk, taken_in)
    renew_contact(desk, BENCH, taken_in.numbers[0], contact_of(desk, taken_in).ref)

    assert client.post(page, data={"wants": "none"}).status_code == 410
    assert contact_of(desk, taken_in).wants == "all"


# Reminders, stopped by one press


@on_both
def test_a_mail_program_stops_reminders_by_itself_and_is_not_sent_elsewhere(
    client: Browser, desk: Desk, taken_in: TakenIn
) -> None:
    page = page_of(desk, taken_in) + "/reminders"

    # RFC 8058 3.2: a POST with exactly this, without cookies, and no redirect as the answer.
    for _time in range(2):
        answer = client.post(page, data="List-Unsubscribe=One-Click", content_type="application/x-www-form-urlencoded")
        assert answer.status_code == 200

    contact = contact_of(desk, taken_in)
    assert (contact.no_reminders, contact.wants) == (True, "all")
    assert [event for event, _data in written(desk, taken_in)] == ["arrived", "stopped_reminders"]


def test_opening_the_address_stops_nothing(client: Browser, desk: Desk, taken_in: TakenIn) -> None:
    page = page_of(desk, taken_in) + "/reminders"

    assert "Send me no more reminders" in client.get(page).text
    assert client.head(page).status_code == 200
    assert not contact_of(desk, taken_in).no_reminders


def test_another_sites_form_stops_nothing(client: Browser, desk: Desk, taken_in: TakenIn) -> None:
    page = page_of(desk, taken_in)

    for address in (page, page + "/reminders"):
        answer = client.post(address, data={"wants": "none"}, headers={"Origin": "https://elsewhere.example"})
        assert answer.status_code == 403
    assert (contact_of(desk, taken_in).wants, contact_of(desk, taken_in).no_reminders) == ("all", False)
