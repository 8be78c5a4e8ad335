"""The keeper's list of requests about personal data: entered by hand, answered in time, never by anybody else."""

from __future__ import annotations

import io
import re
import zipfile
from datetime import timedelta

import pytest
from werkzeug.test import TestResponse

from notifications.instants import FixedClock
from portal.actions import own_data, rights
from portal.actions.contacts import ContactTyped, change_contact
from portal.actions.desk import Desk
from portal.actions.handover import return_unrepaired
from portal.actions.intake import TakenIn
from portal.actions.rights import Asked
from portal.rules.numbers import spoken
from portal.store import rights as rows
from tests.actions.aftermath import everything, ticket_of
from tests.conftest import BENCH
from tests.web.browser import Browser, hidden_fields

LIST = "/shop/requests"


def send(browser: Browser, page: str, action: str, **fields: str) -> TestResponse:
    return browser.post(action, data=hidden_fields(browser.get(page).text, action) | fields)


@pytest.fixture
def asked(desk: Desk, number: str) -> str:
    """The page of a request for everything that is held, of today."""
    return f"{LIST}/{rights.enter(desk, BENCH, Asked('access', 'mail', number=number))}"


def kept(desk: Desk, page: str) -> rows.Kept:
    with desk.reading() as connection:
        return rights.of(connection, page.rpartition("/")[2])


def test_a_letter_is_entered_and_stands_in_the_list_with_its_last_day(
    keeper_client: Browser, desk: Desk, number: str
) -> None:
    fields = {"number": spoken(number), "right": "erasure", "through": "mail", "received_on": "2026-02-27"}
    answer = send(keeper_client, LIST, f"{LIST}/enter", **fields, words="Please erase it all.")

    assert answer.status_code == 303
    assert "due by Fri, 27 Mar 2026" in keeper_client.get(LIST).text
    assert "Please erase it all." in keeper_client.get(answer.location).text


def test_what_does_not_fit_stays_typed(keeper_client: Browser) -> None:
    answer = send(keeper_client, LIST, f"{LIST}/enter", right="access", through="", words="What do you hold?")

    assert answer.status_code == 422
    assert "Please choose how it came" in answer.text
    assert "What do you hold?" in answer.text


def test_nobody_enters_that_it_came_by_the_page(keeper_client: Browser) -> None:
    assert send(keeper_client, LIST, f"{LIST}/enter", right="access", through="page").status_code == 422


def test_answered_it_leaves_the_list(keeper_client: Browser, desk: Desk, asked: str) -> None:
    assert send(keeper_client, asked, f"{asked}/settle", state="done", answer="").status_code == 422

    assert send(keeper_client, asked, f"{asked}/settle", state="done", answer="Sent by post.").status_code == 303

    assert kept(desk, asked).answer == "Sent by post."
    assert "Nothing waits for you." in keeper_client.get(LIST).text


def test_late_ones_say_so_and_today_lists_them_for_the_keeper(
    keeper_client: Browser, asked: str, clock: FixedClock
) -> None:
    clock.at += timedelta(days=40)
    keeper_client.log_in("Kim")

    assert "late since" in keeper_client.get(LIST).text
    assert "Requests about personal data" in keeper_client.get("/bench/today").text


def test_the_bench_is_not_shown_them_today(staff_client: Browser, asked: str) -> None:
    assert "Requests about personal data" not in staff_client.get("/bench/today").text


def test_two_months_more_with_a_reason(keeper_client: Browser, desk: Desk, asked: str) -> None:
    assert send(keeper_client, asked, f"{asked}/extend", why="").status_code == 422
    send(keeper_client, asked, f"{asked}/extend", why="Twelve repairs.")

    page = keeper_client.get(asked).text
    assert "due by Tue, 2 Jun 2026" in page
    assert "Twelve repairs." in page


