"""Cancelling on the customer's page: a plain button, what follows, a second press, and what the bench then enters.

Directive 2011/83/EU Art. 11a (from memory). Without scripts throughout.
"""

from __future__ import annotations

import html
import re

from sqlalchemy import update

from portal.actions import answers, cancelled, price_terms
from portal.actions.desk import Desk
from portal.actions.price_terms import TypedTerms
from portal.rules.cancelled import START
from portal.rules.numbers import spoken
from portal.store.tables import contacts
from tests.actions.aftermath import everything, messages
from tests.actions.test_cancelled import agreed, begun  # noqa: F401 (a fixture)
from tests.actions.test_cancelling import by_post, kept, put  # noqa: F401 (a fixture)
from tests.conftest import BENCH
from tests.web.browser import Browser, hidden_fields
from tests.web.conftest import on_both
from tests.web.test_cancelling_pages import path_of, says
from tests.web.test_customer_docket import own_path
from tests.web.test_questions_pages import docket_path, press

FIRST, SECOND = "Cancel what I agreed to", "Confirm: I cancel this"


def cancel_path(desk: Desk, number: str, ref: str) -> str:
    """Where something is cancelled by the owner's own link."""
    return f"{own_path(desk, number)}/cancel/{spoken(number)}/{ref}"


def led_to(page: str) -> list[str]:
    """Where the buttons of a page lead that begin a cancellation."""
    return [html.unescape(each) for each in re.findall(r'href="([^"]*/cancel/[^"]*)"', page)]


@on_both
def test_the_question_leads_to_it_and_it_is_done_by_a_second_press(
    client: Browser,
    desk: Desk,
    by_post: str,  # noqa: F811
) -> None:
    number, ref = agreed(desk, by_post, "early")
    question = client.get(path_of(desk, number, ref)).text
    assert FIRST in question
    (page,) = led_to(question)

    shown = says(client.get(page).text)
    assert "Replace the port" in shown
    assert "You pay nothing for it, since the work on it has not begun." in shown
    assert "Ada Marsh" in shown
    assert "ada@example.org" in shown
    assert SECOND in shown
    assert kept(desk, ref).cancelled_on is None

    answer = press(client, page, page, {})
    assert answer.status_code == 303
    after = says(client.get(answer.location).text)
    assert "You cancelled this." in after
    assert "Written down" in after
    assert SECOND not in after
    assert kept(desk, ref).owed_percent == 0
    assert led_to(client.get(path_of(desk, number, ref)).text) == []


@on_both
def test_work_begun_at_their_request_is_cancelled_and_its_part_entered_at_the_bench(
    client: Browser,
    staff_client: Browser,
    desk: Desk,
    begun: tuple[str, str],  # noqa: F811
) -> None:
    number, ref = begun
    page = cancel_path(desk, number, ref)
    assert "So you pay the part that was done by now. We tell you how much that is" in says(client.get(page).text)

    assert press(client, page, page, {}).status_code == 303

    for told in (page, path_of(desk, number, ref), f"{own_path(desk, number)}/money/{spoken(number)}"):
        assert "We tell you how much of it was done by then, and what that costs." in says(client.get(told).text)
    docket = says(client.get(docket_path(desk, number)).text)
    assert "you cancelled it on" in docket
    assert "You can cancel it until" not in docket

    assert "Cancelled by the customer: enter how much was done by then" in says(staff_client.get("/bench/today").text)
    assert "Enter how much was done by then" in staff_client.get(f"/bench/{spoken(number)}").text
    at = f"/bench/{spoken(number)}/cancelled"
    form = staff_client.get(at).text
    assert "They cancelled on" in says(form)
    assert re.search(rf'name="things" value="{ref}" checked', form)
    assert re.search(r'name="how" value="page" checked', form)
    assert form.count('value="2026-03-02"') == 2

    fields = {"things": ref, f"part-{ref}": "40", "how": "page", "words": "By the button"}
    days = {"sent_on": "2026-03-02", "heard_on": "2026-03-02"}
    first = press(staff_client, at, at, fields | days)
    mark = re.search(r'name="shown" value="([0-9a-f]+)"', first.text)
    assert mark
    assert press(staff_client, at, at, fields | days | {"shown": mark[1]}).status_code == 303

    assert kept(desk, ref).owed_percent == 40
    assert "enter how much was done by then" not in says(staff_client.get("/bench/today").text)
    assert "Enter how much was done by then" not in staff_client.get(f"/bench/{spoken(number)}").text
    assert "40 %" in says(client.get(path_of(desk, number, ref)).text)


def test_looking_and_fetching_cancel_nothing(client: Browser, desk: Desk, begun: tuple[str, str]) -> None:  # noqa: F811
    page, before = cancel_path(desk, *begun), everything(desk)

    for method in ("GET", "HEAD", "OPTIONS"):
        assert client.open(page, method=method).status_code == 200

    assert everything(desk) == before


