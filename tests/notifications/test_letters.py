"""Letters: found true and written at the moment they go, in the customer’s language, without what they must not say."""

from __future__ import annotations

import html
import logging
import re
from datetime import UTC, datetime, timedelta
from email import message_from_bytes, policy
from email.message import EmailMessage
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from PIL import Image
from sqlalchemy import update

from portal import resources
from portal.actions.handover import hand_over, return_unrepaired
from portal.actions.intake import NewDevice, NewVisit, take_in
from portal.actions.links import renew_contact, send_link_again
from portal.actions.moves import move
from portal.actions.notes import correct, note
from portal.actions.photo_hiding import hide
from portal.actions.photo_words import describe
from portal.actions.photos import Audience, add, withdraw
from portal.main import Installation
from portal.rules.numbers import spoken
from portal.rules.picture_parts import Part
from portal.store import photos, policies, purge, tickets, visits
from portal.store.tables import contacts
from tests.actions.bench import WITHOUT_CODE
from tests.conftest import BASE_URL, BENCH
from tests.pictures.samples import as_bytes

EMAIL, PHONE, NAME = "ada@example.org", "07700 900123", "Ada"
GATHERING = timedelta(minutes=10)
DEVICE, FAULT, NOTE = "Handheld console", "Does not charge", "The charging port was worn; a new one is fitted."


class Shop:
    """An installation with its mailbox."""

    def __init__(self, house: Installation) -> None:
        self.house, self.desk = house, house.desk

    def arrive(self, language: str = "en", devices: int = 1) -> str:
        """Take devices in and tell the first one's number."""
        handed_in = [NewDevice(DEVICE, FAULT, "console")] * devices
        arrival = NewVisit(handed_in, name=NAME, email=EMAIL, phone=PHONE, language=language)
        return take_in(self.desk, BENCH, arrival).numbers[0]

    def send(self) -> list[EmailMessage]:
        """Send what is due, and tell what is new in the mailbox."""
        before = self._files()
        assert [tally.failed for _name, tally in self.house.sweep(["send"])] == [0]
        return [message_from_bytes(file.read_bytes(), policy=policy.SMTP) for file in self._files() - before]

    def gathered(self) -> list[EmailMessage]:
        """Wait until notes and photos have gathered, and send."""
        self.desk.clock.at += GATHERING
        return self.send()

    def live_through(self, language: str) -> dict[str, EmailMessage]:
        """A whole repair; its letters by event, the stages' by their key."""
        letters = {}

        def sent(name: str) -> None:
            (letters[name],) = self.send()

        number = self.arrive(language)
        sent("taken in")
        send_link_again(self.desk, number, EMAIL, "somewhere")
        sent("link again")
        note(self.desk, BENCH, number, NOTE, audience="customer")
        (letters["noted"],) = self.gathered()
        for stage in ("board_work", "testing", "ready"):
            move(self.desk, BENCH, number, stage, confirmed=True)
            if stage != "testing":
                sent(stage)
        hand_over(self.desk, BENCH, number, WITHOUT_CODE, confirmed=True)
        sent("ended")
        return letters

    def _files(self) -> set:
        folder = self.house.settings.mailbox / "new"
        return set(folder.iterdir()) if folder.exists() else set()


def photograph(shop: Shop, number: str, audience: Audience = "customer") -> None:
    """Take a photo, for the customer or the bench."""
    noise = np.random.default_rng(3).integers(60, 255, (300, 400, 3), dtype=np.uint8)
    add(shop.desk, shop.house.photo_files, BENCH, number, as_bytes(Image.fromarray(noise)), audience=audience)


def close_the_shop(shop: Shop, first: str, last: str) -> None:
    """Load a policy with a holiday."""
    with shop.desk.writing() as connection:
        text = policies.document(connection, 1)
        assert text is not None
        closing = f'[[hours.closed]]\nfirst = {first}\nlast = {last}\nnote = {{ en = "Away", de = "Weg" }}\n'
        policies.add(connection, f"{text}\n{closing}", shop.desk.clock.now(), None)


@pytest.fixture
def shop(installation: Installation) -> Shop:
    return Shop(installation)


def part(mail: EmailMessage, kind: str) -> str:
    body = mail.get_body((kind,))
    assert body is not None
    return str(body.get_content())


def words(text: str) -> list[str]:
    """The words of a text, without the line that sets off a mail's foot."""
    return [word for word in text.split() if word != "--"]


