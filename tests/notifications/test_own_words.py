"""The shop's own words in what goes out: in the reader's language, escaped, and never less than must be said."""

from __future__ import annotations

import json
import re
from collections.abc import Mapping
from dataclasses import replace
from email.message import EmailMessage

import pytest
from markupsafe import escape
from sqlalchemy import select

from notifications.letters import Due
from notifications.tables import outbox
from portal import resources
from portal.actions import answers, people, questions, rights
from portal.actions.desk import COMMAND, By, Desk, find
from portal.actions.handover import hand_over, return_unrepaired, undo
from portal.actions.intake import NewDevice, NewVisit, take_in
from portal.actions.moves import move
from portal.actions.notes import correct, note
from portal.actions.rights import Asked
from portal.actions.wording import save_words
from portal.language import language
from portal.letters import found_true
from portal.letters.own_words import VALUES, parts_of, shipped
from portal.letters.pushing import write_push
from portal.main import Installation
from portal.rules.numbers import spoken
from portal.rules.wording import Part, check
from portal.rules.wording_occasions import EVENTS, OCCASIONS, PLACEHOLDERS
from portal.store import visits, wordings
from tests.actions.bench import WITHOUT_CODE
from tests.conftest import BENCH
from tests.notifications.test_letters import DEVICE, EMAIL, NAME, Shop, part, shown, words
from tests.notifications.test_question_letters import OFFER

ENGLISH = language("en", "Europe/London")
READY = OCCASIONS["ready", "always"]
OWN = "\n\n".join(
    [
        "Good news, {name}: your {device} works.",
        "Your code is {code}",
        "To pay: {to_pay}",
        "Come when you like: {choose_link}",
    ]
)


@pytest.fixture
def shop(installation: Installation) -> Shop:
    return Shop(installation)


def keep(desk: Desk, occasion: tuple[str, str], own: Mapping[Part, str], tag: str = "en") -> None:
    save_words(desk, BENCH, OCCASIONS[occasion], tag, own, confirmed=True)


def make_ready(shop: Shop, number: str) -> EmailMessage:
    for stage in ("board_work", "testing"):
        move(shop.desk, BENCH, number, stage, confirmed=True)
    shop.send()
    move(shop.desk, BENCH, number, "ready", confirmed=True)
    (mail,) = shop.send()
    return mail


# What the program brings can be said with placeholders


@pytest.mark.parametrize("tag", ["en", "de"])
@pytest.mark.parametrize("name", list(OCCASIONS), ids="-".join)
def test_the_words_that_the_program_brings_have_no_fault(name: tuple[str, str], tag: str) -> None:
    speaking = language(tag, "Europe/London")

    for each in parts_of(name[0]):
        brought = shipped(speaking, *name, each)
        assert brought
        assert [str(fault.sentence()) for fault in check(OCCASIONS[name], each, brought)] == []


def test_every_message_there_is_can_be_said_in_the_shops_own_words() -> None:
    folders = {each.name for each in (resources.templates() / "messages").iterdir() if each.is_dir()}

    assert set(EVENTS) == folders


def test_each_placeholder_has_its_value() -> None:
    assert set(VALUES) == set(PLACEHOLDERS)


def test_the_words_that_the_program_brings_speak_each_language() -> None:
    german = language("de", "Europe/Berlin")

    assert (
        shipped(ENGLISH, "ready", "always", Part.SMS) == "{shop_briefly}: repair {number} is ready, code {code}. {link}"
    )
    assert shipped(german, "ready", "always", Part.SMS).startswith("{shop_briefly}: Reparatur {number} ist fertig")


def a_whole_repair(shop: Shop) -> list[EmailMessage]:
    """Everything that happens to a device whose owner is asked; its letters in order."""
    sent = []
    number = shop.arrive()
    sent += shop.send()
    sent += [*_asked(shop, number, agrees=False), *_asked(shop, number, agrees=True)]
    written = note(shop.desk, BENCH, number, "The battery was worn.", audience="customer")
    sent += shop.gathered()
    correct(shop.desk, BENCH, number, written.revision, "The port was worn.\n\nBoth of its sides.")
    sent += shop.gathered()
    sent += [make_ready(shop, number)]
    hand_over(shop.desk, BENCH, number, replace(WITHOUT_CODE, unsettled="By invoice"), confirmed=True)
    sent += shop.send()
    undo(shop.desk, BENCH, number, "Wrong device.")
    sent += shop.send()
    return_unrepaired(shop.desk, BENCH, number, "Too old to mend.", confirmed=True)
    return sent + shop.send()


def _asked(shop: Shop, number: str, *, agrees: bool) -> list[EmailMessage]:
    ref = questions.draft(shop.desk, BENCH, number, OFFER, put_at_once=True).ref
    sent = shop.send()
    answers.record(shop.desk, BENCH, number, ref, "a" if agrees else None, "telephone", "Ada to Kim")
    return sent + shop.send()


