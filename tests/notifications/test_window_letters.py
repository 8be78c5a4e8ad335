"""The letter that it takes longer: with the reason and the new days, in both languages, while it is true."""

from __future__ import annotations

from datetime import timedelta

import pytest

from portal.actions import windows
from portal.actions.choices import Chosen, choose
from portal.actions.moves import move
from portal.main import Installation
from portal.store import tickets, visits
from tests.actions.pasts import a_past, kept
from tests.conftest import BENCH, MONDAY
from tests.notifications.test_handover_letters import whole
from tests.notifications.test_letters import Shop


@pytest.fixture
def shop(installation: Installation) -> Shop:
    return Shop(installation)


def late(shop: Shop, language: str = "en") -> str:
    """A device that is half way when the day that its customer reckons with is near."""
    number = shop.arrive(language)
    shop.send()
    a_past(shop.desk)
    windows.sweep(shop.desk, shop.desk.clock.now())
    first = kept(shop.desk, number)
    assert first is not None
    assert first.last is not None
    shop.desk.clock.at = MONDAY + (first.last - MONDAY.date()) - timedelta(days=1)
    move(shop.desk, BENCH, number, "board_work")
    shop.send()
    return number


@pytest.mark.parametrize(
    ("language", "subject", "words"),
    [
        ("en", "takes longer", ("takes longer than we told you", "We still wait for a part.", "Probably ready")),
        ("de", "dauert länger", ("dauert länger", "Wir warten noch auf ein Teil.", "Voraussichtlich fertig")),
    ],
)
def test_the_customer_reads_why_and_the_new_days(
    shop: Shop, language: str, subject: str, words: tuple[str, ...]
) -> None:
    number = late(shop, language)

    windows.tell_moved(shop.desk, BENCH, number, because="part")
    (mail,) = shop.send()

    assert subject in mail["Subject"]
    for each in words:
        assert each in whole(mail)


def test_a_broken_promise_is_told_without_days_where_customers_are_shown_none(shop: Shop) -> None:
    number = shop.arrive("en")
    shop.send()
    windows.promise(shop.desk, BENCH, number, promised_on="2026-03-03")
    shop.desk.clock.at = MONDAY + timedelta(days=2)
    windows.sweep(shop.desk, shop.desk.clock.now())
    a_past(shop.desk, 10)

    with shop.desk.writing() as connection:
        windows.renew(shop.desk, connection, tickets.by_number(connection, number).id, shop.desk.clock.now())
    windows.tell_moved(shop.desk, BENCH, number, because="absence")
    (mail,) = shop.send()

    assert "One of us is away at the moment." in whole(mail)
    assert "Probably ready" not in whole(mail)


def test_what_is_ready_meanwhile_is_not_said_to_take_longer(shop: Shop) -> None:
    number = late(shop)
    windows.tell_moved(shop.desk, BENCH, number, because="part")
    for stage in ("testing", "ready"):
        move(shop.desk, BENCH, number, stage, confirmed=True)

    assert not any("takes longer" in mail["Subject"] for mail in shop.send())


def test_who_wants_only_questions_and_that_it_is_ready_hears_nothing_of_it(shop: Shop) -> None:
    number = late(shop)
    with shop.desk.reading() as connection:
        ticket = tickets.by_number(connection, number)
        assert ticket is not None
        owner = visits.contacts_of(connection, ticket.visit_id)[0]
    choose(shop.desk, owner.ref, Chosen(wants="few", ways=["mail"]), ["mail"])

    windows.tell_moved(shop.desk, BENCH, number, because="part")

    assert shop.send() == []
