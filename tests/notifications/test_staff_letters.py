"""Letters to the staff: to keepers who left an address, by their account, and to nobody else."""

from __future__ import annotations

import pytest

from portal.actions import people
from portal.actions.desk import COMMAND, By
from portal.actions.intake import NewDevice, NewVisit, take_in
from portal.actions.sheet import Typed, fill_in, let_through
from portal.main import Installation
from portal.rules.numbers import spoken
from portal.store import policies
from tests.notifications.test_letters import Shop, part, shown, words

PASSWORD = "violet anvil fjord marmalade"
WHY = "Agreed with the owner by telephone."


@pytest.fixture
def shop(installation: Installation) -> Shop:
    return Shop(installation)


def staff(shop: Shop, name: str, role: str, email: str = "") -> By:
    person = By("staff", people.add_staff(shop.desk, COMMAND, name, PASSWORD, role))
    if email:
        people.set_email(shop.desk, person, PASSWORD, email)
    return person


def let_one_through(shop: Shop, by: By) -> str:
    """A device whose test failed, let through; its customer left no address."""
    number = take_in(
        shop.desk, COMMAND, NewVisit([NewDevice("Handheld console", "Does not charge", "console")])
    ).numbers[0]
    fill_in(shop.desk, COMMAND, number, [Typed("starts", "after", "fail")])
    with shop.desk.writing() as connection:
        document = policies.document(connection, 1) or ""
        allowing = document.replace("may_let_through = false", "may_let_through = true")
        policies.add(connection, allowing, shop.desk.clock.now(), None)
    let_through(shop.desk, by, number, WHY)
    return number


def test_a_keeper_hears_that_the_bench_let_a_sheet_through(shop: Shop):
    staff(shop, "Kim", "keeper", "kim@example.org")

    number = let_one_through(shop, staff(shop, "Robin", "bench", "robin@example.org"))

    (mail,) = shop.send()
    text, page = part(mail, "plain"), part(mail, "html")
    assert mail["To"] == "kim@example.org"
    assert spoken(number) in mail["Subject"]
    assert WHY in text
    assert f"/bench/{spoken(number)}" in text
    assert words(text) == words(shown(page))


def test_a_keeper_does_not_write_to_oneself(shop: Shop):
    let_one_through(shop, staff(shop, "Kim", "keeper", "kim@example.org"))

    assert shop.send() == []


def test_a_keeper_without_an_address_gets_nothing(shop: Shop):
    staff(shop, "Kim", "keeper")

    let_one_through(shop, staff(shop, "Robin", "bench"))

    assert shop.send() == []


def test_an_address_taken_away_meanwhile_is_not_used(shop: Shop):
    kim = staff(shop, "Kim", "keeper", "kim@example.org")
    let_one_through(shop, staff(shop, "Robin", "bench"))

    people.set_email(shop.desk, kim, PASSWORD, "")

    assert shop.send() == []


def test_who_no_longer_works_here_is_not_told(shop: Shop):
    staff(shop, "Kim", "keeper")
    staff(shop, "Jo", "keeper", "jo@example.org")
    let_one_through(shop, staff(shop, "Robin", "bench"))

    people.disable(shop.desk, COMMAND, "Jo")

    assert shop.send() == []