def test_the_clock_stands_still_and_goes_on(keeper_client: Browser, desk: Desk, asked: str) -> None:
    send(keeper_client, asked, f"{asked}/stop")
    assert "stands still since" in keeper_client.get(asked).text

    send(keeper_client, asked, f"{asked}/go-on")
    assert kept(desk, asked).request.paused_on is None


def test_the_keeper_hands_over_what_the_command_writes(keeper_client: Browser, asked: str) -> None:
    answer = keeper_client.get(f"{asked}/data.zip")

    with zipfile.ZipFile(io.BytesIO(answer.data)) as bundle:
        assert b"ada@example.org" in bundle.read("data.json")


def test_erased_for_a_request_and_told_what_stays(keeper_client: Browser, desk: Desk, number: str) -> None:
    page = f"{LIST}/{rights.enter(desk, BENCH, Asked('erasure', 'mail', number=number))}"
    refused = send(keeper_client, page, f"{page}/erase")
    assert refused.status_code == 422
    assert "still needed for" in refused.text
    return_unrepaired(desk, BENCH, number, "Beyond repair.")

    answer = send(keeper_client, page, f"{page}/erase")

    assert "What could go is gone." in answer.text
    assert "Proof of what you agreed to" in answer.text
    assert "ada@example.org" not in repr(everything(desk))


def test_answered_first_it_can_still_be_erased(keeper_client: Browser, desk: Desk, number: str) -> None:
    """Else whoever had no other address would never hear what became of their request (Art. 12(3) GDPR)."""
    page = f"{LIST}/{rights.enter(desk, BENCH, Asked('erasure', 'mail', number=number))}"
    return_unrepaired(desk, BENCH, number, "Beyond repair.")
    send(keeper_client, page, f"{page}/settle", state="done", answer="All but the account.")

    assert "What could go is gone." in send(keeper_client, page, f"{page}/erase").text


def test_what_was_refused_is_not_erased_by_a_slip(keeper_client: Browser, desk: Desk, number: str) -> None:
    page = f"{LIST}/{rights.enter(desk, BENCH, Asked('erasure', 'mail', number=number))}"
    send(keeper_client, page, f"{page}/settle", state="refused", answer="A claim is open.")

    assert f'action="{page}/erase"' not in keeper_client.get(page).text


def test_a_restriction_is_seen_at_the_bench_until_it_is_lifted(keeper_client: Browser, desk: Desk, number: str) -> None:
    page = f"{LIST}/{rights.enter(desk, BENCH, Asked('restriction', 'counter', number=number))}"
    send(keeper_client, page, f"{page}/settle", state="done", answer="Until the claim is settled.")
    pages = f"/bench/{spoken(number)}", f"/bench/{spoken(number)}/data"
    assert all("nly stored since" in keeper_client.get(each).text for each in pages)
    untold = send(keeper_client, page, f"{page}/lift", told="")
    assert untold.status_code == 422
    assert "How they were told is missing" in untold.text

    assert send(keeper_client, page, f"{page}/lift", told="By telephone.").status_code == 303

    assert not any("nly stored since" in keeper_client.get(each).text for each in pages)
    assert "(By telephone.)" in keeper_client.get(page).text


def test_the_end_of_a_restriction_is_told_and_its_day_stands_on_both_pages(
    keeper_client: Browser, desk: Desk, number: str
) -> None:
    page = f"{LIST}/{rights.enter(desk, BENCH, Asked('restriction', 'counter', number=number))}"
    send(keeper_client, page, f"{page}/settle", state="done", answer="Until the claim is settled.")

    assert send(keeper_client, page, f"{page}/announce-end").status_code == 303

    assert "It ends on Tue, 3 Mar 2026" in keeper_client.get(page).text
    assert "it ends on Tue, 3 Mar 2026" in keeper_client.get(f"/bench/{spoken(number)}/data").text


