"""What people type into names, notes and addresses, all the way to a mailbox or a phone: it stays a text."""

from __future__ import annotations

import re

import pytest

from portal.actions.intake import NewDevice, NewVisit, take_in
from portal.actions.notes import note
from portal.actions.photos import add
from portal.rules.refusals import Unfit
from portal.rules.sms import Alphabet, cost
from tests.conftest import BENCH
from tests.notifications.test_letters import Shop, part, shop  # noqa: F401 (the same shop)
from tests.notifications.test_ways import Counter, counter, gateway  # noqa: F401 (the same counter)
from tests.pictures.samples import full_of_marks

INJECTED = [
    "Console\r\nBcc: eve@example.org",
    "Console\nSubject: You have won",
    "Console\u2028X-Evil: 1",
    "Console\x85X-Evil: 1",
    "Console\x0bX-Evil: 1",
]


@pytest.mark.parametrize("device", INJECTED)
def test_a_device_named_over_several_lines_is_named_on_one(shop: Shop, device: str):  # noqa: F811
    take_in(shop.desk, BENCH, NewVisit([NewDevice(device, "")], name="Ada", email="ada@example.org"))

    (mail,) = shop.send()
    assert set(mail.keys()).isdisjoint({"Bcc", "X-Evil"})
    assert mail.get_all("Subject") == [mail["Subject"]]
    assert mail["To"] == "ada@example.org"
    assert re.search("  Console [A-Z].*$", part(mail, "plain"), re.MULTILINE)


@pytest.mark.parametrize("name", ["Ada\r\nBcc: eve@example.org", 'Ada" <eve@example.org>, "', "Ada 😀"])
def test_a_persons_name_makes_no_second_recipient(shop: Shop, name: str):  # noqa: F811
    take_in(shop.desk, BENCH, NewVisit([NewDevice("Console", "")], name=name, email="ada@example.org"))

    (mail,) = shop.send()
    assert [each.addr_spec for each in mail["To"].addresses] == ["ada@example.org"]
    assert "Bcc" not in mail


@pytest.mark.parametrize("caption", ["As it came\r\nBcc: eve@example.org", "😀\u2028😀"])
def test_a_caption_does_not_reach_a_mails_head(shop: Shop, caption: str):  # noqa: F811
    number = shop.arrive()
    shop.send()
    add(shop.desk, shop.house.photo_files, BENCH, number, full_of_marks(), caption=caption, confirmed=True)

    (mail,) = shop.gathered()
    assert "Bcc" not in mail
    assert "There is a new photo" in part(mail, "plain")


@pytest.mark.parametrize(
    ("typed", "to"),
    [
        ("Ada@BÜCHER.example", "Ada@xn--bcher-kva.example"),
        ("o'hara+shop@example.org", "o'hara+shop@example.org"),
        ("ada@xn--bcher-kva.example", "ada@xn--bcher-kva.example"),
    ],
)
def test_unusual_addresses_are_written_to_in_ascii(shop: Shop, typed: str, to: str):  # noqa: F811
    take_in(shop.desk, BENCH, NewVisit([NewDevice("Console", "")], email=typed))

    (mail,) = shop.send()
    assert str(mail["To"]) == to


@pytest.mark.parametrize(
    "typed",
    ['"ada lovelace"@example.org', '"ada@x"@example.org', "ada@example.org, eve@example.org", "ada@@example.org"],
)
def test_quoted_and_double_addresses_are_refused_at_the_counter(shop: Shop, typed: str):  # noqa: F811
    with pytest.raises(Unfit) as unfit:
        take_in(shop.desk, BENCH, NewVisit([NewDevice("Console", "")], email=typed))

    assert unfit.value.field == "email"


def test_a_word_without_an_end_breaks_no_line_of_a_mail(shop: Shop):  # noqa: F811
    number = shop.arrive()
    shop.send()
    note(shop.desk, BENCH, number, "x" * 998, audience="customer")

    (mail,) = shop.gathered()
    assert "x" * 998 in part(mail, "plain")
    assert max(len(line) for line in mail.as_bytes().split(b"\r\n")) <= 998  # RFC 5322 2.1.1


# By text


@pytest.mark.parametrize(
    ("typed", "to"),
    [("07700 900123", "447700900123"), ("+49 30 901820", "4930901820"), ("0049 30 901820", "4930901820")],
)
def test_a_number_without_its_country_is_one_of_the_shops(counter: Counter, typed: str, to: str):  # noqa: F811
    counter.arrive(phone=typed)
    counter.send()

    assert counter.gateway.numbers == [to]


def test_emojis_in_names_leave_a_text_in_the_cheap_alphabet(counter: Counter):  # noqa: F811
    arrival = NewVisit([NewDevice("Phone 😀\u2028“Pro”", "")], name="Zoë 😀", phone="07700 900123")
    take_in(counter.desk, BENCH, arrival)

    (text,) = counter.send()
    assert (cost(text).alphabet, cost(text).segments) == (Alphabet.GSM7, 1)
    assert not re.search(r"[^\x20-\x7e]", text)
