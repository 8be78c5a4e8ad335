"""Letters about money: what is asked, what was answered line by line, and only while it is true."""

from __future__ import annotations

import re
from datetime import timedelta
from email.message import EmailMessage

import pytest
from sqlalchemy import update

from portal.actions import answers, codes, price_terms, questions
from portal.actions.answers import Answer
from portal.actions.intake import NewDevice, NewVisit, Second, take_in
from portal.actions.price_terms import TypedTerms
from portal.main import Installation
from portal.rules.offers import TypedLine, TypedOffer, TypedOption
from portal.rules.refusals import Unfit
from portal.store import policies
from portal.store import questions as store
from portal.store.questions import Kept
from portal.store.tables import contacts
from tests.conftest import BENCH
from tests.notifications.test_letters import EMAIL, Shop, part, shown, words

LINES = [TypedLine("Charging port", "2", "18.50"), TypedLine("Work", "1", "30.00")]
OFFER = TypedOffer("The port is torn off.", options=[TypedOption("Replace the port", LINES)])
DEARER = TypedOffer("Two ports are torn off.", options=[TypedOption("Replace both", LINES * 2)])


@pytest.fixture
def shop(installation: Installation) -> Shop:
    with installation.desk.writing() as connection:
        document = policies.document(connection, 1)
        assert document is not None
        document = document.replace("# tax_percent = 20 ", "tax_percent = 20 #")
        policies.add(connection, document, installation.desk.clock.now(), None)
    return Shop(installation)


def arrive(shop: Shop, price: TypedTerms | None = None, language: str = "en") -> str:
    device = NewDevice("Radio", "Hums", price=price or TypedTerms())
    arrival = NewVisit([device], name="Ada", email=EMAIL, language=language)
    number = take_in(shop.desk, BENCH, arrival).numbers[0]
    shop.taken_in = shop.send()
    return number


def put(shop: Shop, number: str) -> Kept:
    ref = questions.draft(shop.desk, BENCH, number, OFFER, put_at_once=True).ref
    return kept(shop, ref)


def kept(shop: Shop, ref: str) -> Kept:
    with shop.desk.reading() as connection:
        found = store.by_ref(connection, ref)
    assert found is not None
    return found


def text(mail: EmailMessage) -> str:
    return part(mail, "plain")


def whole(mails: list[EmailMessage]) -> EmailMessage:
    """The one letter there is; its two halves say the same."""
    (mail,) = mails
    page = shown(part(mail, "html"))
    assert [word for word in words(text(mail)) if word.rstrip(":") not in page] == []
    return mail


def test_what_is_asked_names_its_total_and_until_when(shop: Shop) -> None:
    number = arrive(shop)
    put(shop, number)

    mail = whole(shop.send())

    assert "more work found, please answer" in mail["Subject"]
    assert "Replace the port: £67.00 (tax included)" in text(mail)
    assert "9 Mar 2026, 17:30" in text(mail)
    assert "/t/Q" in text(mail)
    assert "changed" not in text(mail)


def test_what_was_changed_is_asked_anew_and_says_so(shop: Shop) -> None:
    number = arrive(shop)
    asked = put(shop, number)
    shop.send()
    questions.change(shop.desk, BENCH, number, asked.ref, DEARER)

    mail = whole(shop.send())

    assert "our question has changed" in mail["Subject"]
    assert "an answer to what you read before does not count" in text(mail)
    assert "£134.00" in text(mail)


def test_what_was_changed_before_it_went_out_is_asked_once(shop: Shop) -> None:
    number = arrive(shop)
    asked = put(shop, number)
    questions.change(shop.desk, BENCH, number, asked.ref, DEARER)

    assert "£134.00" in text(whole(shop.send()))


def test_a_yes_is_confirmed_line_by_line_with_its_check_value(shop: Shop) -> None:
    number = arrive(shop)
    asked = put(shop, number)
    shop.send()
    answers.answer(shop.desk, number, asked.ref, Answer(1, "en", "a", "YES"))

    mail = whole(shop.send())

    said = text(mail)
    assert "Charging port (2 × £18.50): £37.00" in said
    assert "of which tax at 20 %: £11.17" in said
    assert "Total: £67.00" in said
    assert "take your yes back" in said
    assert "If that was not you" in said
    with shop.desk.reading() as connection:
        proof = store.newest_proof(connection, asked.ref)
    assert proof is not None
    assert proof.digest in said


@pytest.mark.parametrize(("may_agree", "reached"), [(True, {EMAIL, "ben@example.org"}), (False, {EMAIL})])
def test_the_receipt_goes_to_those_who_may_agree_each_with_a_way_to_take_it_back(
    shop: Shop, may_agree: bool, reached: set[str]
) -> None:
    second = Second("Ben", "ben@example.org", may_be_told=True, may_agree=may_agree)
    arrival = NewVisit([NewDevice("Radio", "Hums")], name="Ada", email=EMAIL, second=second)
    number = take_in(shop.desk, BENCH, arrival).numbers[0]
    asked = put(shop, number)
    shop.send()
    answers.answer(shop.desk, number, asked.ref, Answer(1, "en", "a", "YES"))

    mails = shop.send()

    assert {mail["To"] for mail in mails} == reached
    links = {found[0] for mail in mails if (found := re.search(r"http\S+/t/Q\S+", text(mail)))}
    assert len(links) == len(reached)  # of each their own, to this very question


