"""By telephone: one card a visit by the last digits, nothing about others, the call noted; what did not arrive."""

from __future__ import annotations

import pytest
from sqlalchemy import update

from notifications.tables import outbox
from portal.actions import conversation, moves, undelivered
from portal.actions.desk import By, Desk, find
from portal.actions.handover import return_unrepaired
from portal.actions.intake import NewDevice, NewVisit, Second, TakenIn, take_in
from portal.rules.numbers import spoken
from portal.store import calls, journal, visits
from tests.actions.bench import bring_to
from tests.conftest import BENCH
from tests.web.browser import Browser, hidden_fields
from tests.web.conftest import on_both


def entries(desk: Desk, number: str) -> list[journal.Entry]:
    with desk.reading() as connection:
        return journal.entries(connection, find(connection, number).id)


def found(browser: Browser, asked: str):
    return browser.get("/bench/phone", query_string={"q": asked})


# Finding


@on_both
@pytest.mark.parametrize("asked", ["0123", "900 123", "07700-900123", "Marsh"])
def test_one_customer_is_found_by_the_last_digits_or_the_name(staff_client: Browser, number: str, asked: str) -> None:
    answer = found(staff_client, asked)

    assert (answer.status_code, answer.location) == (302, f"/bench/{spoken(number)}/phone")


def test_a_customer_is_found_by_the_number_on_the_docket(staff_client: Browser, number: str) -> None:
    assert found(staff_client, spoken(number)).location == f"/bench/{spoken(number)}/phone"


def test_too_few_digits_lead_to_nobody(staff_client: Browser, number: str) -> None:
    answer = found(staff_client, "123")

    assert answer.status_code == 422
    assert "So few digits" in answer.text
    assert "Marsh" not in answer.text
    assert 'value="123"' in answer.text


def test_several_customers_are_listed_once_each(staff_client: Browser, desk: Desk, number: str) -> None:
    two = [NewDevice("Phone", ""), NewDevice("Laptop", "")]
    take_in(desk, BENCH, NewVisit(two, name="Eve Hill", phone="07700 910123"))

    page = found(staff_client, "0123").text

    assert "2 customers" in page
    assert page.count("Eve Hill") == 1
    assert page.count("Ada Marsh") == 1


def test_nobody_is_found_by_what_nobody_has(staff_client: Browser, number: str) -> None:
    assert "Nobody was found" in found(staff_client, "99999").text
    assert "Nobody was found" not in staff_client.get("/bench/phone").text


# The card


@on_both
def test_the_card_says_aloud_how_it_stands_and_when_the_shop_is_open(
    staff_client: Browser, desk: Desk, number: str
) -> None:
    moves.hold(desk, BENCH, number, "part")

    page = staff_client.get(f"/bench/{spoken(number)}/phone").text

    for sentence in ("It is not ready yet.", "We are waiting for a part.", "Open today 09:00–17:30."):
        assert sentence in page
    assert "may be told · may agree to costs · may collect" in page


def test_the_card_says_so_when_it_is_ready_and_never_the_code(staff_client: Browser, desk: Desk, number: str) -> None:
    bring_to(desk, number, "ready")

    page = staff_client.get(f"/bench/{spoken(number)}/phone").text

    assert "It is ready." in page
    assert "collection-code" not in page


def test_the_card_speaks_the_customers_language(staff_client: Browser, desk: Desk) -> None:
    number = take_in(desk, BENCH, NewVisit([NewDevice("Phone", "")], phone="07700 900123", language="de")).numbers[0]

    page = staff_client.get(f"/bench/{spoken(number)}/phone").text

    assert '<p lang="de"><strong>Es ist noch nicht fertig.</strong></p>' in page


def test_the_card_warns_of_a_phone_that_is_on_the_bench(staff_client: Browser, desk: Desk, number: str) -> None:
    assert "This phone is on the bench:" not in staff_client.get(f"/bench/{spoken(number)}/phone").text
    here = NewVisit([NewDevice("Phone", "")], phone="07700 900124", phone_is_on_bench=True)
    other = take_in(desk, BENCH, here).numbers[0]

    assert "This phone is on the bench:" in staff_client.get(f"/bench/{spoken(other)}/phone").text


def test_the_card_is_about_this_visit_and_nobody_else(staff_client: Browser, desk: Desk, taken_in: TakenIn) -> None:
    take_in(desk, BENCH, NewVisit([NewDevice("Wet laptop", "")], name="Eve Hill", phone="07700 910123"))

    page = staff_client.get(f"/bench/{spoken(taken_in.numbers[0])}/phone").text

    assert "Wet laptop" not in page
    assert "Eve Hill" not in page


def test_the_card_says_who_is_to_be_told_nothing(staff_client: Browser, desk: Desk) -> None:
    second = Second(name="Eve", email="eve@example.org", may_be_told=False, may_collect=True)
    number = take_in(desk, BENCH, NewVisit([NewDevice("Phone", "")], phone="07700 900123", second=second)).numbers[0]

    page = staff_client.get(f"/bench/{spoken(number)}/phone").text

    assert "is to be told nothing · may not agree to costs · may collect" in page


def test_the_card_of_what_has_left_says_that(staff_client: Browser, desk: Desk, number: str) -> None:
    return_unrepaired(desk, BENCH, number, "No parts.")

    page = staff_client.get(f"/bench/{spoken(number)}/phone").text

    assert "Your device was given back as it came." in page
    assert "ready" not in page.split('aria-label="What may be said aloud"')[1].split("</section>")[0]