def test_pressed_twice_it_counts_once(client: Browser, desk: Desk, begun: tuple[str, str]) -> None:  # noqa: F811
    page = cancel_path(desk, *begun)
    fields = hidden_fields(client.get(page).text, page)
    assert client.post(page, data=fields).status_code == 303
    before = everything(desk)

    assert client.post(page, data=fields).status_code == 303

    assert everything(desk) == before
    assert [event for event, _reference, _facts in messages(desk)].count("cancelled") == 1


def test_once_its_time_is_over_it_is_refused(client: Browser, desk: Desk, begun: tuple[str, str]) -> None:  # noqa: F811
    number, ref = begun
    page = cancel_path(desk, number, ref)
    fields = hidden_fields(client.get(page).text, page)
    desk.clock.at = desk.clock.at.replace(day=17)

    answer = client.post(page, data=fields)

    assert answer.status_code == 422
    assert "You could cancel this until" in says(answer.text)
    assert SECOND not in client.get(page).text
    assert led_to(client.get(path_of(desk, number, ref)).text) == []
    assert kept(desk, ref).cancelled_on is None


def test_what_was_cancelled_already_is_refused(client: Browser, desk: Desk, begun: tuple[str, str]) -> None:  # noqa: F811
    number, ref = begun
    page = cancel_path(desk, number, ref)
    fields = hidden_fields(client.get(page).text, page)
    cancelled.declare(desk, number, ref, "Ada Marsh")
    before = everything(desk)

    answer = client.post(page, data=fields)

    assert answer.status_code == 422
    assert "You have cancelled this already" in says(answer.text)
    assert everything(desk) == before


def test_another_repairs_is_not_found(client: Browser, desk: Desk, begun: tuple[str, str], number: str) -> None:  # noqa: F811
    before = everything(desk)

    for page in (
        cancel_path(desk, number, begun[1]),
        f"{own_path(desk, number)}/cancel/{spoken(begun[0])}/{begun[1]}",
        cancel_path(desk, begun[0], "0000000000"),
        cancel_path(desk, begun[0], START),
    ):
        assert client.get(page).status_code == 404
        assert client.post(page).status_code == 404

    assert everything(desk) == before


def test_what_was_agreed_over_the_counter_has_no_such_button(client: Browser, desk: Desk, number: str) -> None:
    ref = put(desk, number)
    answers.answer(desk, number, ref, answers.Answer(1, "en", "a", "YES"))

    assert led_to(client.get(path_of(desk, number, ref)).text) == []
    assert client.get(cancel_path(desk, number, ref)).status_code == 404


def test_a_link_that_may_not_agree_can_only_be_read(client: Browser, desk: Desk, begun: tuple[str, str]) -> None:  # noqa: F811
    page = cancel_path(desk, *begun)
    with desk.writing() as connection:
        connection.execute(update(contacts).values(may_agree=False))
    before = everything(desk)

    assert "This link can only be read." in says(client.get(page).text)
    assert SECOND not in client.get(page).text
    assert led_to(client.get(f"{own_path(desk, begun[0])}/question/{begun[1]}").text) == []
    assert led_to(client.get(f"{own_path(desk, begun[0])}/money/{spoken(begun[0])}").text) == []
    assert client.post(page).status_code == 403

    assert everything(desk) == before


def test_the_page_of_money_has_a_button_for_each_thing(
    client: Browser,
    desk: Desk,
    by_post: str,  # noqa: F811
) -> None:
    price_terms.agree_terms(desk, BENCH, by_post, TypedTerms("up to a limit", "80"), "telephone", "Ada", begin="later")
    _number, ref = agreed(desk, by_post, "early")

    pages = led_to(client.get(f"{own_path(desk, by_post)}/money/{spoken(by_post)}").text)

    assert [page.rsplit("/", 1)[-1] for page in pages] == [START, ref]
    assert press(client, pages[0], pages[0], {}).status_code == 303
    assert "You cancelled this." in says(client.get(pages[0]).text)


def test_the_docket_does_not_tell_who_the_owner_is(client: Browser, desk: Desk, begun: tuple[str, str]) -> None:  # noqa: F811
    number, ref = begun

    shown = says(client.get(f"{docket_path(desk, number)}/cancel/{spoken(number)}/{ref}").text)

    assert "the contact that we have from you" in shown
    assert "Ada" not in shown
    assert "example.org" not in shown


def test_it_is_all_there_in_german(client: Browser, desk: Desk, begun: tuple[str, str]) -> None:  # noqa: F811
    page = cancel_path(desk, *begun)

    assert "Vertrag hier widerrufen" in client.get(f"{path_of(desk, *begun)}?lang=de").text
    shown = says(client.get(f"{page}?lang=de").text)
    assert "Darum zahlen Sie den Teil, der bis jetzt getan ist." in shown
    assert "Widerruf bestätigen" in shown
    answer = press(client, f"{page}?lang=de", f"{page}?lang=de", {})
    assert "Das haben Sie widerrufen." in says(client.get(answer.location).text)