def shown(page: str) -> str:
    """What an HTML part shows."""
    return html.unescape(re.sub(r"<[^>]+>", " ", page[page.index("<body>") :])).replace(" ,", ",")


@pytest.mark.parametrize("language", ["en", "de"])
def test_every_letter_of_a_repair_is_whole(shop: Shop, language: str):
    letters = shop.live_through(language)

    for event, mail in letters.items():
        text, page = part(mail, "plain"), part(mail, "html")
        # Text and HTML state the same facts, word for word.
        assert words(text) == words(shown(page)), event
        assert mail["To"] == EMAIL
        assert mail["Content-Language"] == language
        assert re.match(r"(Your repair|Ihre Reparatur) \d{4}-\d: \S", mail["Subject"]), mail["Subject"]
        assert len(mail["Subject"]) <= 78
        assert "\n\n\n\n" not in text.replace("\r", "")


def test_every_letter_says_why_it_came_and_carries_the_contacts_own_link(shop: Shop):
    for mail in shop.live_through("en").values():
        text = part(mail, "plain")
        assert "You get this because" in text
        assert re.search(rf"or stop them:\s+{re.escape(BASE_URL)}/t/C[0-9A-Z]{{36}}/messages", text)
        assert re.search(rf"^{re.escape(BASE_URL)}/t/C[0-9A-Z]{{36}}\r?$", text, re.MULTILINE)


@pytest.mark.parametrize("file", ["text.txt", "html.html"])
def test_every_message_there_is_stands_in_the_frame_that_says_why_it_came_and_how_to_stop_it(file: str):
    messages = resources.templates() / "messages"
    ending = file.partition(".")[2]
    frames = {
        f"_frame.{ending}": ("You get this because you left your address", "{{ choices_link }}"),
        f"_staff_frame.{ending}": ("You get this because your account has this address", "You can take it away"),
    }

    begins = {each.parent.name: each.read_text(encoding="utf-8").splitlines()[0] for each in messages.glob(f"*/{file}")}

    assert len(begins) > 20
    assert set(begins.values()) == {f'{{% extends "messages/{frame}" %}}' for frame in frames}
    for frame, says in frames.items():
        assert all(each in (messages / frame).read_text(encoding="utf-8") for each in says)


@pytest.mark.parametrize("email", ["", "us@example.com"])
def test_a_letter_that_cannot_be_answered_says_so_and_another_is_answered_to_the_shop(shop: Shop, email: str):
    with shop.desk.writing() as connection:
        document = policies.document(connection, 1)
        assert document is not None
        policies.add(connection, document.replace('email = ""', f'email = "{email}"'), shop.desk.clock.now(), None)
    shop.arrive()

    (mail,) = shop.send()

    for kind in ("plain", "html"):
        assert ("Answers to this message are not read." in part(mail, kind)) is not bool(email)
    assert mail["Reply-To"] == (email or None)


def test_letters_load_nothing_from_anywhere_and_follow_nobody(shop: Shop):
    for mail in shop.live_through("en").values():
        page = part(mail, "html")
        assert not re.search(r"<(img|link|script|style|iframe)|\b(src|style|background)=|url\(", page)
        assert {BASE_URL} == {address[: len(BASE_URL)] for address in re.findall(r"https?://[^\"<]+", page)}


def test_letters_speak_german_where_the_visit_does(shop: Shop):
    letters = shop.live_through("de")

    assert letters["taken in"]["Subject"].startswith("Ihre Reparatur")
    assert not any(
        " the " in part(mail, "plain").replace(NOTE, "").replace("A small repair shop", "") for mail in letters.values()
    )


def test_the_log_of_a_whole_repair_names_no_customer(shop: Shop, caplog: pytest.LogCaptureFixture):
    with caplog.at_level(logging.DEBUG):
        letters = shop.live_through("en")
    link = re.search(r"/t/(\S+)", part(letters["noted"], "plain"))
    assert link is not None

    logged = caplog.text.lower()
    for detail in (EMAIL, PHONE, "900123", NAME + " ", DEVICE, FAULT, NOTE, link[1]):
        assert detail.lower() not in logged


def test_neither_subject_nor_letter_names_the_fault(shop: Shop):
    for mail in shop.live_through("en").values():
        assert FAULT not in str(mail["Subject"]) + part(mail, "plain")
        assert NAME not in mail["Subject"]


def test_the_note_itself_can_be_read_in_its_letter(shop: Shop):
    number = shop.arrive()
    shop.send()
    note(shop.desk, BENCH, number, NOTE, audience="customer")

    assert NOTE in part(shop.gathered()[0], "plain")


