"""Letters about the end of a repair: with the code, in both languages, and no longer sent once they are not true."""

from __future__ import annotations

from email.message import EmailMessage

import pytest

from portal.actions import collection_codes
from portal.actions.desk import CUSTOMER, find
from portal.actions.giving_up import give_up, wish_on_page
from portal.actions.handover import hand_over, undo
from portal.actions.intake import NewDevice, NewVisit, Second, take_in
from portal.actions.links import renew_contact
from portal.actions.moves import move
from portal.actions.posting import Packed, came_back, post_back
from portal.actions.price_terms import TypedTerms
from portal.actions.return_ways import Wanted, choose
from portal.actions.terms import accept_terms
from portal.main import Installation
from portal.rules.posting import PACKING
from portal.store import handovers, policies, visits
from tests.actions.bench import WITHOUT_CODE, bring_to, with_code
from tests.actions.test_questions import with_policy
from tests.conftest import BENCH
from tests.notifications.test_letters import Shop, part, shown, words

BY_POST = Wanted("post", address="12 Harbour Rise\nQuayhaven", confirmed=True)


@pytest.fixture
def shop(installation: Installation) -> Shop:
    return Shop(installation)


def code_of(shop: Shop, number: str, role: str = "owner") -> str:
    with shop.desk.reading() as connection:
        ticket = find(connection, number)
        contact = next(each for each in visits.contacts_of(connection, ticket.visit_id) if each.role == role)
        used = handovers.codes_used(connection, ticket.id)
        return collection_codes.of_contact(shop.desk.links.secret, contact, ticket.ref, used)


def make_ready(shop: Shop, language: str = "en") -> str:
    """A device that is ready; everything told so far has gone out."""
    number = shop.arrive(language)
    bring_to(shop.desk, number, "testing")
    shop.send()
    move(shop.desk, BENCH, number, "ready", confirmed=True)
    return number


def whole(mail: EmailMessage) -> str:
    """The letter's text, once it is seen that its HTML says the same."""
    text = part(mail, "plain")
    assert words(text) == words(shown(part(mail, "html")))
    return text


def test_ready_tells_code_hours_address_and_where_to_choose(shop: Shop) -> None:
    number = make_ready(shop)
    (mail,) = shop.send()

    text = whole(mail)
    assert f"Your collection code: {code_of(shop, number)}" in text
    assert "Mon–Fri: 09:00–17:30" in text
    assert "1 Example Lane" in text
    assert "/collect" in text
    assert "Still to be paid" not in text


STORAGE = """[collection]
storage = { per_day = 1.50, after_days = 20, at_most = 30, terms_point = "uncollected" }"""


def test_what_is_open_and_what_storage_will_cost_is_told_with_that_it_is_ready(shop: Shop) -> None:
    with_policy(shop.desk, STORAGE)
    device = NewDevice("Radio", "Hums", price=TypedTerms("fixed price", "48.50"))
    taken = take_in(shop.desk, BENCH, NewVisit([device], name="Ada", email="ada@example.org"))
    accept_terms(shop.desk, BENCH, taken.visit_ref, "draft-1", "tick")
    shop.send()
    bring_to(shop.desk, taken.numbers[0], "ready")
    with shop.desk.writing() as connection:  # what the shop asks by now was never accepted
        document = policies.document(connection, policies.newest(connection)) or ""
        policies.add(connection, document.replace("per_day = 1.50", "per_day = 9"), shop.desk.clock.now(), None)
    mail = shop.send()[-1]

    text = " ".join(whole(mail).split())
    assert "Still to be paid: £48.50" in text
    assert "storage costs £1.50 for each started day from Mon, 23 Mar 2026 on, and never more than £30.00." in text


