"""Letters that answer what a customer wrote: with their words, also to those who want few messages."""

from __future__ import annotations

import pytest

from portal.actions import conversation
from portal.actions.choices import Chosen, choose
from portal.actions.handover import return_unrepaired
from portal.actions.notes import correct
from portal.main import Installation
from portal.rules.conversation import Writer
from portal.store import tickets, visits
from tests.conftest import BENCH
from tests.notifications.test_handover_letters import whole
from tests.notifications.test_letters import Shop


@pytest.fixture
def shop(installation: Installation) -> Shop:
    return Shop(installation)


def wrote(shop: Shop, language: str = "en", text: str = "May I have <two> days more?") -> str:
    """A customer who has heard that the device is here, and has written."""
    number = shop.arrive(language)
    shop.send()
    conversation.write(shop.desk, shop.house.photo_files, number, Writer.OWNER, text)
    assert shop.gathered() == []
    return number


@pytest.mark.parametrize(
    ("language", "subject", "intro"),
    [("en", "our answer", "You wrote about"), ("de", "unsere Antwort", "Sie schrieben")],
)
def test_the_answer_is_told_beneath_the_words_it_answers(shop: Shop, language: str, subject: str, intro: str) -> None:
    number = wrote(shop, language)

    conversation.answer(shop.desk, BENCH, number, "Yes.\nTake your time.")
    (mail,) = shop.gathered()

    text = whole(mail)
    assert subject in mail["Subject"]
    assert intro in text
    assert text.index("May I have <two> days more?") < text.index("Take your time.")


def test_several_answers_make_one_letter_that_quotes_once_and_is_put_right(shop: Shop) -> None:
    number = wrote(shop)

    conversation.answer(shop.desk, BENCH, number, "Yes.")
    wrong = conversation.answer(shop.desk, BENCH, number, "Until Freitag.")
    correct(shop.desk, BENCH, number, wrong.revision, "Until Friday.")
    answers, _corrected = sorted(shop.gathered(), key=lambda mail: "our answer" not in mail["Subject"])

    text = whole(answers)
    assert text.count("May I have") == 1
    assert "Until Friday." in text
    assert "Freitag" not in text


def test_an_answer_reaches_who_wants_only_what_is_asked(shop: Shop) -> None:
    number = wrote(shop)
    with shop.desk.reading() as connection:
        ticket = tickets.by_number(connection, number)
        assert ticket is not None
        owner = visits.contacts_of(connection, ticket.visit_id)[0]
    choose(shop.desk, owner.ref, Chosen(wants="few", ways=["mail"]), ["mail"])

    conversation.answer(shop.desk, BENCH, number, "Yes.")

    assert ["our answer" in mail["Subject"] for mail in shop.gathered()] == [True]


def test_an_answer_that_is_late_for_the_device_is_not_sent(shop: Shop) -> None:
    number = wrote(shop)
    conversation.answer(shop.desk, BENCH, number, "Yes.")
    return_unrepaired(shop.desk, BENCH, number, "No parts.")

    assert ["our answer" in mail["Subject"] for mail in shop.gathered()] == [False]
