"""A cancellation that came by letter, mail or telephone, on pages: foreseen, entered, read by the customer, undone."""

from __future__ import annotations

import re

import pytest
from werkzeug.test import TestResponse

from portal.actions import payments
from portal.actions.desk import Desk
from portal.rules.numbers import spoken
from tests.actions.test_cancelled import agreed, begun, refund  # noqa: F401 (a fixture)
from tests.actions.test_cancelling import by_post, kept, put  # noqa: F401 (a fixture)
from tests.conftest import BENCH
from tests.web.browser import Browser
from tests.web.conftest import on_both
from tests.web.test_cancelling_pages import path_of, says
from tests.web.test_questions_pages import docket_path, press

LETTER = {"how": "letter", "words": "Ada Marsh; in the folder", "sent_on": "", "heard_on": ""}


def at(number: str) -> str:
    return f"/bench/{spoken(number)}/cancelled"


def send(browser: Browser, number: str, **fields: object) -> TestResponse:
    """Fill in the form and send it."""
    return press(browser, at(number), at(number), LETTER | fields)


def shown(answer: TestResponse) -> str:
    """The mark of what was shown to follow."""
    found = re.search(r'name="shown" value="([0-9a-f]+)"', answer.text)
    assert found
    return found[1]


@on_both
def test_what_follows_is_shown_then_entered(staff_client: Browser, desk: Desk, begun: tuple[str, str]) -> None:  # noqa: F811
    number, ref = begun
    fields = {"things": ref, f"part-{ref}": "40"}

    first = send(staff_client, number, **fields)

    assert first.status_code == 422
    assert "£19.40 are owed for the 40 % that were done by then" in says(first.text)
    assert "£0.60 go back to them by" in says(first.text)
    assert "Enter it" in first.text
    assert f'name="part-{ref}"' in first.text
    assert 'value="40"' in first.text
    assert kept(desk, ref).cancelled_on is None

    changed = send(staff_client, number, **(fields | {f"part-{ref}": "60"}), shown=shown(first))
    assert changed.status_code == 422
    assert "£29.10 are owed" in says(changed.text)

    entered = send(staff_client, number, **fields, shown=shown(first))
    assert entered.status_code == 303
    page = says(staff_client.get(entered.location).text)
    assert "It is done." in page
    assert "Owed all the same: 40 %." in page
    assert "To be given back by Mon 16 Mar 2026: £0.60" in page.replace("Mon, ", "Mon ")


@pytest.mark.parametrize(
    ("fields", "says_so"),
    [
        ({"things": []}, "What do they cancel? Tick at least one thing."),
        ({"how": ""}, "How did they cancel? Please choose."),
        ({"words": ""}, "is missing"),
        ({"sent_on": "yesterday"}, "is not a date"),
        ({"things": "0000000000"}, "cannot be"),
    ],
)
def test_a_refusal_keeps_what_was_typed(
    staff_client: Browser,
    begun: tuple[str, str],  # noqa: F811
    fields: dict[str, object],
    says_so: str,
) -> None:
    number, ref = begun

    answer = send(staff_client, number, **({"things": ref, f"part-{ref}": "41"} | fields))

    assert answer.status_code == 422
    assert says_so in says(answer.text)
    if "words" not in fields:
        assert "Ada Marsh; in the folder" in answer.text
    assert 'value="41"' in answer.text


def test_an_odd_part_is_refused_at_its_field(staff_client: Browser, begun: tuple[str, str]) -> None:  # noqa: F811
    number, ref = begun

    answer = send(staff_client, number, **{"things": ref, f"part-{ref}": "100"})

    assert answer.status_code == 422
    assert "can no longer be cancelled" in says(answer.text)


