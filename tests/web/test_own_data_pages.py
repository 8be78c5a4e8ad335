"""`/t/<token>/data`: what a person does about their own data on their page, with a code, in plain forms."""

from __future__ import annotations

import io
import json
import zipfile
from pathlib import Path
from urllib.parse import urlsplit

import pytest
from werkzeug.test import TestResponse

from portal.actions import codes
from portal.actions.contacts import ContactTyped, change_contact
from portal.actions.desk import By, Desk
from portal.actions.handover import return_unrepaired
from portal.actions.intake import NewDevice, NewVisit, TakenIn, take_in
from portal.actions.notes import note
from portal.rules.numbers import spoken
from portal.rules.tokens import LinkKind
from portal.store import rights, visits
from tests.actions.aftermath import everything, journal_of, messages, ticket_of
from tests.conftest import BENCH
from tests.web.browser import Browser, hidden_fields
from tests.web.test_customer_docket import path_of


@pytest.fixture
def own(taken_in: TakenIn) -> str:
    return path_of(taken_in.link) + "/data"


def code_of(desk: Desk, number: str) -> str:
    with desk.reading() as connection:
        newest = rights.CODES.newest(connection, ticket_of(desk, number).visit_id)
    assert newest is not None
    return codes.code_of(desk.links.secret, newest.ref)


def opened(client: Browser, desk: Desk, own: str, number: str) -> str:
    """The page behind a code."""
    client.post(own + "/code")
    answer = client.post(own + "/open", data={"code": code_of(desk, number)})
    assert answer.status_code == 200
    return answer.text


def send(client: Browser, page: str, action: str, **fields: str) -> TestResponse:
    return client.post(action, data=hidden_fields(page, action) | fields)


def contact_link(desk: Desk, number: str, role: str = "owner") -> str:
    with desk.reading() as connection:
        (contact,) = [
            each for each in visits.contacts_of(connection, ticket_of(desk, number).visit_id) if each.role == role
        ]
    return urlsplit(desk.links.customer(LinkKind.CONTACT, contact.ref, contact.link_version)).path


def test_the_notice_leads_there(client: Browser, own: str) -> None:
    assert f'href="{own}"' in client.get(own.removesuffix("/data") + "/privacy").text


def test_the_code_opens_the_forms_and_a_wrong_one_does_not(client: Browser, desk: Desk, own: str, number: str) -> None:
    assert client.post(own + "/code").location == own + "?code=sent"
    assert [event for event, *_rest in messages(desk)][-1] == "own_data_code"

    wrong = client.post(own + "/open", data={"code": "x"})
    assert wrong.status_code == 422
    assert "This is not the code" in wrong.text
    assert "Download all" not in wrong.text
    assert "Download all" in client.post(own + "/open", data={"code": code_of(desk, number)}).text


@pytest.mark.parametrize("form", ["download", "correct", "state", "erase", "restrict", "use-again", "object"])
@pytest.mark.parametrize("passed", ["", "0" * 64])
def test_nothing_is_done_without_the_pass(client: Browser, desk: Desk, own: str, form: str, passed: str) -> None:
    before = everything(desk)
    answer = client.post(f"{own}/{form}", data={"passed": passed, "name": "Eve", "words": "x"})

    assert answer.status_code == 422
    assert "time of your code is over" in answer.text
    assert everything(desk) == before


def test_the_download_is_what_the_command_writes(client: Browser, desk: Desk, own: str, number: str) -> None:
    """GDPR Art. 15(3) and 20(1): a copy; structured, commonly used and machine-readable."""
    answer = send(client, opened(client, desk, own, number), own + "/download")

    assert answer.mimetype == "application/zip"
    assert "no-store" in answer.headers["Cache-Control"]
    with zipfile.ZipFile(io.BytesIO(answer.data)) as bundle:
        assert {"read-me.html", "data.json", "data.sqlite"} <= set(bundle.namelist())
        rows = json.loads(bundle.read("data.json"))
    assert rows["contacts"][0]["email"] == "ada@example.org"


