"""A device goes back as it came: what is charged then is listed; work that had begun is marked first."""

from __future__ import annotations

import pytest

from portal.actions import answers, balance, payments, questions
from portal.actions.desk import Desk
from portal.actions.intake import NewDevice, NewVisit, take_in
from portal.actions.price_terms import TypedTerms
from portal.rules.numbers import spoken
from portal.rules.stages import Ending
from tests.actions.aftermath import ticket_of
from tests.actions.test_cancelling import OFFER
from tests.conftest import BENCH
from tests.web.browser import Browser
from tests.web.conftest import on_both
from tests.web.test_cancelling_pages import says
from tests.web.test_questions_pages import press


def at(number: str) -> str:
    return f"/bench/{spoken(number)}/unrepaired"


def arrive(desk: Desk, way: str, amount: str) -> tuple[str, str]:
    """A radio with these terms and an extra for 48.50 that was agreed to: (number, question)."""
    device = NewDevice("Radio", "Hums", price=TypedTerms(way, amount, "Looking" if amount else ""))
    number = take_in(desk, BENCH, NewVisit([device], name="Ada", email="ada@example.org")).numbers[0]
    ref = questions.draft(desk, BENCH, number, OFFER, put_at_once=True).ref
    answers.record(desk, BENCH, number, ref, "a", "counter", "Ada to Kim")
    return number, ref


def owing(desk: Desk, number: str) -> int:
    with desk.reading() as connection:
        return balance.owing(connection, ticket_of(desk, number), desk.policy(connection))


@on_both
def test_it_lists_what_is_charged_and_what_not(staff_client: Browser, desk: Desk) -> None:
    number, _ref = arrive(desk, "look first", "12")

    page = says(staff_client.get(at(number)).text)

    assert "Looking, £12.00 : charged, since looking costs that whatever is decided then" in page
    assert "Replace the port, £48.50 : not charged, since work on it is not marked as begun" in page
    assert "Still to be paid £12.00" in page


def test_work_that_had_begun_is_marked_first_and_charged(staff_client: Browser, desk: Desk) -> None:
    number, ref = arrive(desk, "look first", "12")

    assert press(staff_client, at(number), f"{at(number)}/{ref}/begun", {}).status_code == 303

    page = says(staff_client.get(at(number)).text)
    assert "Replace the port, £48.50 : charged, since work on it had begun" in page
    assert "Still to be paid £60.50" in page
    assert "It had begun: charge it" not in page
    payments.take(desk, BENCH, number, payments.Typed("60.50", "cash"))
    assert press(staff_client, at(number), at(number), {"why": "No part"}).status_code == 303
    assert ticket_of(desk, number).ending is Ending.RETURNED
    assert owing(desk, number) == 0


def test_what_nobody_marked_is_not_charged(staff_client: Browser, desk: Desk) -> None:
    number, _ref = arrive(desk, "", "")

    assert press(staff_client, at(number), at(number), {"why": "No part"}).status_code == 303

    assert owing(desk, number) == 0


def test_no_fix_no_fee_costs_nothing_begun_or_not(staff_client: Browser, desk: Desk) -> None:
    number, ref = arrive(desk, "no fix no fee", "")
    questions.start_work(desk, BENCH, number, ref)

    page = says(staff_client.get(at(number)).text)

    assert "not charged: no fix, no fee" in page
    assert "Still to be paid" not in page
    assert "It had begun: charge it" not in page


def test_what_is_open_holds_it_until_the_keeper_lets_it_go(
    staff_client: Browser, keeper_client: Browser, desk: Desk
) -> None:
    number, _ref = arrive(desk, "look first", "12")

    refused = press(staff_client, at(number), at(number), {"why": "No part"})
    assert refused.status_code == 422
    assert 'value="No part"' in refused.text

    asked = press(keeper_client, at(number), at(number), {"why": "No part"})
    assert asked.status_code == 422
    assert "Given back all the same" in asked.text
    assert ticket_of(desk, number).ending is None
    assert press(keeper_client, at(number), at(number), {"why": "No part", "confirmed": "1"}).status_code == 303
    assert owing(desk, number) == 1200


@pytest.mark.parametrize(
    ("fields", "shown"),
    [({"why": "   "}, ""), ({"why": "Kept <words>", "reason": "bad luck"}, "Kept &lt;words&gt;")],
)
def test_a_reason_is_needed_and_comes_back(
    staff_client: Browser, desk: Desk, number: str, fields: dict[str, str], shown: str
) -> None:
    answer = press(staff_client, at(number), at(number), fields)

    assert answer.status_code == 422
    assert 'role="alert"' in answer.text
    assert shown in answer.text
    assert ticket_of(desk, number).revision == 1


def test_a_device_that_left_has_no_form(staff_client: Browser, desk: Desk, number: str) -> None:
    assert press(staff_client, at(number), at(number), {"why": "Not worth it"}).status_code == 303

    page = staff_client.get(at(number)).text

    assert "This device has left the shop." in page
    assert 'name="why"' not in page
