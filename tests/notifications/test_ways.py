"""The ways a customer is reached: by what they chose and have, by text in one segment, by somebody who rings."""

from __future__ import annotations

import re
from collections.abc import Iterator
from datetime import date, timedelta
from email import message_from_bytes, policy
from email.message import EmailMessage
from itertools import product
from pathlib import Path
from random import Random

import pytest
from jinja2 import meta
from sqlalchemy import select, update

from notifications.instants import FixedClock
from notifications.tables import outbox
from portal import resources
from portal.actions.handover import hand_over
from portal.actions.intake import NewDevice, NewVisit, take_in
from portal.actions.links import send_link_again
from portal.actions.moves import move
from portal.actions.notes import note
from portal.actions.wording import save_words
from portal.language import language as speaks
from portal.letters import STILL_TRUE
from portal.letters.calling import to_ring
from portal.letters.rendering import environment
from portal.main import Installation
from portal.rules.messages import KINDS
from portal.rules.numbers import spoken
from portal.rules.sms import LONGEST_ADDRESS, Alphabet, cost, plain
from portal.rules.wording import BRIEF, Part
from portal.rules.wording_occasions import OCCASIONS
from portal.store import calls
from portal.store.tables import contacts
from tests.actions.bench import WITHOUT_CODE, with_code
from tests.conftest import BENCH, opened
from tests.notifications import gateway_peer
from tests.notifications.gateway_peer import Gateway

EMAIL, PHONE = "ada@example.org", "07700 900123"
STAGES = ("board_work", "testing", "ready")
BASE_URL = "https://repairs.example.org"


class Counter:
    """A shop with a gateway, where one device is handed in."""

    def __init__(self, house: Installation, gateway: Gateway) -> None:
        self.house, self.desk, self.gateway = house, house.desk, gateway

    def arrive(self, **contact: object) -> str:
        """Take a device in and tell its number."""
        arrival = NewVisit([NewDevice("Handheld console", "Does not charge", "console")], name="Ada", **contact)
        return take_in(self.desk, BENCH, arrival).numbers[0]

    def send(self) -> list[str]:
        """Let what gathers gather, send what is due, and tell the new texts."""
        before = len(self.gateway.got)
        self.desk.clock.at += timedelta(minutes=10)
        assert [tally.failed for _name, tally in self.house.sweep(["send"])] == [0]
        return [text for _path, text in self.gateway.got[before:]]

    def letters(self) -> list[EmailMessage]:
        """The mails that went out."""
        folder = self.house.settings.mailbox / "new"
        files = sorted(folder.iterdir(), key=lambda file: file.stat().st_mtime_ns) if folder.exists() else []
        return [message_from_bytes(file.read_bytes(), policy=policy.SMTP) for file in files]

    def choose(self, **columns: object) -> None:
        """What the contact chose on their page."""
        with self.desk.writing() as connection:
            connection.execute(update(contacts).values(**columns))

    def states(self) -> list[tuple[str, str]]:
        """Events and states of all messages, the oldest first."""
        with self.desk.reading() as connection:
            found = connection.execute(select(outbox.c.event, outbox.c.state).order_by(outbox.c.id))
            return [tuple(row) for row in found]

    def make_ready(self, number: str) -> None:
        """Move a device to the last stage."""
        for stage in STAGES:
            move(self.desk, BENCH, number, stage, confirmed=True)

    def to_the_end(self, number: str) -> dict[str, str]:
        """A whole repair; its texts by what happened."""
        texts = {"taken_in": self.send()}
        send_link_again(self.desk, number, PHONE, "somewhere")
        texts["link_again"] = self.send()
        note(self.desk, BENCH, number, "The port was worn.", audience="customer")
        texts["noted"] = self.send()
        for stage in STAGES:
            move(self.desk, BENCH, number, stage, confirmed=True)
            texts[stage] = self.send()
        hand_over(self.desk, BENCH, number, with_code(self.desk, number), confirmed=True)
        texts["ended"] = self.send()
        return {event: text for event, sent in texts.items() for text in sent}