# Art. 15(1): purposes, categories, recipients, period, rights, complaint, source, automated decisions; (2) and (3).
ACCESS = {
    "15(1)(a)": "to repair the right device",
    "15(1)(b)": "Photos of the device",
    "15(1)(c)": "the carrier that takes the parcel",
    "15(1)(d)": "30 days",
    "15(1)(e)": "have it corrected, have it erased, have its use restricted, object to its use",
    "15(1)(f)": "complain to the data protection authority",
    "15(1)(g)": "You told us yourself",
    "15(1)(h)": "No machine decides about you",
    "15(2)": "out of the country",
    "15(3)": "ada@example.org",
}


@pytest.mark.parametrize("item", ACCESS)
def test_the_page_in_it_has_every_item_that_the_law_asks_for(
    client: Browser, desk: Desk, own: str, number: str, item: str
) -> None:
    answer = send(client, opened(client, desk, own, number), own + "/download")

    with zipfile.ZipFile(io.BytesIO(answer.data)) as bundle:
        assert ACCESS[item] in bundle.read("read-me.html").decode()


def test_of_the_staff_and_of_a_second_person_nothing_is_in_it(
    client: Browser, staff_client: Browser, desk: Desk, own: str, number: str, technician: By
) -> None:
    """Art. 15(4) GDPR: not to the harm of others."""
    change_contact(desk, technician, number, "second", ContactTyped("Ben Oakes", "ben@example.org", may_be_told=True))
    note(desk, technician, number, "Looks fine.")
    answer = send(client, opened(client, desk, own, number), own + "/download")

    with zipfile.ZipFile(io.BytesIO(answer.data)) as bundle:
        everything_in_it = b"".join(bundle.read(name) for name in bundle.namelist())
    assert b"Looks fine." in everything_in_it
    assert [
        found for found in (b"Ben Oakes", b"ben@example.org", b"Robin", b"by_staff") if found in everything_in_it
    ] == []


def test_name_and_address_are_corrected_and_what_does_not_fit_stays_typed(
    client: Browser, desk: Desk, own: str, number: str
) -> None:
    page = opened(client, desk, own, number)
    wrong = send(client, page, own + "/correct", name="Ada Lee", email="ada at home", phone="")
    assert wrong.status_code == 422
    assert 'value="ada at home"' in wrong.text

    right = send(client, wrong.text, own + "/correct", name="Ada Lee", email="ada@example.net", phone="")

    assert "A new link went to the new address" in right.text
    with desk.reading() as connection:
        owner = visits.contacts_of(connection, ticket_of(desk, number).visit_id)[0]
    assert (owner.name, owner.email) == ("Ada Lee", "ada@example.net")


def test_by_the_own_link_the_page_says_that_the_link_is_over(client: Browser, desk: Desk, number: str) -> None:
    own = contact_link(desk, number) + "/data"
    page = opened(client, desk, own, number)

    answer = send(client, page, own + "/correct", name="Ada", email="ada@example.net", phone="")

    assert answer.status_code == 200
    assert "Back to your repair" not in answer.text
    assert client.get(own).status_code == 410


def test_a_statement_is_asked_about_once_and_then_stands_on_the_report(
    client: Browser, desk: Desk, own: str, number: str
) -> None:
    words = "The scratch was there. Card 4111 1111 1111 1111."
    asked = send(client, opened(client, desk, own, number), own + "/state", words=words)
    assert asked.status_code == 422
    assert "number of a payment card" in asked.text
    assert words in asked.text

    assert send(client, asked.text, own + "/state", words=words).status_code == 200

    assert journal_of(desk, number)[-1].text == words
    report = client.get(f"{own.removesuffix('/data')}/report/{spoken(number)}").text
    assert "The scratch was there." in report


