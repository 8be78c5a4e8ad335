"""What a customer's device is shown of a repair: few words, whose link, what takes the place of what, and what is more.

The push service is a real one, and the browser behind it opens what it is sent.
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path
from random import Random
from typing import Any

import pytest
from sqlalchemy import select, update

from notifications import undelivered
from notifications.instants import FixedClock
from notifications.outbox import Trace
from notifications.tables import outbox
from portal import resources
from portal.actions import answers, pushes, questions
from portal.actions.answers import Answer
from portal.actions.choices import Chosen, choose
from portal.actions.handover import hand_over
from portal.actions.intake import NewDevice, NewVisit, TakenIn, take_in
from portal.actions.moves import move
from portal.actions.notes import note
from portal.language import language
from portal.letters.calling import to_ring
from portal.main import Installation
from portal.rules.messages import KINDS, Pushed
from portal.rules.numbers import spoken
from portal.rules.offers import TypedLine, TypedOffer, TypedOption
from portal.rules.refusals import Refused
from portal.rules.tokens import LinkKind
from portal.store import disclosure, policies, visits
from portal.store.push_tables import push_devices
from portal.store.visits import Contact
from tests.actions.bench import with_code
from tests.conftest import BENCH, opened
from tests.notifications import push_peer
from tests.notifications.push_peer import Pushed as Request
from tests.notifications.push_peer import PushService, claims

BASE_URL, EMAIL, PHONE = "https://repairs.example.org", "ada@example.org", "07700 900123"
OFFER = TypedOffer(
    "The port is torn off.", options=[TypedOption("Replace it", [TypedLine("Charging port", "1", "18.50")])]
)


class Customer:
    """A customer with a browser that shows notices, and the shop that looks after their device."""

    def __init__(self, house: Installation, peer: PushService) -> None:
        self.house, self.desk, self.peer = house, house.desk, peer
        self.channel = house.post_office.channels["push"]
        self.browser = peer.browser()
        self.taken = TakenIn("", (), "")

    @property
    def number(self) -> str:
        return self.taken.numbers[0]

    @property
    def contact(self) -> Contact:
        with self.desk.reading() as connection:
            visit = visits.by_ref(connection, self.taken.visit_ref)
            assert visit is not None
            return visits.contacts_of(connection, visit.id)[0]

    def arrive(self, devices: int = 1, **contact: str) -> str:
        """Hand a device in, and let the browser show notices."""
        brought = [NewDevice("Handheld console", "Does not charge", "console")] * devices
        self.taken = take_in(self.desk, BENCH, NewVisit(brought, name="Ada", **contact))
        self.send()
        pushes.listen(self.desk, self.contact.ref, self.browser.device, self.channel)
        return self.number

    def send(self) -> list[dict[str, Any]]:
        """Let what gathers gather, send what is due, and read the new notices."""
        before = len(self.peer.got)
        self.desk.clock.at += timedelta(minutes=10)
        list(self.house.sweep(["send"]))
        return [self.read(request) for request in self.peer.got[before:]]

    def read(self, request: Request) -> dict[str, Any]:
        return json.loads(self.browser.opened(request.body))

    def mails(self) -> int:
        folder = self.house.settings.mailbox / "new"
        return len(list(folder.iterdir())) if folder.exists() else 0

    def ask(self) -> str:
        """A question about money."""
        return questions.draft(self.desk, BENCH, self.number, OFFER, put_at_once=True).ref

    def make_ready(self) -> list[dict[str, Any]]:
        """Bring the device to the last stage; the notices of that stage."""
        for stage in ("board_work", "testing", "ready"):
            self.send()
            move(self.desk, BENCH, self.number, stage, confirmed=True)
        return self.send()

    def states(self) -> dict[str, str]:
        """The state of the newest message of each event."""
        with self.desk.reading() as connection:
            found = connection.execute(select(outbox.c.event, outbox.c.state).order_by(outbox.c.id))
            return {row.event: row.state for row in found}

    def to_decide(self) -> list[Trace]:
        """What the bench is told of as not surely arrived."""
        with self.desk.reading() as connection:
            return undelivered.undelivered(connection)


@pytest.fixture
def peer() -> Iterator[PushService]:
    with push_peer.serving() as peer:
        yield peer


@pytest.fixture
def customer(sqlite_database: str, clock: FixedClock, tmp_path: Path, peer: PushService) -> Iterator[Customer]:
    settings = {"PUSH_CONTACT": "mailto:repairs@example.org", "PUSH_HOSTS": peer.origin, "BASE_URL": BASE_URL}
    with opened(sqlite_database, tmp_path, clock, Random(4711), **settings) as house:
        with house.desk.writing() as connection:
            document = (policies.document(connection, 1) or "").replace("# tax_percent = 20 ", "tax_percent = 20 #")
            policies.add(connection, document, clock.now(), None)
        yield Customer(house, peer)


# The words


def test_news_reach_a_device_and_nothing_else_goes_out(customer: Customer, peer: PushService) -> None:
    number = customer.arrive(email=EMAIL)
    mails = customer.mails()
    note(customer.desk, BENCH, number, "The port was worn.", audience="customer")

    (notice,) = customer.send()

    assert notice["title"] == "A small repair shop"
    assert notice["body"] == f"News of repair {spoken(number)}."
    assert (notice["link"], notice["lang"]) == (own_link(customer), "en")
    assert (customer.states()["noted"], customer.mails()) == ("sent", mails)
    claims(peer.got[-1], customer.channel.public_key, peer.origin)


def test_a_notice_speaks_the_customers_language(customer: Customer) -> None:
    number = customer.arrive(email=EMAIL, language="de")
    note(customer.desk, BENCH, number, "The port was worn.", audience="customer")

    (notice,) = customer.send()

    assert notice["lang"] == "de"
    assert spoken(number) in notice["body"]
    assert "News" not in notice["body"]


def test_a_notice_holds_no_name_no_price_no_code_and_no_word_of_the_device(customer: Customer) -> None:
    customer.arrive(email=EMAIL)
    ref = customer.ask()
    told = customer.send()
    answers.answer(customer.desk, customer.number, ref, Answer(1, "en", None, "NO"))
    told += customer.send() + customer.make_ready()
    hand_over(customer.desk, BENCH, customer.number, with_code(customer.desk, customer.number), confirmed=True)
    told += customer.send()

    assert len(told) >= 4
    for notice in told:
        shown = notice["title"] + notice["body"]
        assert not re.search(r"Ada|18|£|console|port|code", shown, re.IGNORECASE), shown


@pytest.mark.parametrize("event", sorted(KINDS))
def test_every_event_that_is_shown_has_words_for_it_in_each_language(event: str) -> None:
    file = resources.templates() / "messages" / event / "push.txt"

    assert file.is_file() is (KINDS[event].pushed is not Pushed.NEVER)
    if file.is_file():
        assert "code" not in re.sub(r"without the code", "", file.read_text(encoding="utf-8"))
        for message in re.findall(r'_\("(.*?)"', file.read_text(encoding="utf-8")):
            assert language("de", "Europe/Berlin").gettext(message) != message


# What else goes out


def test_what_must_arrive_goes_by_mail_as_well(customer: Customer) -> None:
    customer.arrive(email=EMAIL)
    told = customer.make_ready()
    mails = customer.mails()

    assert [notice["body"] for notice in told] == [f"Repair {spoken(customer.number)} is ready."]
    assert customer.states()["ready"] == "sent"
    assert customer.to_decide() == []
    customer.ask()
    assert [notice["link"].startswith("/t/") for notice in customer.send()] == [True]
    assert customer.mails() == mails + 1
    assert customer.states()["question_put"] == "sent"


def test_who_left_a_number_alone_is_put_on_the_list_of_calls(customer: Customer) -> None:
    customer.arrive(phone=PHONE)

    assert len(customer.make_ready()) == 1
    assert [each.call.event for each in to_ring(customer.desk)] == ["ready"]


def test_who_has_nothing_but_a_device_is_shown_it_and_the_bench_is_told_that_nobody_knows(customer: Customer) -> None:
    customer.arrive()
    told = customer.make_ready()

    assert len(told) == 1
    (trace,) = customer.to_decide()
    assert (trace.event, trace.state, trace.channel) == ("ready", "unknown", "push")
    for _hour in range(5):
        assert customer.send() == []  # and it is not shown again and again
        customer.desk.clock.at += timedelta(hours=1)


def test_news_that_only_a_device_was_shown_trouble_nobody(customer: Customer) -> None:
    number = customer.arrive()
    note(customer.desk, BENCH, number, "The port was worn.", audience="customer")

    assert len(customer.send()) == 1
    assert customer.to_decide() == []


def test_what_proves_who_somebody_is_is_never_shown(customer: Customer) -> None:
    customer.arrive()
    ref = customer.ask()
    customer.send()

    with pytest.raises(Refused):
        answers.send_code(customer.desk, customer.number, ref)
    assert "question_code" not in customer.states()


def test_a_dead_device_is_forgotten_and_mail_goes_instead(customer: Customer, peer: PushService) -> None:
    number = customer.arrive(email=EMAIL)
    choose(customer.desk, customer.contact.ref, Chosen("all", ["push"]), ["push", "mail"])
    assert customer.contact.channels == ["push"]
    peer.says = [410]
    note(customer.desk, BENCH, number, "The port was worn.", audience="customer")
    customer.send()

    assert (customer.contact.has_push, customer.contact.channels) == (False, None)
    assert [trace.event for trace in customer.to_decide()] == ["noted"]
    mails = customer.mails()
    note(customer.desk, BENCH, number, "It is clean now.", audience="customer")
    assert customer.send() == []
    assert customer.mails() == mails + 1


# Whose link


def own_link(customer: Customer) -> str:
    contact = customer.contact
    link = customer.desk.links.customer(LinkKind.CONTACT, contact.ref, contact.link_version)
    return link.removeprefix(BASE_URL)


def test_who_came_by_the_docket_is_led_to_the_docket_also_by_a_question(customer: Customer) -> None:
    customer.arrive()
    customer.ask()

    (notice,) = customer.send()

    assert notice["link"] == customer.taken.link.removeprefix(BASE_URL)


# How it is carried


def headers(request: Request) -> tuple[str, str, str]:
    return request.headers["Urgency"], request.headers["TTL"], request.headers.get("Topic", "")


def test_a_later_notice_takes_the_place_of_an_earlier_one_about_the_same(customer: Customer, peer: PushService) -> None:
    customer.arrive(devices=2, email=EMAIL)
    for number in customer.taken.numbers:
        note(customer.desk, BENCH, number, "The port was worn.", audience="customer")
    first = customer.send()
    note(customer.desk, BENCH, customer.number, "It is clean now.", audience="customer")
    (later,) = customer.send()
    customer.ask()
    (asked,) = customer.send()

    topics = [headers(request)[2] for request in peer.got]
    assert topics[2] == topics[0]
    assert len({topics[0], topics[1], topics[3]}) == 3  # another repair, another matter
    assert all(re.fullmatch(r"[A-Za-z0-9_-]{1,32}", topic) for topic in topics)  # RFC 8030 section 5.4
    assert [notice["tag"] for notice in (*first, later, asked)] == topics
    assert not any(customer.contact.ref in topic or customer.number in topic for topic in topics)


def test_two_questions_of_one_repair_stand_beside_each_other(customer: Customer, peer: PushService) -> None:
    customer.arrive(email=EMAIL)
    ref = customer.ask()
    customer.send()
    answers.answer(customer.desk, customer.number, ref, Answer(1, "en", None, "NO"))
    customer.send()
    customer.ask()
    customer.send()

    first, answered, second = [headers(request)[2] for request in peer.got]
    assert first == answered != second


def test_how_long_and_how_urgently_a_notice_is_carried(customer: Customer, peer: PushService) -> None:
    number = customer.arrive(email=EMAIL)
    note(customer.desk, BENCH, number, "The port was worn.", audience="customer")
    customer.send()
    customer.ask()
    customer.send()

    (calm, ttl, _topic), (urgent, _ttl, _other) = [headers(request) for request in peer.got]
    assert (calm, urgent) == ("normal", "high")
    with customer.desk.reading() as connection:
        expires = connection.execute(select(outbox.c.expires_at).where(outbox.c.event == "noted")).scalar_one()
    sent_at = customer.desk.clock.now() - timedelta(minutes=10)
    assert int(ttl) == int((expires - sent_at).total_seconds())


# What is kept


def test_devices_are_forgotten_three_days_after_the_handover(customer: Customer, peer: PushService) -> None:
    customer.arrive(email=EMAIL)
    customer.make_ready()
    hand_over(customer.desk, BENCH, customer.number, with_code(customer.desk, customer.number), confirmed=True)
    assert len(customer.send()) == 1  # that it has left the shop
    customer.desk.clock.at += timedelta(days=2)
    list(customer.house.sweep(["purge"], explicit=True))
    assert customer.contact.has_push

    customer.desk.clock.at += timedelta(days=2)
    list(customer.house.sweep(["purge"], explicit=True))

    assert not customer.contact.has_push
    with customer.desk.reading() as connection:
        assert connection.execute(select(push_devices)).all() == []


def test_a_person_is_told_which_devices_are_kept_but_not_their_keys(customer: Customer) -> None:
    customer.arrive(email=EMAIL)

    with customer.desk.reading() as connection:
        told = disclosure.of_visit(connection, customer.contact.visit_id)

    assert [row["endpoint"] for row in told["push_devices"]] == [customer.browser.endpoint]
    assert {"key", "secret"}.isdisjoint(told["push_devices"][0])


def test_an_endpoint_changed_in_the_database_is_not_written_to(customer: Customer, peer: PushService) -> None:
    number = customer.arrive(email=EMAIL)
    with push_peer.serving() as inside:
        with customer.desk.writing() as connection:
            connection.execute(update(push_devices).values(endpoint=f"{inside.origin}/to/one"))
        mails = customer.mails()
        note(customer.desk, BENCH, number, "The port was worn.", audience="customer")

        assert customer.send() == []
        assert inside.got == []
    assert customer.mails() == mails + 1