def test_a_note_for_the_bench_is_told_nobody(shop: Shop):
    number = shop.arrive()
    shop.send()
    note(shop.desk, BENCH, number, "Owner was rude.")

    assert shop.gathered() == []


def test_a_letter_about_several_devices_names_them_all(shop: Shop):
    number = shop.arrive(devices=2)
    (mail,) = shop.send()
    with shop.desk.reading() as connection:
        ticket = tickets.by_number(connection, number)
        assert ticket is not None
        numbers = [spoken(each.number) for each in tickets.of_visit(connection, ticket.visit_id)]

    assert mail["Subject"] == f"Your repair {numbers[0]}, {numbers[1]}: we have it"
    assert all(each in part(mail, "plain") for each in numbers)


# Found true when it goes


def test_an_address_corrected_meanwhile_is_used_as_it_stands(shop: Shop):
    shop.arrive()
    with shop.desk.writing() as connection:
        connection.execute(update(contacts).values(email="ada.marsh@example.org"))

    assert [mail["To"] for mail in shop.send()] == ["ada.marsh@example.org"]


def test_a_contact_erased_meanwhile_is_not_written_to(shop: Shop):
    number = shop.arrive()
    with shop.desk.writing() as connection:
        ticket = tickets.by_number(connection, number)
        assert ticket is not None
        purge.visit_contacts(connection, ticket.visit_id, "en")

    assert shop.send() == []


def test_a_contact_who_is_not_to_be_told_any_more_is_not_written_to(shop: Shop):
    shop.arrive()
    with shop.desk.writing() as connection:
        connection.execute(update(contacts).values(may_be_told=False))

    assert shop.send() == []


def test_a_link_renewed_meanwhile_is_sent_in_its_new_form(shop: Shop):
    number = shop.arrive()
    with shop.desk.reading() as connection:
        ticket = tickets.by_number(connection, number)
        assert ticket is not None
        (contact,) = visits.contacts_of(connection, ticket.visit_id)
    renew_contact(shop.desk, BENCH, number, contact.ref)

    found = {link for mail in shop.send() for link in re.findall(r"/t/\w+", part(mail, "plain"))}
    assert len(found) == 1


def test_a_stage_left_meanwhile_is_not_told(shop: Shop):
    number = shop.arrive()
    shop.send()
    move(shop.desk, BENCH, number, "board_work")
    move(shop.desk, BENCH, number, "received", why="wrong device")

    assert shop.send() == []


def test_what_is_not_told_before_the_device_leaves_is_not_told_after(shop: Shop):
    number = shop.arrive()
    shop.send()
    note(shop.desk, BENCH, number, NOTE, audience="customer")
    return_unrepaired(shop.desk, BENCH, number, "Too old to mend.")

    (mail,) = shop.gathered()
    assert "given back as it came" in mail["Subject"]


def test_a_note_corrected_meanwhile_is_told_as_corrected(shop: Shop):
    number = shop.arrive()
    shop.send()
    written = note(shop.desk, BENCH, number, "The battery was worn.", audience="customer")
    correct(shop.desk, BENCH, number, written.revision, NOTE)

    (mail,) = shop.gathered()
    text = part(mail, "plain")
    assert text.count(NOTE) == 1
    assert "battery" not in text


def test_a_note_corrected_after_it_went_out_is_told_again_as_put_right(shop: Shop):
    number = shop.arrive()
    shop.send()
    written = note(shop.desk, BENCH, number, "The battery was worn.", audience="customer")
    shop.gathered()
    correct(shop.desk, BENCH, number, written.revision, NOTE)

    (mail,) = shop.gathered()
    assert mail["Subject"].endswith("a note put right")
    assert NOTE in part(mail, "plain")
    assert "battery" not in part(mail, "plain")


def test_notes_and_photos_of_some_minutes_make_one_message(shop: Shop):
    number = shop.arrive()
    shop.send()
    note(shop.desk, BENCH, number, "First.", audience="customer")
    shop.desk.clock.at += timedelta(minutes=4)
    for _each in range(2):
        photograph(shop, number)
    shop.desk.clock.at += timedelta(minutes=5)
    assert shop.send() == []
    note(shop.desk, BENCH, number, "Second.", audience="customer")
    shop.desk.clock.at += timedelta(minutes=1)

    (mail,) = shop.send()
    text = part(mail, "plain")
    assert mail["Subject"].endswith("notes for you")
    assert text.index("First.") < text.index("Second.") < text.index(f"2 new photos of {DEVICE}")
    assert shop.gathered() == []