def told(mails: list[EmailMessage]) -> list[tuple[str, list[str]]]:
    """Subjects and words, without what differs from one repair to another."""
    differs = re.compile(r"/t/\w+|/requests/\w+|\b\d{4}-\d\b|\b\w{3}-\w{3}\b|\b[0-9a-f]{64}\b")
    return [(differs.sub("…", mail["Subject"]), words(differs.sub("…", part(mail, "plain")))) for mail in mails]


def test_the_words_that_the_program_brings_say_the_same_as_words_of_the_shop(shop: Shop) -> None:
    before = told(a_whole_repair(shop))
    for event, occasions in EVENTS.items():
        for each in occasions:
            own = {which: shipped(ENGLISH, event, each.key, which) for which in parts_of(event)}
            keep(shop.desk, each.name, own)

    assert told(a_whole_repair(shop)) == before
    with shop.desk.reading() as connection:
        sent = select(outbox.c.wording).where(outbox.c.state == "sent").order_by(outbox.c.id)
        said_in = connection.execute(sent).scalars().all()
    assert [each is None for each in said_in] == [True] * len(before) + [False] * len(before)


# What goes out


def test_the_shops_own_words_go_out(shop: Shop) -> None:
    keep(shop.desk, READY.name, {Part.SUBJECT: "{device}: come and get it", Part.TEXT: OWN})

    mail = make_ready(shop, shop.arrive())

    text = part(mail, "plain")
    assert mail["Subject"] == f"{DEVICE}: come and get it"
    assert f"Good news, {NAME}: your {DEVICE} works." in text
    assert re.search(r"Your code is \w{3}-\w{3}", text)
    assert "{" not in text


def test_text_and_html_say_the_same_and_links_can_be_followed(shop: Shop) -> None:
    keep(shop.desk, READY.name, {Part.TEXT: OWN})

    mail = make_ready(shop, shop.arrive())

    page = part(mail, "html")
    assert words(part(mail, "plain")) == words(shown(page))
    assert re.search(r'Come when you like: <a href="(http://\S+/collect)">\1</a>', page)


def test_a_paragraph_with_nothing_to_say_is_left_out(shop: Shop) -> None:
    keep(shop.desk, READY.name, {Part.TEXT: OWN})

    assert "To pay:" not in part(make_ready(shop, shop.arrive()), "plain")


def test_why_it_came_and_how_to_stop_it_stand_in_every_mail(shop: Shop) -> None:
    keep(shop.desk, READY.name, {Part.TEXT: OWN})

    text = part(make_ready(shop, shop.arrive()), "plain")

    assert "You get this because" in text
    assert re.search(r"or stop them:\s+http://\S+/messages", text)


@pytest.mark.parametrize("hostile", ["<script>alert(1)</script>", "{link} {code}", "{{ 7*7 }}", "x\" onload='1'"])
def test_what_is_put_in_is_neither_markup_nor_a_placeholder(shop: Shop, hostile: str) -> None:
    keep(shop.desk, READY.name, {Part.SUBJECT: "{device}", Part.TEXT: OWN})
    arrival = NewVisit([NewDevice(hostile, "Hums", "console")], name=NAME, email=EMAIL)
    number = take_in(shop.desk, BENCH, arrival).numbers[0]

    mail = make_ready(shop, number)

    assert mail["Subject"] == hostile
    assert f"your {hostile} works." in part(mail, "plain")
    assert str(escape(hostile)) in part(mail, "html")


def test_words_in_another_language_are_never_taken(shop: Shop) -> None:
    keep(shop.desk, READY.name, {Part.SUBJECT: "Come and get it"})

    assert make_ready(shop, shop.arrive("de"))["Subject"].startswith("Ihre Reparatur")


def test_a_way_to_speak_a_language_falls_back_on_the_language(shop: Shop) -> None:
    keep(shop.desk, READY.name, {Part.SUBJECT: "Fertig"}, "de")
    with shop.desk.reading() as connection:
        found = wordings.spoken(connection, *READY.name, ["de-AT", "de"])
        assert found is not None
        assert found.words[Part.SUBJECT] == "Fertig"
        assert wordings.spoken(connection, *READY.name, ["fr"]) is None


def test_a_part_without_own_words_says_those_of_the_program(shop: Shop) -> None:
    keep(shop.desk, READY.name, {Part.SUBJECT: "Come and get it"})

    mail = make_ready(shop, shop.arrive())

    assert mail["Subject"] == "Come and get it"
    assert "Your collection code:" in part(mail, "plain")


def test_the_newest_words_when_it_is_written_are_those_that_go_out(shop: Shop) -> None:
    keep(shop.desk, ("taken_in", "one"), {Part.SUBJECT: "First"})
    shop.arrive()
    keep(shop.desk, ("taken_in", "one"), {Part.SUBJECT: "Second"})

    assert [mail["Subject"] for mail in shop.send()] == ["Second"]


