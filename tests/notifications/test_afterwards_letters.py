"""Letters about what is not right yet: whole in both languages, to the customer and to the keeper."""

from __future__ import annotations

import pytest

from portal.actions import complaints, warranty
from portal.actions.desk import CUSTOMER
from portal.actions.handover import hand_over
from portal.main import Installation
from portal.rules.numbers import spoken
from tests.actions.bench import WITHOUT_CODE, bring_to
from tests.conftest import BENCH
from tests.notifications.test_handover_letters import whole
from tests.notifications.test_letters import Shop
from tests.notifications.test_staff_letters import staff

ANSWER = "We look at it again.\nIt costs you nothing."


@pytest.fixture
def shop(installation: Installation) -> Shop:
    return Shop(installation)


@pytest.mark.parametrize(("language", "said"), [("en", "not satisfied"), ("de", "nicht zufrieden")])
def test_the_answer_to_a_complaint_reaches_its_customer_with_its_words(shop: Shop, language: str, said: str) -> None:
    number = shop.arrive(language)
    shop.send()
    complaints.complain(shop.desk, number, "It hums.")
    assert shop.send() == []  # they said so themselves

    complaints.answer(shop.desk, BENCH, number, ANSWER)

    (mail,) = shop.send()
    text = whole(mail)
    assert said in text
    assert ANSWER in text.replace("\r\n", "\n")
    assert spoken(number) in mail["Subject"]


def test_the_answer_goes_out_after_the_device_has_left_too(shop: Shop) -> None:
    number = shop.arrive("en")
    bring_to(shop.desk, number, "ready")
    hand_over(shop.desk, BENCH, number, WITHOUT_CODE, confirmed=True)
    shop.send()
    complaints.complain(shop.desk, number, "It hums.")
    complaints.answer(shop.desk, BENCH, number, ANSWER, closes=True)

    (mail,) = shop.send()

    assert ANSWER in whole(mail).replace("\r\n", "\n")


def test_the_keeper_reads_what_is_complained_about_and_by_when_to_answer(shop: Shop) -> None:
    staff(shop, "Kim", "keeper", "kim@example.org")
    number = shop.arrive("en")
    shop.send()
    complaints.complain(shop.desk, number, "It <hums>.")

    (mail,) = shop.send()

    text = whole(mail)
    assert mail["To"] == "kim@example.org"
    assert "It <hums>." in text
    assert "Answer by Mon, 16 Mar 2026" in text
    assert f"/bench/{spoken(number)}" in text


def test_a_complaint_that_is_settled_meanwhile_is_not_told(shop: Shop) -> None:
    staff(shop, "Kim", "keeper", "kim@example.org")
    number = shop.arrive("en")
    shop.send()
    complaints.complain(shop.desk, number, "It hums.")
    complaints.close(shop.desk, CUSTOMER, number)

    assert shop.send() == []


@pytest.mark.parametrize(
    ("language", "found", "way"),
    [
        ("en", "another fault than before", "for you to pay"),
        ("de", "ein anderer Fehler als zuvor", "zahlen Sie"),
    ],
)
def test_whether_it_is_the_same_fault_is_told_in_words_with_what_was_found(
    shop: Shop, language: str, found: str, way: str
) -> None:
    number = shop.arrive(language)
    bring_to(shop.desk, number, "ready")
    hand_over(shop.desk, BENCH, number, WITHOUT_CODE, confirmed=True)
    new = warranty.take_back_in(shop.desk, BENCH, number, "Hums again.").numbers[0]
    shop.send()

    warranty.decide(shop.desk, BENCH, new, "other", "customer", "The battery, not the socket.")

    (mail,) = shop.send()
    text = whole(mail)
    assert found in text
    assert way in text
    assert "The battery, not the socket." in text
    assert spoken(new) in mail["Subject"]