@pytest.mark.parametrize("language", ["en", "de"])
def test_every_letter_of_the_end_is_whole_in_each_language(shop: Shop, language: str) -> None:
    letters = {}

    def sent(event: str) -> None:
        (letters[event],) = shop.send()

    number = make_ready(shop, language)
    sent("ready")
    choose(shop.desk, CUSTOMER, number, Wanted("collect", "2026-03-05"))
    move(shop.desk, BENCH, number, "testing", why="The fan is loud.")
    sent("ready undone")
    move(shop.desk, BENCH, number, "ready", confirmed=True)
    sent("ready again")
    hand_over(shop.desk, BENCH, number, WITHOUT_CODE, confirmed=True)
    sent("without code")
    undo(shop.desk, BENCH, number, "The wrong ticket.")
    sent("reopened")
    choose(shop.desk, CUSTOMER, number, BY_POST)
    post_back(shop.desk, BENCH, number, Packed("Carrier", "QH 42", "2026-03-02", tuple(PACKING)), confirmed=True)
    sent("posted")
    came_back(shop.desk, BENCH, number, "2026-03-02")
    sent("came back")
    word = {"en": "GIVE UP", "de": "AUFGEBEN"}[language]
    wish_on_page(shop.desk, number, True, "none inside", word, language)
    give_up(shop.desk, BENCH, number)
    sent("given up")

    texts = {event: whole(mail) for event, mail in letters.items()}
    assert all("Handheld console" in text for text in texts.values())
    assert [event for event in texts if code_of(shop, number) in texts[event]] == [
        "ready",
        "ready again",
        "reopened",
        "came back",
    ]
    assert "QH 42" in texts["posted"]
    other = {"en": "Ihr", "de": "Your"}[language]
    assert [event for event in texts if other in texts[event] or other in str(letters[event]["Subject"])] == []


def test_a_second_person_is_told_their_own_code_or_none(shop: Shop) -> None:
    for may_collect in (True, False):
        second = Second("Ben", "ben@example.org", may_be_told=True, may_collect=may_collect)
        visit = NewVisit([NewDevice("Phone", "Dark")], name="Ada", email="ada@example.org", second=second)
        number = take_in(shop.desk, BENCH, visit).numbers[0]
        bring_to(shop.desk, number, "testing")
        shop.send()
        move(shop.desk, BENCH, number, "ready", confirmed=True)
        texts = {mail["To"]: part(mail, "plain") for mail in shop.send()}

        assert code_of(shop, number) in texts["ada@example.org"]
        assert code_of(shop, number) not in texts["ben@example.org"]
        assert (code_of(shop, number, "second") in texts["ben@example.org"]) is may_collect


def test_a_letter_that_waits_carries_the_code_of_the_link_as_it_is_when_it_goes(shop: Shop) -> None:
    number = make_ready(shop)
    old = code_of(shop, number)
    with shop.desk.reading() as connection:
        ref = visits.contacts_of(connection, find(connection, number).visit_id)[0].ref
    renew_contact(shop.desk, BENCH, number, ref)

    ready = next(mail for mail in shop.send() if "ready" in mail["Subject"])
    assert old not in part(ready, "plain")
    assert code_of(shop, number) in part(ready, "plain")


def test_ready_is_not_told_once_the_device_has_left_or_went_back(shop: Shop) -> None:
    number = make_ready(shop)
    move(shop.desk, BENCH, number, "testing", why="The fan is loud.")
    assert shop.send() == []

    move(shop.desk, BENCH, number, "ready", confirmed=True)
    hand_over(shop.desk, BENCH, number, with_code(shop.desk, number), confirmed=True)
    (mail,) = shop.send()
    assert mail["Subject"].endswith("handed over")


def test_after_a_used_code_the_new_one_is_told(shop: Shop) -> None:
    number = make_ready(shop)
    shop.send()
    used = code_of(shop, number)
    hand_over(shop.desk, BENCH, number, with_code(shop.desk, number), confirmed=True)
    shop.send()
    undo(shop.desk, BENCH, number, "It does not start.")

    (mail,) = shop.send()
    assert used not in part(mail, "plain")
    assert f"Your collection code is this one now: {code_of(shop, number)}" in part(mail, "plain")


def test_no_code_stands_in_a_log(shop: Shop, caplog: pytest.LogCaptureFixture) -> None:
    caplog.set_level("DEBUG")
    number = make_ready(shop)
    shop.send()
    code = code_of(shop, number)
    hand_over(shop.desk, BENCH, number, with_code(shop.desk, number), confirmed=True)
    shop.send()

    assert code not in caplog.text
    assert code.replace("-", "") not in caplog.text