def remind(counter: Counter) -> None:
    """Let days go by until the first reminder, and send it."""
    counter.desk.clock.at += timedelta(days=8)
    assert [tally.failed for _name, tally in counter.house.sweep(["remind", "send"])] == [0, 0]


@pytest.fixture
def gateway() -> Iterator[Gateway]:
    with gateway_peer.serving() as gateway:
        yield gateway


@pytest.fixture
def counter(sqlite_database: str, clock: FixedClock, tmp_path: Path, gateway: Gateway) -> Iterator[Counter]:
    settings = {"BASE_URL": BASE_URL, "GATEWAYS": gateway.url()}
    with opened(sqlite_database, tmp_path, clock, Random(4711), **settings) as house:
        yield Counter(house, gateway)


# By text


@pytest.mark.parametrize("language", ["en", "de"])
def test_every_text_of_a_repair_fits_one_segment_with_its_link(counter: Counter, language: str):
    number = counter.arrive(phone=PHONE, language=language)

    texts = counter.to_the_end(number)

    assert set(texts) == {"taken_in", "link_again", "noted", "board_work", "ready", "ended"}
    for event, text in texts.items():
        told = cost(text)
        assert (told.alphabet, told.segments) == (Alphabet.GSM7, 1), (event, told, text)
        assert f"{BASE_URL}/t/C" in text, event
        assert text.startswith("A small repair shop: "), event
        assert "\n" not in text, event


TEXTS = sorted((resources.templates() / "messages").glob("*/sms.txt"))


@pytest.mark.parametrize("language", ["en", "de"])
@pytest.mark.parametrize("file", TEXTS, ids=lambda file: file.parent.name)
def test_every_text_there_is_fits_one_segment_however_it_turns_out(file: Path, language: str):
    words = environment(speaks(language, "Europe/London"))
    usual = {
        "shop_briefly": "W" * BRIEF,
        "number": "14711-3",
        "link": f"{'https://repairs.example.org'.ljust(LONGEST_ADDRESS, 'w')}/t/C{'0' * 36}",
        "tickets": [None],
    }
    days = speaks(language, "Europe/London").days_briefly(date(2026, 11, 28), date(2026, 12, 13))
    unusual = meta.find_undeclared_variables(words.parse(file.read_text(encoding="utf-8"))) - {*usual, "_", "ngettext"}
    for values in product(*([None, days if name == "days" else "XK4-T7Q"] for name in unusual)):
        for devices in (1, 2):
            context = usual | {"tickets": [None] * devices} | dict(zip(unusual, values, strict=True))
            text = " ".join(words.get_template(f"messages/{file.parent.name}/sms.txt").render(context).split())

            told = cost(plain(text))
            assert (told.alphabet, told.segments) == (Alphabet.GSM7, 1), (told, text)


def test_the_first_text_says_that_it_cannot_be_answered(counter: Counter):
    counter.arrive(phone=PHONE)

    (text,) = counter.send()
    assert text.count("Replies are not read.") == 1


@pytest.mark.parametrize(("language", "note"), [("en", "Replies are not read."), ("de", "Antworten liest niemand.")])
def test_every_other_text_of_a_repair_says_so_too(counter: Counter, language: str, note: str):
    number = counter.arrive(phone=PHONE, language=language)

    texts = counter.to_the_end(number)

    assert {event for event, text in texts.items() if text.count(note) != 1} == set()


def test_every_event_of_customers_has_its_text_and_what_is_worth_a_call_its_words_to_say():
    folder = resources.templates() / "messages"

    assert [event for event in STILL_TRUE if not (folder / event / "sms.txt").exists()] == []
    worth_a_call = {event for event in KINDS if KINDS[event].worth_a_call}
    assert [event for event in worth_a_call if not (folder / event / "say.txt").exists()] == []


def test_a_link_can_be_sent_to_whoever_left_only_a_number(counter: Counter):
    counter.arrive(phone=PHONE)

    (text,) = counter.send()
    token = text.split("/t/")[1].split()[0]
    assert len(token) == 37
    assert counter.gateway.numbers == ["447700900123"]


# Which way


