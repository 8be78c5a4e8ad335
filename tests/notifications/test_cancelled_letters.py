"""Letters about a cancellation: what is owed, what goes back and by when; and to keepers, what is overdue."""

from __future__ import annotations

import re
from datetime import timedelta
from email.message import EmailMessage
from zoneinfo import ZoneInfo

import pytest

from portal.actions import answers, cancelled, payments, questions, refunds
from portal.actions.cancelled import Typed
from portal.actions.handover import return_unrepaired
from portal.main import Installation
from tests.actions.test_cancelled import foreseen
from tests.conftest import BENCH
from tests.notifications.test_letters import Shop, part, shown, words
from tests.notifications.test_question_letters import OFFER, arrive
from tests.notifications.test_staff_letters import staff


@pytest.fixture
def shop(installation: Installation) -> Shop:
    return Shop(installation)


def whole(mails: list[EmailMessage]) -> EmailMessage:
    """The one letter there is; its two halves say the same."""
    (mail,) = mails
    page = shown(part(mail, "html"))
    assert [word for word in words(part(mail, "plain")) if word.rstrip(":") not in page] == []
    return mail


def cancel(shop: Shop, begin: str, percent: str, language: str = "en") -> tuple[str, str]:
    """A port for 67.00, 60 paid, agreed by telephone, begun and cancelled: (number, question)."""
    number = arrive(shop, language=language)
    ref = questions.draft(shop.desk, BENCH, number, OFFER, put_at_once=True, at_distance=True).ref
    answers.record(shop.desk, BENCH, number, ref, "a", "telephone", "Ada to Kim", begin=begin)
    payments.take(shop.desk, BENCH, number, payments.Typed("60", "bank transfer"))
    if begin == "early":
        questions.start_work(shop.desk, BENCH, number, ref)
    shop.send()
    what = Typed(how="e-mail", words="Ada Marsh", refs=[ref], parts={ref: percent})
    cancelled.cancel(shop.desk, BENCH, number, what, confirmed=foreseen(shop.desk, number, what).mark)
    return number, ref


def test_what_was_done_at_their_request_is_said_with_what_goes_back(shop: Shop) -> None:
    cancel(shop, "early", "50")

    mail = whole(shop.send())

    assert "you cancelled" in mail["Subject"]
    text = " ".join(part(mail, "plain").split())
    assert "50 % of it were done by then, which is £33.50." in text
    assert "We give you £26.50 back by Mon, 16 Mar 2026, in the way in which you paid it." in text
    assert "Ada Marsh" not in text


def test_nothing_is_paid_where_they_had_not_asked_to_begin_early(shop: Shop) -> None:
    cancel(shop, "later", "", "de")

    text = " ".join(part(whole(shop.send()), "plain").split())

    assert "Dafür zahlen Sie nichts." in text
    assert "60,00" in text
    assert "zurück" in text


def test_a_mistake_is_told_as_one(shop: Shop) -> None:
    number, ref = cancel(shop, "early", "50")
    shop.send()
    cancelled.take_back(shop.desk, staff(shop, "Kim", "keeper"), number, ref, "The wrong repair")

    mail = whole(shop.send())

    assert "not cancelled after all" in mail["Subject"]
    assert "It holds as you agreed to it." in part(mail, "plain")


def declared(shop: Shop, begin: str, language: str = "en") -> tuple[str, str]:
    """A port for 67.00 agreed by telephone, begun where that was asked, and cancelled on the page at 10:00 or so."""
    number = arrive(shop, language=language)
    ref = questions.draft(shop.desk, BENCH, number, OFFER, put_at_once=True, at_distance=True).ref
    answers.record(shop.desk, BENCH, number, ref, "a", "telephone", "Ada to Kim", begin=begin)
    if begin == "early":
        questions.start_work(shop.desk, BENCH, number, ref)
    shop.send()
    cancelled.declare(shop.desk, number, ref, "Ada Marsh")
    return number, ref


def at(shop: Shop) -> str:
    """The time by the shop's clock on the wall."""
    with shop.desk.reading() as connection:
        zone = ZoneInfo(shop.desk.policy(connection).shop.zone)
    return shop.desk.clock.now().astimezone(zone).strftime("%H:%M")


def test_what_was_pressed_is_acknowledged_with_what_and_when(shop: Shop) -> None:
    moment = at(shop)
    declared(shop, "early")
    shop.desk.clock.at += timedelta(minutes=5)

    mail = whole(shop.send())

    text = " ".join(part(mail, "plain").split())
    assert re.search(f"You cancelled “[^”]+” on Mon,? 2 Mar 2026 at {moment}, by the button", text)
    assert "so you pay the part that was done by then. We tell you how much that is, and you may object." in text
    assert "still to be paid" not in text


def test_what_holds_all_the_same_is_told_as_that(shop: Shop) -> None:
    number, ref = declared(shop, "early")
    shop.send()
    cancelled.take_back(shop.desk, staff(shop, "Kim", "keeper"), number, ref, "All of it was done")

    text = " ".join(part(whole(shop.send()), "plain").split())

    assert "It holds all the same: all of it was done by then at your request, or it was pressed by mistake." in text
    assert "a mistake of ours" not in text


def test_what_costs_nothing_is_acknowledged_in_german_too(shop: Shop) -> None:
    moment = at(shop)
    declared(shop, "later", "de")

    text = " ".join(part(whole(shop.send()), "plain").split())

    assert f"2. März 2026 um {moment} Uhr widerrufen, mit der Schaltfläche" in text
    assert "Dafür zahlen Sie nichts." in text


def test_the_keeper_hears_of_what_is_overdue_unless_it_was_given_back_meanwhile(shop: Shop) -> None:
    staff(shop, "Kim", "keeper", "kim@example.org")
    cancel(shop, "later", "")
    shop.send()
    shop.desk.clock.at = shop.desk.clock.at.replace(day=17)
    refunds.remind(shop.desk, shop.desk.clock.now())

    mail = whole(shop.send())
    assert mail["To"] == "kim@example.org"
    assert "£60.00 were to be given back by Mon, 16 Mar 2026" in mail["Subject"]

    other = arrive(shop)
    payments.take(shop.desk, BENCH, other, payments.Typed("5", "cash"))
    return_unrepaired(shop.desk, BENCH, other, "No parts", confirmed=True)
    shop.send()
    shop.desk.clock.at = shop.desk.clock.at.replace(month=4)
    refunds.remind(shop.desk, shop.desk.clock.now())
    payments.give_back(shop.desk, BENCH, other, payments.Typed("5", "cash"))
    assert shop.send() == []
