"""Letters about personal data: the code, what became of a request with its reason, what waits for the keepers."""

from __future__ import annotations

from datetime import timedelta

import pytest

from portal.actions import codes, own_data, people, restriction, rights
from portal.actions.desk import COMMAND, By
from portal.actions.intake import NewDevice, NewVisit, take_in
from portal.actions.moves import move
from portal.actions.notes import note
from portal.actions.rights import Asked
from portal.main import Installation
from portal.store import rights as rows
from portal.store import visits
from portal.store.tables import contacts
from portal.store.visits import Visit
from tests.actions.aftermath import ticket_of
from tests.conftest import BENCH
from tests.notifications.test_letters import EMAIL, Shop, part, shown, words


@pytest.fixture
def shop(installation: Installation) -> Shop:
    return Shop(installation)


def arrive(shop: Shop, language: str = "en") -> str:
    number = take_in(shop.desk, BENCH, NewVisit([NewDevice("Radio", "Hums")], "Ada", EMAIL, language=language)).numbers[
        0
    ]
    shop.send()
    return number


def visit_of(shop: Shop, number: str) -> Visit:
    with shop.desk.reading() as connection:
        return visits.by_id(connection, ticket_of(shop.desk, number).visit_id)


def only(shop: Shop) -> str:
    """The text of the one letter that goes out; both its parts say the same."""
    (mail,) = shop.send()
    text = part(mail, "plain")
    assert words(text) == words(shown(part(mail, "html")))
    return text


def silence(shop: Shop) -> None:
    with shop.desk.writing() as connection:
        connection.execute(contacts.update().values(wants="none"))


def test_the_code_comes_at_night_and_to_whoever_wants_no_messages(shop: Shop) -> None:
    visit = visit_of(shop, arrive(shop))
    silence(shop)
    shop.desk.clock.at += timedelta(hours=14)
    own_data.send_code(shop.desk, visit)

    with shop.desk.reading() as connection:
        newest = rows.CODES.newest(connection, visit.id)
    assert newest is not None
    assert codes.code_of(shop.desk.links.secret, newest.ref) in only(shop)


def test_a_request_is_received_with_its_last_day(shop: Shop) -> None:
    """Art. 12(3) GDPR."""
    rights.enter(shop.desk, BENCH, Asked("access", "mail", number=arrive(shop)))

    assert "We answer it by Thu, 2 Apr 2026." in only(shop)


def test_it_is_answered_even_to_whoever_wants_no_messages(shop: Shop) -> None:
    ref = rights.enter(shop.desk, BENCH, Asked("rectification", "counter", number=arrive(shop)))
    shop.send()
    silence(shop)
    rights.settle(shop.desk, BENCH, ref, "done", "Your name is spelt with two s.")

    text = only(shop)
    assert "Your request was carried out" in text
    assert "Your name is spelt with two s." in text


@pytest.mark.parametrize("what", ["refused", "extended"])
def test_whoever_is_refused_or_waits_longer_reads_why_and_where_to_complain(shop: Shop, what: str) -> None:
    """Art. 12(3) and (4) GDPR."""
    ref = rights.enter(shop.desk, BENCH, Asked("access", "mail", number=arrive(shop)))
    shop.send()
    if what == "refused":
        rights.settle(shop.desk, BENCH, ref, "refused", "Nothing says whose it is.")
    else:
        rights.extend(shop.desk, BENCH, ref, "Nothing says whose it is.")

    text = only(shop)
    assert "Nothing says whose it is." in text
    assert "data protection authority" in text
    assert "court" in text
    assert ("Tue, 2 Jun 2026" in text) is (what == "extended")


def test_it_is_read_in_german(shop: Shop) -> None:
    rights.enter(shop.desk, BENCH, Asked("erasure", "mail", number=arrive(shop, "de")))

    assert "Ihre Anfrage ist bei uns" in only(shop)


def test_nothing_else_goes_out_while_the_data_is_only_stored(shop: Shop) -> None:
    """Art. 18(2) GDPR."""
    number = arrive(shop)
    note(shop.desk, BENCH, number, "It is open on the bench.", audience="customer")
    own_data.restrict(shop.desk, number)
    shop.send()
    shop.desk.clock.at += timedelta(hours=1)
    move(shop.desk, BENCH, number, "cleaning")

    assert shop.send() == []


def test_what_is_allowed_all_the_same_goes_out(shop: Shop) -> None:
    """Art. 18(2) GDPR: with the person’s consent."""
    number = arrive(shop)
    own_data.restrict(shop.desk, number)
    shop.send()
    restriction.allow_uses(shop.desk, BENCH, number, ["write"], "consent", "Asked to be written to.")
    note(shop.desk, BENCH, number, "It is open on the bench.", audience="customer")
    shop.desk.clock.at += timedelta(hours=1)

    assert "It is open on the bench." in only(shop)


def test_the_end_of_a_restriction_is_told_before_and_comes_on_its_day(shop: Shop) -> None:
    """Art. 18(3) GDPR."""
    number = arrive(shop)
    ref = rights.enter(shop.desk, BENCH, Asked("restriction", "mail", number=number))
    rights.settle(shop.desk, BENCH, ref, "done", "As you ask.")
    shop.send()
    rights.announce_end(shop.desk, BENCH, ref)

    assert "From Tue, 3 Mar 2026 on we use your data again" in only(shop)
    assert rights.end_announced(shop.desk, shop.desk.clock.now()) == (1, 0)
    assert visit_of(shop, number).restricted_at
    shop.desk.clock.at += timedelta(days=1)
    assert rights.end_announced(shop.desk, shop.desk.clock.now()) == (1, 1)
    assert visit_of(shop, number).restricted_at is None
    assert rights.end_announced(shop.desk, shop.desk.clock.now()) == (0, 0)


def test_a_keeper_hears_what_waits_and_not_what_was_answered_meanwhile(shop: Shop) -> None:
    kim = By("staff", people.add_staff(shop.desk, COMMAND, "Kim", "violet anvil fjord marmalade", "keeper"))
    people.set_email(shop.desk, kim, "violet anvil fjord marmalade", "kim@example.org")
    first = arrive(shop)
    ref = rights.enter(shop.desk, BENCH, Asked("access", "mail", number=first))
    second = rights.enter(shop.desk, BENCH, Asked("erasure", "mail", number=arrive_quietly(shop)))
    rights.settle(shop.desk, BENCH, second, "done", "Erased.")

    sent = [mail for mail in shop.send() if mail["To"] == "kim@example.org"]

    (mail,) = sent
    assert f"/shop/requests/{ref}" in part(mail, "plain")
    assert "2 Apr 2026" in part(mail, "plain")


def arrive_quietly(shop: Shop) -> str:
    return take_in(shop.desk, BENCH, NewVisit([NewDevice("Clock", "Stopped")])).numbers[0]