def ways(counter: Counter) -> list[str]:
    """The channels of the newest message."""
    with counter.desk.reading() as connection:
        return list(connection.execute(select(outbox.c.channels).order_by(outbox.c.id.desc())).scalars().first() or ())


@pytest.mark.parametrize(
    ("contact", "wanted"),
    [
        ({"email": EMAIL}, ["mail"]),
        ({"phone": PHONE}, ["sms"]),
        ({"email": EMAIL, "phone": PHONE}, ["mail", "sms"]),
        ({"email": EMAIL, "phone": PHONE, "phone_is_on_bench": True}, ["mail"]),
        ({"phone": PHONE, "phone_is_on_bench": True}, []),
    ],
    ids=["a mailbox", "a number", "both", "the number of the phone on the bench", "nothing else"],
)
def test_a_customer_is_reached_by_what_they_have(counter: Counter, contact: dict, wanted: list[str]):
    counter.arrive(**contact)

    assert ways(counter) == wanted


def test_a_customer_is_reached_in_the_order_that_they_chose(counter: Counter):
    number = counter.arrive(email=EMAIL, phone=PHONE)
    counter.choose(channels=["sms", "ring", "mail"])
    note(counter.desk, BENCH, number, "Found it.", audience="customer")

    assert ways(counter) == ["sms", "mail"]  # nobody rings for a note
    counter.make_ready(number)
    assert ways(counter) == ["sms", "ring", "mail"]


def test_who_chose_one_way_is_not_reached_by_another(counter: Counter):
    number = counter.arrive(email=EMAIL, phone=PHONE)
    counter.choose(channels=["mail"])
    note(counter.desk, BENCH, number, "Found it.", audience="customer")

    assert ways(counter) == ["mail"]


def test_a_mailbox_erased_before_its_message_goes_is_followed_by_a_text(counter: Counter):
    number = counter.arrive(email=EMAIL, phone=PHONE)
    counter.send()
    note(counter.desk, BENCH, number, "Found it.", audience="customer")
    counter.choose(email="")

    assert len(counter.send()) == 1


def test_an_address_that_no_mail_can_go_to_is_followed_by_a_text(counter: Counter):
    number = counter.arrive(email=EMAIL, phone=PHONE)
    counter.send()
    counter.choose(email="ada@example.org, eve@example.org")
    note(counter.desk, BENCH, number, "Found it.", audience="customer")
    counter.desk.clock.at += timedelta(minutes=10)
    list(counter.house.sweep(["send"]))

    assert len(counter.gateway.got) == 1
    assert counter.states()[-1] == ("noted", "sent")


def test_without_a_gateway_nobody_is_called_undelivered_for_want_of_one(counter: Counter):
    del counter.house.post_office.channels["sms"]  # type: ignore[attr-defined]
    counter.arrive(phone=PHONE)
    counter.send()

    assert counter.states() == [("taken_in", "withdrawn")]


# How much


def test_who_wants_few_messages_hears_that_it_is_ready_and_no_news(counter: Counter):
    number = counter.arrive(phone=PHONE)
    counter.send()
    counter.choose(wants="few")

    texts = counter.to_the_end(number)
    assert set(texts) == {"link_again", "ready", "ended"}


def test_who_wants_none_hears_nothing_but_what_they_ask_for(counter: Counter):
    number = counter.arrive(phone=PHONE)
    counter.send()
    counter.choose(wants="none")

    texts = counter.to_the_end(number)
    assert set(texts) == {"link_again"}


def test_who_stops_while_a_message_waits_does_not_get_it(counter: Counter):
    number = counter.arrive(phone=PHONE)
    counter.send()
    note(counter.desk, BENCH, number, "Found it.", audience="customer")
    counter.choose(wants="none")

    assert counter.send() == []
    assert counter.states()[-1] == ("noted", "withdrawn")


# Reminders


