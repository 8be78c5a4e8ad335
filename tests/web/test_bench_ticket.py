"""The ticket's page: one form, one deed; a refusal loses no word, and a form sent twice counts once."""

from __future__ import annotations

import pytest
from werkzeug.test import TestResponse

from portal.actions import moves, notes
from portal.actions.desk import By, Desk, find
from portal.actions.intake import NewDevice, NewVisit, take_in
from portal.rules.numbers import spoken
from portal.rules.stages import Hold
from portal.store import journal, visits
from portal.store.tickets import Ticket
from tests.web.browser import Browser, hidden_fields
from tests.web.conftest import on_both


def now_of(desk: Desk, number: str) -> Ticket:
    with desk.reading() as connection:
        return find(connection, number)


def entries(desk: Desk, number: str) -> list[journal.Entry]:
    with desk.reading() as connection:
        return journal.entries(connection, find(connection, number).id)


class Form:
    """A form of a ticket's page as a browser holds it open."""

    def __init__(self, browser: Browser, number: str, name: str) -> None:
        self.browser = browser
        self.action = f"/bench/{spoken(number)}/{name}"
        self.fields = hidden_fields(browser.get(f"/bench/{spoken(number)}").text, self.action)

    def send(self, **typed: str) -> TestResponse:
        return self.browser.post(self.action, data=self.fields | typed)


@on_both
def test_a_ticket_moves_to_the_next_stage(staff_client: Browser, desk: Desk, number: str) -> None:
    answer = Form(staff_client, number, "move").send(stage="cleaning", confirmed="1")

    assert (answer.status_code, answer.location) == (303, f"/bench/{spoken(number)}?done=move")
    assert now_of(desk, number).stage == "cleaning"
    assert "It is moved." in staff_client.get(answer.location).text


def test_a_refused_move_says_why_and_changes_nothing(staff_client: Browser, desk: Desk, number: str) -> None:
    answer = Form(staff_client, number, "move").send(stage="ready")

    assert answer.status_code == 422
    assert 'role="alert"' in answer.text
    assert "“Board work” comes first and may not be skipped." in answer.text
    assert now_of(desk, number).stage == "received"


def test_a_move_with_a_warning_asks_once_and_then_goes_through(
    staff_client: Browser, desk: Desk, technician: By
) -> None:
    nobody = take_in(desk, technician, NewVisit([NewDevice("Organ", "Hums")])).numbers[0]
    for stage in ("board_work", "testing"):
        moves.move(desk, technician, nobody, stage)

    asked = Form(staff_client, nobody, "move").send(stage="ready")
    assert asked.status_code == 422
    assert "Nobody can be told" in asked.text
    assert "Move there all the same" in asked.text

    action = f"/bench/{spoken(nobody)}/move"
    answer = staff_client.post(action, data=hidden_fields(asked.text, action) | {"stage": "ready"})

    assert answer.status_code == 303
    assert now_of(desk, nobody).stage == "ready"


def test_going_back_needs_its_reason_beside_the_field(
    staff_client: Browser, desk: Desk, number: str, technician: By
) -> None:
    Form(staff_client, number, "move").send(stage="board_work", confirmed="1")

    answer = Form(staff_client, number, "move").send(stage="received", why="")

    assert answer.status_code == 422
    assert '<p class="fault">The reason for going back is missing. Please fill it in.</p>' in answer.text
    assert now_of(desk, number).stage == "board_work"


def test_a_ticket_is_put_on_hold_and_goes_on(staff_client: Browser, desk: Desk, number: str) -> None:
    Form(staff_client, number, "hold").send(kind="part", why="A socket is on its way")
    assert now_of(desk, number).hold is Hold.PART

    Form(staff_client, number, "hold").send(kind="none")
    assert now_of(desk, number).hold is None


@pytest.mark.parametrize("audience", ["bench", "customer"])
def test_a_note_is_for_whom_it_says(staff_client: Browser, desk: Desk, number: str, audience: str) -> None:
    Form(staff_client, number, "note").send(text="The socket is torn off.", audience=audience)

    last = entries(desk, number)[-1]
    assert (last.text, last.audience) == ("The socket is torn off.", audience)


def test_a_note_without_a_button_pressed_stays_with_the_bench(staff_client: Browser, desk: Desk, number: str) -> None:
    Form(staff_client, number, "note").send(text="The socket is torn off.")

    assert entries(desk, number)[-1].audience == "bench"


def test_an_entry_is_corrected_by_a_new_one(staff_client: Browser, desk: Desk, number: str) -> None:
    Form(staff_client, number, "note").send(text="Left socket", audience="bench")

    Form(staff_client, number, "correct").send(entry="2", text="Right socket")

    texts = [entry.text for entry in entries(desk, number)]
    assert texts[-2:] == ["Left socket", "Right socket"]