def test_the_bench_enters_one_at_the_counter(staff_client: Browser, desk: Desk, taken_in: TakenIn) -> None:
    page = f"/bench/{spoken(taken_in.numbers[0])}/data"
    wrong = send(staff_client, page, f"{page}/request", right="", through="counter", words="All of it.")
    assert wrong.status_code == 422
    assert "All of it." in wrong.text

    assert send(staff_client, page, f"{page}/request", right="access", through="counter").status_code == 303

    with desk.reading() as connection:
        (entered,) = rows.of_visit(connection, ticket_of(desk, taken_in.numbers[0]).visit_id)
    assert entered.through == "counter"


def test_an_address_that_leads_to_no_request_says_so(keeper_client: Browser) -> None:
    assert keeper_client.get(f"{LIST}/NOSUCHREF0").status_code == 404
    assert keeper_client.get(f"{LIST}/NOSUCHREF0/data.zip").status_code == 404


def test_what_may_be_done_with_restricted_data_is_written_down_by_the_bench_and_taken_back(
    staff_client: Browser, desk: Desk, number: str
) -> None:
    """Art. 18(2) GDPR."""
    own_data.restrict(desk, number)
    ticket, data = f"/bench/{spoken(number)}", f"/bench/{spoken(number)}/data"
    refused = send(staff_client, ticket, f"{ticket}/note", text="It is open.", audience="customer")
    assert refused.status_code == 422
    assert "nothing is written to them" in refused.text
    assert ">It is open.</textarea>" in refused.text

    unfit = send(staff_client, data, f"{data}/allow", uses="write", why="Said so at the counter.")
    assert unfit.status_code == 422
    assert "Please choose what allows it" in unfit.text
    assert 'value="Said so at the counter."' in unfit.text
    assert re.search(r'value="write" checked', unfit.text)
    done = send(staff_client, data, f"{data}/allow", uses="write", ground="consent", why="Said so at the counter.")
    assert done.status_code == 303
    assert re.search(r"they agreed to it:\s*(<[^>]+>)?Said so at the counter\.", staff_client.get(data).text)
    assert send(staff_client, ticket, f"{ticket}/note", text="It is open.", audience="customer").status_code == 303

    assert send(staff_client, data, f"{data}/allow-no-more", use="write").status_code == 303

    assert send(staff_client, ticket, f"{ticket}/note", text="Again.", audience="customer").status_code == 422


def test_a_second_persons_request_is_answered_with_what_is_theirs(
    keeper_client: Browser, desk: Desk, number: str
) -> None:
    """Art. 15(4) and 17 GDPR."""
    data = f"/bench/{spoken(number)}/data"
    assert 'name="whose"' not in keeper_client.get(data).text
    change_contact(desk, BENCH, number, "second", ContactTyped("Ben Oakes", "ben@example.org", may_be_told=True))
    assert (
        send(keeper_client, data, f"{data}/request", right="erasure", through="mail", whose="second").status_code == 303
    )
    with desk.reading() as connection:
        (asked,) = rows.of_visit(connection, ticket_of(desk, number).visit_id)
    page = f"{LIST}/{asked.ref}"
    assert "the second person named with the repair" in keeper_client.get(page).text
    with zipfile.ZipFile(io.BytesIO(keeper_client.get(f"{page}/data.zip").data)) as bundle:
        told = bundle.read("data.json")
    assert b"ben@example.org" in told
    assert b"ada@example.org" not in told

    answer = send(keeper_client, page, f"{page}/erase")

    assert "stays in its record" in answer.text
    assert "ben@example.org" not in repr(everything(desk))
    assert "ada@example.org" in repr(everything(desk))


def test_for_whom_there_is_no_second_person_stays_typed(keeper_client: Browser, number: str) -> None:
    fields = {"number": spoken(number), "right": "access", "through": "mail", "whose": "second", "words": "Mine."}
    answer = send(keeper_client, LIST, f"{LIST}/enter", **fields)

    assert answer.status_code == 422
    assert "No second person is on file" in answer.text
    assert 'value="second" checked' in answer.text
    assert ">Mine.</textarea>" in answer.text