@pytest.mark.parametrize(
    ("how", "option", "says"),
    [
        ("telephone", "a", "You agreed to this by telephone"),
        ("counter", "a", "You agreed to this at the counter"),
        ("telephone", None, "You said no, by telephone"),
        ("counter", None, "You said no, at the counter"),
    ],
)
def test_an_answer_that_was_written_down_can_be_objected_to(shop: Shop, how: str, option: str, says: str) -> None:
    number = arrive(shop)
    asked = put(shop, number)
    shop.send()
    answers.record(shop.desk, BENCH, number, asked.ref, option, how, "Ada to Robin")

    said = text(whole(shop.send()))

    assert says in said
    assert "or not what you said, ring us" in said
    assert "Robin" not in said


def test_what_went_ahead_within_the_limit_tells_what_is_left(shop: Shop) -> None:
    number = arrive(shop, TypedTerms("up to a limit", "80"))
    assert "Agreed for" in text(whole(shop.taken_in))
    assert "We go ahead up to £80.00" in text(shop.taken_in[0])
    price_terms.go_ahead(shop.desk, BENCH, number, OFFER)

    said = text(whole(shop.send()))

    assert "within the limit you gave us. Of it, £13.00 are left" in said
    assert "Total: £67.00" in said


@pytest.mark.parametrize("way", ["fixed price", "look first"])
def test_what_was_agreed_by_telephone_comes_in_writing(shop: Shop, way: str) -> None:
    number = arrive(shop)
    price_terms.agree_terms(shop.desk, BENCH, number, TypedTerms(way, "60"), "telephone", "Ada to Robin")

    said = text(whole(shop.send()))

    assert "£60.00" in said
    assert "of which tax at 20 %: £10.00" in said


def test_silence_is_told_as_not_done(shop: Shop) -> None:
    number = arrive(shop)
    asked = put(shop, number)
    shop.send()
    shop.desk.clock.at += timedelta(days=3)
    assert answers.remind(shop.desk, shop.desk.clock.now()) == (1, 1)
    assert "we wait for your answer" in whole(shop.send())["Subject"]
    shop.desk.clock.at = asked.question.answer_by
    answers.lapse(shop.desk, shop.desk.clock.now())
    shop.desk.clock.at += timedelta(days=1)

    assert "there is nothing to pay for it" in text(whole(shop.send()))


def test_a_code_goes_out_at_night_and_only_the_newest(shop: Shop) -> None:
    number = arrive(shop)
    asked = put(shop, number)
    shop.send()
    shop.desk.clock.at += timedelta(hours=14)
    answers.send_code(shop.desk, number, asked.ref)
    shop.desk.clock.at += timedelta(minutes=2)
    answers.send_code(shop.desk, number, asked.ref)

    (mail,) = shop.send()

    with shop.desk.reading() as connection:
        newest = store.CODES.newest(connection, asked.id)
    assert newest is not None
    assert codes.code_of(shop.desk.links.secret, newest.ref) in text(mail)


def test_a_codes_quarter_of_an_hour_begins_when_it_was_sent(shop: Shop) -> None:
    number = arrive(shop)
    asked = put(shop, number)
    shop.send()
    answers.send_code(shop.desk, number, asked.ref)
    shop.desk.clock.at += timedelta(hours=1)  # the mail server was down
    shop.send()
    with shop.desk.reading() as connection:
        newest = store.CODES.newest(connection, asked.id)
    assert newest is not None
    code = codes.code_of(shop.desk.links.secret, newest.ref)

    shop.desk.clock.at += codes.LASTS
    assert answers.try_code(shop.desk, asked.ref, code) == newest.id
    shop.desk.clock.at += timedelta(seconds=1)
    with pytest.raises(Unfit):
        answers.try_code(shop.desk, asked.ref, code)


def test_a_code_comes_even_to_whoever_wants_no_messages(shop: Shop) -> None:
    number = arrive(shop)
    asked = put(shop, number)
    shop.send()
    with shop.desk.writing() as connection:
        connection.execute(update(contacts).values(wants="none"))
    answers.send_code(shop.desk, number, asked.ref)

    assert "code for your answer" in whole(shop.send())["Subject"]


def test_german_customers_read_german(shop: Shop) -> None:
    number = arrive(shop, TypedTerms("up to a limit", "80"), language="de")
    assert "Vereinbart für" in text(shop.taken_in[0])
    price_terms.go_ahead(shop.desk, BENCH, number, OFFER)
    said = text(whole(shop.send()))
    assert "67,00" in said
    assert "innerhalb" in said
    asked = put(shop, number)
    questions.change(shop.desk, BENCH, number, asked.ref, DEARER)

    assert "neu gestellt" in text(whole(shop.send()))


@pytest.mark.parametrize(
    ("begin", "asked"), [("early", "I ask you to begin before"), ("later", "You did not ask us to begin before")]
)
def test_the_receipt_confirms_the_right_to_cancel_and_what_was_asked(shop: Shop, begin: str, asked: str) -> None:
    number = arrive(shop)
    ref = questions.draft(shop.desk, BENCH, number, OFFER, put_at_once=True, at_distance=True).ref
    shop.send()
    answers.record(shop.desk, BENCH, number, ref, "a", "telephone", "Ada to Kim", begin=begin)

    mail = whole(shop.send())

    told = " ".join(text(mail).split())
    assert "You can cancel this until Mon" in told
    assert "16 Mar 2026" in told
    assert asked in told
    assert "it is not legal advice" in told


def test_a_receipt_of_what_was_agreed_at_the_counter_says_nothing_of_cancelling(shop: Shop) -> None:
    number = arrive(shop)
    ref = put(shop, number).ref
    shop.send()
    answers.record(shop.desk, BENCH, number, ref, "a", "counter", "Ada to Kim")

    assert "cancel" not in text(whole(shop.send()))