def test_only_a_reminder_can_be_stopped_by_a_mail_program(counter: Counter):
    number = counter.arrive(email=EMAIL)
    counter.make_ready(number)
    counter.send()
    remind(counter)

    stoppable = {mail["Subject"]: mail for mail in counter.letters() if "List-Unsubscribe" in mail}
    assert [re.sub(r" \d{4}-\d", "", subject) for subject in stoppable] == ["Your repair: ready for you"]
    (reminder,) = stoppable.values()
    (link,) = set(re.findall(r"https://\S+/messages", str(reminder.get_body(("plain",)).get_content())))
    assert reminder["List-Unsubscribe"] == f"<{link}/reminders>"
    assert reminder["List-Unsubscribe-Post"] == "List-Unsubscribe=One-Click"
    assert len(counter.letters()) == 3


def test_who_stopped_reminders_gets_none_and_everything_else(counter: Counter):
    number = counter.arrive(email=EMAIL)
    counter.choose(no_reminders=True)
    counter.make_ready(number)
    counter.send()
    remind(counter)

    assert counter.states()[-1] == ("uncollected", "withdrawn")
    assert counter.states()[-2] == ("ready", "sent")


# By a call


def test_a_message_by_telephone_is_put_on_the_list_with_whom_why_and_what_to_say(counter: Counter):
    number = counter.arrive(phone=PHONE, language="de")
    counter.choose(channels=["ring"])
    counter.make_ready(number)
    counter.send()

    (listed,) = to_ring(counter.desk)
    assert listed.contact.phone == "+447700900123"
    assert listed.ticket.number == number
    assert listed.why.endswith("fertig")
    assert listed.say.startswith("Hier ist A small repair shop, es geht um Reparatur ")
    assert counter.states()[-1] == ("ready", "sent")


def test_a_call_whose_sender_died_is_on_the_list_once(counter: Counter):
    number = counter.arrive(phone=PHONE)
    counter.choose(channels=["ring"])
    counter.make_ready(number)
    counter.send()
    with counter.desk.writing() as connection:  # as if it had died before it wrote down that it was done
        values = {"state": "unknown", "settled_at": None, "unknowns": 1, "due_at": counter.desk.clock.now()}
        connection.execute(update(outbox).where(outbox.c.event == "ready").values(**values))
    counter.send()

    assert counter.states()[-1] == ("ready", "sent")
    assert len(to_ring(counter.desk)) == 1


def test_nobody_is_rung_for_what_is_no_longer_true_or_was_said(counter: Counter):
    number = counter.arrive(phone=PHONE)
    counter.choose(channels=["ring"])
    counter.make_ready(number)
    counter.send()
    (listed,) = to_ring(counter.desk)

    hand_over(counter.desk, BENCH, number, WITHOUT_CODE, confirmed=True)
    assert to_ring(counter.desk) == []

    with counter.desk.writing() as connection:
        calls.close(connection, listed.call.id, counter.desk.clock.now())
    with counter.desk.reading() as connection:
        assert calls.due(connection) == []


def test_texts_and_calls_are_said_in_the_shops_own_words(counter: Counter) -> None:
    own = {Part.SMS: "{device} – done! {link}", Part.SAY: "Hello {name}, {number} can be collected."}
    save_words(counter.desk, BENCH, OCCASIONS["ready", "always"], "en", own)
    number = counter.arrive(phone=PHONE)
    counter.send()
    counter.make_ready(number)
    texts = counter.send()

    assert any(re.fullmatch(r"Handheld console - done! https://\S+ Replies are not read\.", text) for text in texts)
    counter.choose(channels=["ring"])
    other = counter.arrive(phone=PHONE)
    counter.choose(channels=["ring"])
    counter.make_ready(other)
    counter.send()

    assert [ring.say for ring in to_ring(counter.desk)] == [f"Hello Ada, {spoken(other)} can be collected."]


def test_a_text_that_lacks_what_its_own_words_name_is_said_in_the_programs(counter: Counter) -> None:
    save_words(counter.desk, BENCH, OCCASIONS["ready", "always"], "en", {Part.SMS: "{name}: {code} {link}"})
    number = counter.arrive(phone=PHONE)
    counter.choose(may_collect=False)
    counter.make_ready(number)

    assert "is ready." in counter.send()[-1]
