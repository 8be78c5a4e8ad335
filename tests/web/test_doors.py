"""At every form where somebody types freely: what looks like a secret is asked about before it is saved, once.

GDPR (EU) 2016/679 Art. 5(1)(c).
"""

from __future__ import annotations

import pytest

from portal.actions.desk import Desk
from portal.actions.handover import return_unrepaired
from portal.actions.intake import TakenIn
from portal.rules.numbers import spoken
from tests.actions.aftermath import everything
from tests.conftest import BENCH
from tests.web.browser import Browser, hidden_fields
from tests.web.test_customer_docket import path_of

CARD = "She pays with 4111 1111 1111 1111."
ASKED = "number of a payment card"


def test_it_is_asked_of_a_customer_and_dismissed_by_sending_it_again(
    client: Browser, desk: Desk, taken_in: TakenIn
) -> None:
    page = f"{path_of(taken_in.link)}/again/{spoken(taken_in.numbers[0])}"
    return_unrepaired(desk, BENCH, taken_in.numbers[0], "Beyond repair.")
    before = everything(desk)

    asked = client.post(page, data={"again": CARD})

    assert asked.status_code == 422
    assert ASKED in asked.text
    assert f">{CARD}</textarea>" in asked.text
    assert everything(desk) == before
    assert client.post(page, data=hidden_fields(asked.text, page) | {"again": CARD}).status_code == 303


@pytest.mark.parametrize("form", ["hold", "shelf"])
def test_it_is_asked_at_the_bench_whatever_the_form_is_for(
    staff_client: Browser, desk: Desk, taken_in: TakenIn, form: str
) -> None:
    page = f"/bench/{spoken(taken_in.numbers[0])}"
    fields = {"hold": {"kind": "customer", "why": CARD}, "shelf": {"place": "4111 1111 1111 1111"}}[form]
    action, before = f"{page}/{form}", everything(desk)

    asked = staff_client.post(action, data=hidden_fields(staff_client.get(page).text, action) | fields)
    assert asked.status_code == 422
    assert ASKED in asked.text
    assert everything(desk) == before

    # Other words than those that were asked about are asked about again; the same are let through.
    other = {name: value.replace("4111 1111 1111 1111", "5555 5555 5555 4444") for name, value in fields.items()}
    again = staff_client.post(action, data=hidden_fields(asked.text, action) | other)
    assert again.status_code == 422
    assert staff_client.post(action, data=hidden_fields(again.text, action) | other).status_code == 303


@pytest.mark.parametrize("page", ["/shop/requests", "/shop/breaches"])
def test_it_is_asked_of_the_keeper(keeper_client: Browser, desk: Desk, number: str, page: str) -> None:
    action, fields = {
        "/shop/requests": ("enter", {"right": "access", "through": "mail", "words": CARD}),
        "/shop/breaches": (
            "record",
            {"aware_at": "2026-03-02T08:00", "happened": CARD, "kinds": "contact", "numbers": spoken(number)},
        ),
    }[page]
    before = everything(desk)

    asked = keeper_client.post(
        f"{page}/{action}", data=hidden_fields(keeper_client.get(page).text, f"{page}/{action}") | fields
    )
    assert asked.status_code == 422
    assert ASKED in asked.text
    assert everything(desk) == before

    again = keeper_client.post(f"{page}/{action}", data=hidden_fields(asked.text, f"{page}/{action}") | fields)
    assert again.status_code == 303


def test_an_identity_number_in_a_record_is_asked_about(client: Browser, desk: Desk, taken_in: TakenIn) -> None:
    page = f"{path_of(taken_in.link)}/write/{spoken(taken_in.numbers[0])}"

    assert "national identity" in client.post(page, data={"text": "I am AB 12 34 56 C", "deed_key": "a" * 32}).text


def test_a_key_that_nobody_was_asked_with_dismisses_nothing(
    staff_client: Browser, desk: Desk, taken_in: TakenIn
) -> None:
    page = f"/bench/{spoken(taken_in.numbers[0])}"
    action = f"{page}/hold"
    hidden = hidden_fields(staff_client.get(page).text, action)

    for _try in range(3):
        answer = staff_client.post(action, data=hidden | {"kind": "customer", "why": CARD})
        assert answer.status_code == 422


@pytest.mark.parametrize("field", ["phone", "email"])
def test_a_field_for_a_number_is_not_asked_about(staff_client: Browser, taken_in: TakenIn, field: str) -> None:
    page = f"/bench/{spoken(taken_in.numbers[0])}"
    action = f"{page}/contact/owner"
    typed = {"name": "Ada", "email": "ada@example.org", "phone": "07700 900124"} | {field: "4111111111111111"}

    answer = staff_client.post(action, data=hidden_fields(staff_client.get(page).text, action) | typed)

    assert ASKED not in answer.text