def test_a_photo_withdrawn_meanwhile_is_not_told(shop: Shop):
    number = shop.arrive()
    shop.send()
    with shop.desk.reading() as connection:
        ticket = tickets.by_number(connection, number)
    photograph(shop, number)
    with shop.desk.reading() as connection:
        (photo,) = photos.of_ticket(connection, ticket.id)
    withdraw(shop.desk, shop.house.photo_files, BENCH, number, photo.ref)

    assert shop.gathered() == []


def test_a_photo_of_which_parts_were_hidden_meanwhile_is_told(shop: Shop):
    number = shop.arrive()
    shop.send()
    photograph(shop, number)
    with shop.desk.reading() as connection:
        ticket = tickets.by_number(connection, number)
        (photo,) = photos.of_ticket(connection, ticket.id)
    hide(shop.desk, shop.house.photo_files, BENCH, number, photo.ref, [Part(10, 10, 20, 20)])

    (mail,) = shop.gathered()

    assert "There is a new photo of" in part(mail, "plain")


def test_a_photo_is_told_once_its_customer_may_see_it(shop: Shop):
    number = shop.arrive()
    shop.send()
    photograph(shop, number, audience="bench")
    assert shop.gathered() == []
    with shop.desk.reading() as connection:
        ticket = tickets.by_number(connection, number)
        (photo,) = photos.of_ticket(connection, ticket.id)

    describe(shop.desk, BENCH, number, photo.ref, photo.moment, "Look", "", "customer")

    (mail,) = shop.gathered()
    assert "There is a new photo of" in part(mail, "plain")


# By day


def at(shop: Shop, moment: str) -> None:
    """Set the clock to a moment of the shop’s own time."""
    shop.desk.clock.at = datetime.fromisoformat(moment).replace(tzinfo=ZoneInfo("Europe/London")).astimezone(UTC)


def test_what_is_not_urgent_waits_for_the_morning_and_for_a_day_on_which_the_shop_opens(shop: Shop):
    number = shop.arrive()
    shop.send()
    at(shop, "2026-03-06T20:30")  # a Friday
    note(shop.desk, BENCH, number, NOTE, audience="customer")

    for closed in ("2026-03-06T23:00", "2026-03-07T12:00", "2026-03-08T12:00", "2026-03-09T07:59"):
        at(shop, closed)
        assert shop.send() == [], closed
    at(shop, "2026-03-09T08:00")
    assert len(shop.send()) == 1


def test_a_link_asked_for_at_night_comes_at_once(shop: Shop):
    number = shop.arrive()
    shop.send()
    at(shop, "2026-03-06T23:30")
    send_link_again(shop.desk, number, EMAIL, "somewhere")

    assert len(shop.send()) == 1


def test_a_device_handed_in_over_the_counter_late_is_confirmed_at_once(shop: Shop):
    at(shop, "2026-03-06T20:30")
    shop.arrive()

    assert len(shop.send()) == 1


def test_a_try_that_comes_round_at_night_waits_for_the_morning(shop: Shop):
    number = shop.arrive()
    shop.send()
    at(shop, "2026-03-03T19:45")
    note(shop.desk, BENCH, number, NOTE, audience="customer")
    at(shop, "2026-03-03T20:05")  # nobody sent anything in between

    assert shop.send() == []
    at(shop, "2026-03-04T08:00")
    assert len(shop.send()) == 1


def test_a_message_outlives_a_long_holiday(shop: Shop):
    number = shop.arrive()
    shop.send()
    close_the_shop(shop, "2026-03-04", "2026-03-20")
    at(shop, "2026-03-03T20:30")
    note(shop.desk, BENCH, number, NOTE, audience="customer")

    at(shop, "2026-03-20T12:00")
    assert shop.send() == []
    at(shop, "2026-03-23T08:00")
    assert len(shop.send()) == 1


@pytest.mark.parametrize(
    "hostile", ["<script>alert(1)</script>", "{{ 7*7 }}", "Robert'); DROP TABLE tickets;--", "😀" * 30, "x" * 998]
)
def test_hostile_words_are_shown_as_they_were_typed(shop: Shop, hostile: str):
    number = shop.arrive()
    shop.send()
    note(shop.desk, BENCH, number, hostile, audience="customer")

    (mail,) = shop.gathered()
    assert hostile in part(mail, "plain")
    assert html.escape(hostile, quote=False) in part(mail, "html").replace("&#39;", "'")