# The call noted


def note_call(browser: Browser, number: str, **fields: object):
    at = f"/bench/{spoken(number)}/phone"
    return browser.post(at, data=hidden_fields(browser.get(at).text, at) | fields)


@on_both
def test_one_press_notes_the_call_and_takes_it_off_the_list(staff_client: Browser, desk: Desk, number: str) -> None:
    with desk.writing() as connection:
        ticket = find(connection, number)
        owner = visits.contacts_of(connection, ticket.visit_id)[0]
        calls.note(connection, "m1", owner.ref, ticket.ref, "ready_undone", [{}], desk.clock.now())
    today = staff_client.get("/bench/today").text
    assert "To ring" in today
    assert "+447700900123" in today
    assert "We wanted to ring them:" in staff_client.get(f"/bench/{spoken(number)}/phone").text

    answer = note_call(staff_client, number, outcome="reached", text="")

    assert answer.status_code == 303
    assert "The call is noted." in staff_client.get(answer.headers["Location"]).text
    assert entries(desk, number)[-1].data == {"outcome": "reached", "contact": "owner"}
    assert "To ring" not in staff_client.get("/bench/today").text


@pytest.mark.parametrize(
    ("fields", "told"),
    [
        ({"outcome": "sang"}, "Say what came of the call"),
        ({"outcome": "reached", "contact": "second"}, "Choose with whom you spoke"),
        ({"outcome": "reached", "text": "x" * 4001}, "at most 4000 fit"),
        ({"outcome": "reached", "text": "The PIN is 4711"}, "looks like a passcode"),
    ],
)
def test_a_call_that_does_not_fit_is_refused_with_the_words_kept(
    staff_client: Browser, desk: Desk, number: str, fields: dict, told: str
) -> None:
    answer = note_call(staff_client, number, **{"text": "Comes on Friday."} | fields)

    assert answer.status_code == 422
    assert told in answer.text
    assert fields.get("text", "Comes on Friday.") in answer.text
    assert [entry.event for entry in entries(desk, number)] == ["arrived"]


# What did not arrive


@pytest.fixture
def failed(desk: Desk, number: str) -> str:
    """The number of a ticket of which a message did not arrive."""
    with desk.writing() as connection:
        values = {"state": "failed", "settled_at": desk.clock.now(), "outcome": "550 no such <mailbox>"}
        connection.execute(update(outbox).values(**values))
    return number


@on_both
def test_what_did_not_arrive_stands_on_today_and_on_the_ticket(staff_client: Browser, failed: str) -> None:
    today = staff_client.get("/bench/today").text
    assert "Could not be delivered" in today
    assert f'href="/bench/{spoken(failed)}#undelivered"' in today
    assert "Told: taken in · by e-mail" in today
    page = staff_client.get(f"/bench/{spoken(failed)}").text

    for text in (
        "Could not be reached",
        "Told: taken in",
        "Ada Marsh",
        "550 no such &lt;mailbox&gt;",
        "by e-mail",
        'href="#contact"',
    ):
        assert text in page
    assert 'id="contact"' in page


@pytest.mark.parametrize("decision", ["again", "otherwise", "let_be"])
def test_once_it_is_decided_it_is_gone_from_both(staff_client: Browser, desk: Desk, failed: str, decision: str) -> None:
    with desk.reading() as connection:
        message = connection.execute(outbox.select()).one().id
    at, form = f"/bench/{spoken(failed)}", f"/bench/{spoken(failed)}/undelivered/{message}"

    answer = staff_client.post(form, data=hidden_fields(staff_client.get(at).text, form) | {"decision": decision})

    assert answer.status_code == 303
    page = staff_client.get(answer.headers["Location"]).text
    assert "It is decided what becomes of the message." in page
    assert "Could not be reached" not in page
    assert "Could not be delivered" not in staff_client.get("/bench/today").text


def test_nothing_is_decided_twice(staff_client: Browser, desk: Desk, failed: str, technician: By) -> None:
    with desk.reading() as connection:
        message = connection.execute(outbox.select()).one().id
    at, form = f"/bench/{spoken(failed)}", f"/bench/{spoken(failed)}/undelivered/{message}"
    opened = hidden_fields(staff_client.get(at).text, form)
    revision = undelivered.decide(desk, technician, failed, message, "let_be").revision

    answer = staff_client.post(form, data=opened | {"decision": "again", "seen": str(revision)})

    assert answer.status_code == 422
    assert "nothing to decide" in answer.text


# Attempts, on paper


def test_the_attempts_are_a_page_for_paper(staff_client: Browser, desk: Desk, failed: str, technician: By) -> None:
    conversation.rang(desk, technician, failed, "not_reached", "Rang out.")

    page = staff_client.get(f"/bench/{spoken(failed)}/attempts").text

    assert page.index("550 no such &lt;mailbox&gt;") < page.index("rung and not reached")
    for text in ("by e-mail", "the owner", "Robin", "Rang out.", "print.css"):
        assert text in page


def test_the_page_of_who_was_never_written_to_says_so(staff_client: Browser, number: str) -> None:
    assert "nobody rang them" in staff_client.get(f"/bench/{spoken(number)}/attempts").text