def test_place_date_and_express_are_kept(staff_client: Browser, desk: Desk, number: str) -> None:
    Form(staff_client, number, "shelf").send(place="B 12", needed_by="2026-03-09", express="1")

    ticket = now_of(desk, number)
    assert (ticket.place, str(ticket.needed_by), ticket.express) == ("B 12", "2026-03-09", True)


def test_a_contact_is_put_right_and_a_second_person_named(staff_client: Browser, desk: Desk, number: str) -> None:
    Form(staff_client, number, "contact/owner").send(name="Ida Fenn", phone="07700 900456", phone_is_on_bench="1")
    Form(staff_client, number, "contact/second").send(name="Bo Marsh", email="bo@example.org", may="collect")

    with desk.reading() as connection:
        owner, second = visits.contacts_of(connection, find(connection, number).visit_id)
    assert (owner.name, owner.phone, owner.email, owner.phone_is_on_bench) == ("Ida Fenn", "+447700900456", "", True)
    assert (second.name, second.may_agree, second.may_collect) == ("Bo Marsh", False, True)
    assert 'value="bo@example.org"' in staff_client.get(f"/bench/{spoken(number)}").text


@on_both
def test_a_form_sent_twice_counts_once(staff_client: Browser, desk: Desk, number: str) -> None:
    form = Form(staff_client, number, "note")

    answers = [form.send(text="Once is enough.", audience="bench").status_code for _time in range(2)]

    assert answers == [303, 303]
    assert [entry.text for entry in entries(desk, number)].count("Once is enough.") == 1


@on_both
def test_a_form_sent_on_a_stale_page_tells_what_happened_and_keeps_what_was_typed(
    staff_client: Browser, desk: Desk, number: str, technician: By
) -> None:
    form = Form(staff_client, number, "note")
    notes.note(desk, technician, number, "I was quicker.")

    answer = form.send(text="My own <words>", audience="bench")

    assert answer.status_code == 409
    assert "I was quicker." in answer.text
    assert "My own &lt;words&gt;</textarea>" in answer.text
    assert entries(desk, number)[-1].text == "I was quicker."

    action = form.action
    again = staff_client.post(action, data=hidden_fields(answer.text, action) | {"text": "My own <words>"})
    assert again.status_code == 303
    assert entries(desk, number)[-1].text == "My own <words>"


@pytest.mark.parametrize(
    ("form", "fields", "shown"),
    [
        ("note", {"text": "x" * 10_000}, "x" * 10_000),
        ("note", {"text": "\x00 \u202e"}, ""),
        ("shelf", {"place": "B" * 99, "needed_by": "tomorrow"}, "B" * 99),
        ("shelf", {"place": "", "needed_by": "31/02/2026"}, "31/02/2026"),
        ("hold", {"kind": "lunch", "why": "So hungry"}, "So hungry"),
        ("move", {"stage": "{{7*7}}", "why": "'; DROP TABLE tickets"}, ""),
        ("contact/owner", {"name": "Ida Fenn", "email": "no <body>"}, "no &lt;body&gt;"),
        ("contact/second", {"name": "", "phone": "07700 900456"}, "07700 900456"),
        ("correct", {"entry": "99", "text": "What is right"}, "What is right"),
        ("correct", {"entry": "9" * 5000, "text": "What is right"}, "What is right"),
    ],
)
def test_bad_input_is_refused_in_words_and_comes_back(
    staff_client: Browser, desk: Desk, number: str, form: str, fields: dict[str, str], shown: str
) -> None:
    answer = Form(staff_client, number, form).send(**fields)

    assert answer.status_code == 422
    assert 'role="alert"' in answer.text
    assert shown in answer.text
    assert now_of(desk, number).revision == 1


@pytest.mark.parametrize("seen", ["", "-1", "x", "1e3", "9" * 40, "99"])
def test_a_damaged_revision_changes_nothing(staff_client: Browser, desk: Desk, number: str, seen: str) -> None:
    form = Form(staff_client, number, "note")
    form.fields["seen"] = seen

    answer = form.send(text="A word")

    assert answer.status_code in (409, 422)
    assert "A word</textarea>" in answer.text
    assert now_of(desk, number).revision == 1


def test_words_of_people_are_shown_as_they_are(staff_client: Browser, number: str) -> None:
    Form(staff_client, number, "note").send(text="<script>alert(1)</script> {{7*7}}\nsecond line", audience="bench")

    page = staff_client.get(f"/bench/{spoken(number)}").text

    assert "&lt;script&gt;alert(1)&lt;/script&gt; {{7*7}}<br>\nsecond line" in page


def test_a_number_with_a_slip_is_told_so(staff_client: Browser, number: str) -> None:
    slip = number[:-1] + str((int(number[-1]) + 1) % 10)

    answer = staff_client.get(f"/bench/{slip}")

    assert answer.status_code == 422
    assert "number" in answer.text


def test_a_number_never_given_is_not_found(staff_client: Browser) -> None:
    assert staff_client.get("/bench/5724").status_code in (404, 422)