@on_both
def test_the_customer_reads_that_and_what_it_costs(
    staff_client: Browser,
    client: Browser,
    desk: Desk,
    begun: tuple[str, str],  # noqa: F811
) -> None:
    number, ref = begun
    fields = {"things": ref, f"part-{ref}": "40"}
    send(staff_client, number, **fields, shown=shown(send(staff_client, number, **fields)))

    question = says(client.get(path_of(desk, number, ref)).text)
    assert "You cancelled this on" in question
    assert "You pay the part of it that was done by then: 40 %." in question
    assert "Take my yes back" not in question
    docket = says(client.get(docket_path(desk, number)).text)
    assert "you cancelled it on" in docket
    assert "You can cancel it until" not in docket
    assert "What was done by then costs £19.40." in docket


def test_nothing_that_was_cancelled_waits_to_be_begun(staff_client: Browser, desk: Desk, by_post: str) -> None:  # noqa: F811
    number, ref = agreed(desk, by_post, "early")
    assert "Agreed to, and not begun" in staff_client.get("/bench/today").text
    send(staff_client, number, things=ref, shown=shown(send(staff_client, number, things=ref)))

    today = says(staff_client.get("/bench/today").text)
    assert "Agreed to, and not begun" not in today
    assert "To give back" in today
    assert "£20.00 by" in today
    page = staff_client.get(f"/bench/{spoken(number)}/questions").text
    assert "The work begins" not in page
    assert "owed back: £20.00" in says(staff_client.get(f"/bench/{spoken(number)}").text)
    assert "To be given back by" in staff_client.get(f"/bench/{spoken(number)}/money").text


def test_what_is_overdue_is_said_until_it_was_given_back(
    keeper_client: Browser,
    client: Browser,
    desk: Desk,
    by_post: str,  # noqa: F811
) -> None:
    number, ref = agreed(desk, by_post, "early")
    send(keeper_client, number, things=ref, shown=shown(send(keeper_client, number, things=ref)))
    desk.clock.at = desk.clock.at.replace(day=18)
    keeper_client.log_in("Kim")  # after so many days, anew

    assert "£20.00, overdue since" in says(keeper_client.get("/bench/today").text)
    assert "It was to be given back by" in keeper_client.get(f"/bench/{spoken(number)}/money").text

    customers = says(client.get(f"{docket_path(desk, number)}/money/{spoken(number)}").text)
    assert "We owe you £20.00. You have it back by" in customers

    payments.give_back(desk, BENCH, number, payments.Typed("20", "bank transfer", "back 1"))
    assert "To give back" not in keeper_client.get("/bench/today").text


def test_only_the_keeper_says_that_it_was_a_mistake(
    staff_client: Browser,
    keeper_client: Browser,
    desk: Desk,
    begun: tuple[str, str],  # noqa: F811
) -> None:
    number, ref = begun
    fields = {"things": ref, f"part-{ref}": "40"}
    send(staff_client, number, **fields, shown=shown(send(staff_client, number, **fields)))
    assert "It was a mistake" not in staff_client.get(at(number)).text
    back = f"{at(number)}/{ref}/take-back"

    refused = press(keeper_client, at(number), back, {"why": ""})
    assert refused.status_code == 422
    assert press(keeper_client, at(number), back, {"why": "The wrong repair"}).status_code == 303

    assert kept(desk, ref).cancelled_on is None
    assert refund(desk, number) is None


def test_where_nothing_was_agreed_at_a_distance_the_page_says_so(
    staff_client: Browser, desk: Desk, number: str
) -> None:
    put(desk, number)

    page = staff_client.get(at(number)).text

    assert "Nothing was agreed at a distance for this repair" in page
    assert "Show what follows" not in page


def test_a_deposit_is_not_said_to_be_owed_while_the_work_goes_on(client: Browser, desk: Desk, number: str) -> None:
    payments.take(desk, BENCH, number, payments.Typed("20", "cash"))

    page = says(client.get(f"{docket_path(desk, number)}/money/{spoken(number)}").text)

    assert "You have paid £20.00 more than is charged so far." in page
    assert "We owe you £20.00." not in page