def test_erased_at_once_and_told_what_stays_until_when(
    client: Browser, desk: Desk, own: str, number: str, tmp_path: Path
) -> None:
    return_unrepaired(desk, BENCH, number, "Beyond repair.")
    answer = send(client, opened(client, desk, own, number), own + "/erase")

    assert answer.status_code == 200
    assert "What must stay (Art. 17(3) GDPR)" in answer.text
    assert "until" in answer.text
    assert "ada@example.org" not in repr(everything(desk))
    files = [file for file in tmp_path.iterdir() if file.name.startswith("benchwindow.db")]
    assert files
    assert [file.name for file in files if b"ada@example.org" in file.read_bytes()] == []


def test_while_the_device_is_here_the_shop_answers(client: Browser, desk: Desk, own: str, number: str) -> None:
    answer = send(client, opened(client, desk, own, number), own + "/erase")

    assert "Your device is still here" in answer.text
    assert "ada@example.org" in repr(everything(desk))


@pytest.mark.parametrize(("form", "says"), [("restrict", "only stored"), ("object", "no reminders")])
def test_used_less(client: Browser, desk: Desk, own: str, number: str, form: str, says: str) -> None:
    assert says in send(client, opened(client, desk, own, number), f"{own}/{form}", objection="No.").text


def test_only_stored_and_used_again_by_the_same_page(client: Browser, desk: Desk, own: str, number: str) -> None:
    """Art. 18 GDPR."""
    page = opened(client, desk, own, number)
    again = {"passed": hidden_fields(page, own + "/restrict")["passed"]}
    send(client, page, own + "/restrict")
    page = client.post(own + "/open", data=again).text
    assert "your data is only stored." in page

    assert "write to you as before" in send(client, page, own + "/use-again").text

    assert "Only store my data" in client.post(own + "/open", data=again).text


def test_without_a_code_a_person_at_the_shop_answers(client: Browser, desk: Desk, own: str, number: str) -> None:
    page = client.get(own).text
    empty = send(client, page, own + "/ask", what="Please.")
    assert empty.status_code == 422
    assert "Please choose what is asked for" in empty.text
    assert ">Please.</textarea>" in empty.text

    done = send(client, empty.text, own + "/ask", right="access", what="Please.")

    assert done.status_code == 303
    with desk.reading() as connection:
        (kept,) = rights.of_visit(connection, ticket_of(desk, number).visit_id)
    assert (kept.words, kept.through) == ("Please.", "page")
    assert "We have your request" in client.get(done.location).text
    again = send(client, client.get(own).text, own + "/ask", right="access", what="Again.")
    assert again.status_code == 422


def test_who_left_no_address_is_told_so(client: Browser, desk: Desk) -> None:
    taken = take_in(desk, BENCH, NewVisit(devices=[NewDevice("Radio", "", "console")]))
    page = client.get(path_of(taken.link) + "/data").text

    assert "We have no address of you" in page
    assert "Send me a code" not in page


def test_the_second_person_may_ask_but_not_open_somebody_elses_data(client: Browser, desk: Desk, number: str) -> None:
    change_contact(desk, BENCH, number, "second", ContactTyped("Ben", "ben@example.org", may_be_told=True))
    own = contact_link(desk, number, "second") + "/data"

    assert "Send me a code" not in client.get(own).text
    assert client.post(own + "/code").status_code == 403
    assert client.post(own + "/open", data={"code": "123456"}).status_code == 403
    assert send(client, client.get(own).text, own + "/ask", right="access").status_code == 303
    with desk.reading() as connection:
        (asked,) = rights.of_visit(connection, ticket_of(desk, number).visit_id)
    assert asked.whose == "second"


def test_it_is_read_in_german_too(client: Browser, own: str) -> None:
    assert "Ihre Daten" in client.get(own + "?lang=de").text


def test_words_that_are_asked_about_show_nothing_without_the_pass(client: Browser, own: str) -> None:
    typed = {"passed": "0" * 64, "deed_key": "a" * 32, "words": "Card 4111 1111 1111 1111"}

    answer = client.post(own + "/state", data=typed)

    assert answer.status_code == 422
    assert "ada@example.org" not in answer.text