def test_it_stays_known_in_which_words_a_message_went_out(shop: Shop) -> None:
    shop.arrive()
    shop.send()
    keep(shop.desk, ("taken_in", "one"), {Part.SUBJECT: "First"})
    shop.arrive()
    shop.send()

    with shop.desk.reading() as connection:
        sent = connection.execute(select(outbox.c.wording).order_by(outbox.c.id)).scalars().all()
        assert sent[0] is None
        assert wordings.by_ids(connection, [sent[1]])[sent[1]].words[Part.SUBJECT] == "First"


def test_a_notice_says_the_shops_own_words(shop: Shop) -> None:
    keep(shop.desk, READY.name, {Part.PUSH: "{number}: come in!"})
    number = shop.arrive()
    make_ready(shop, number)
    now = shop.desk.clock.now()
    with shop.desk.reading() as connection:
        ticket = find(connection, number)
        (contact,) = visits.contacts_of(connection, ticket.visit_id)
        due = Due(1, "ready", "a cause", contact.ref, ticket.ref, ({},), now, "a message")
        found = found_true(shop.desk, connection, due)
    assert isinstance(found, tuple)

    notice = write_push(shop.desk, due, *found, now)

    assert json.loads(notice.text)["body"] == f"{spoken(number)}: come in!"
    assert notice.wording == found[0].wording.id


# What becomes of a request about personal data


def requests_of(shop: Shop) -> list[EmailMessage]:
    """The letters of three requests: one waits longer and is refused, one waits for its person and is carried out."""
    number, sent = shop.arrive(), []
    shop.send()
    refused = rights.enter(shop.desk, BENCH, Asked("access", "mail", number=number))
    sent += shop.send()
    rights.extend(shop.desk, BENCH, refused, "There is a lot of it.")
    sent += shop.send()
    rights.settle(shop.desk, BENCH, refused, "refused", "Nothing says whose it is.")
    sent += shop.send()
    done = rights.enter(shop.desk, BENCH, Asked("rectification", "counter", number=number))
    sent += shop.send()
    rights.stop_clock(shop.desk, BENCH, done)
    sent += shop.send()
    rights.settle(shop.desk, BENCH, done, "done", "Your name is spelt with two s.")
    return sent + shop.send()


def test_what_becomes_of_a_request_says_the_same_in_words_of_the_shop(shop: Shop) -> None:
    before = told(requests_of(shop))
    assert len(before) == 6
    for each in EVENTS["request_told"]:
        keep(shop.desk, each.name, {which: shipped(ENGLISH, *each.name, which) for which in parts_of(each.event)})

    assert told(requests_of(shop)) == before


@pytest.mark.parametrize(
    ("key", "lacking"),
    [("refused", "remedies"), ("refused", "written"), ("extended", "remedies"), ("extended", "written")],
)
def test_who_is_refused_or_waits_longer_is_told_why_and_where_to_complain_in_any_words(key: str, lacking: str) -> None:
    """Art. 12(3) and (4) GDPR."""
    occasion = OCCASIONS["request_told", key]
    words = "\n\n".join(f"{{{name}}}" for name in occasion.must[Part.TEXT] if name != lacking)

    assert [f"{{{lacking}}} is missing" in str(each.sentence()) for each in check(occasion, Part.TEXT, words)] == [True]


# To the staff


def keeper_reads(shop: Shop) -> EmailMessage:
    """What a keeper is sent of a request that waits."""
    number = shop.arrive()
    rights.enter(shop.desk, BENCH, Asked("access", "mail", number=number))
    (mail,) = [mail for mail in shop.send() if mail["To"] == "kim@example.org"]
    return mail


def test_a_keeper_is_told_in_the_shops_own_words_too(shop: Shop) -> None:
    password = "violet anvil fjord marmalade"
    kim = By("staff", people.add_staff(shop.desk, COMMAND, "Kim", password, "keeper"))
    people.set_email(shop.desk, kim, password, "kim@example.org")
    waits = OCCASIONS["request_waits", "always"]
    before = keeper_reads(shop)
    keep(shop.desk, waits.name, {which: shipped(ENGLISH, *waits.name, which) for which in parts_of(waits.event)})
    assert told([keeper_reads(shop)]) == told([before])

    keep(shop.desk, waits.name, {Part.TEXT: "Hurry up, {name}.\n\n{right}\n\nBy {answer_due}: {link}"})
    mail = keeper_reads(shop)

    text = part(mail, "plain")
    assert "Hurry up, Kim." in text
    assert re.search(r"By Thu, 2 Apr 2026: http://\S+/shop/requests/", text)
    assert "because your account has this address" in text
    assert words(text) == words(shown(part(mail, "html")))
