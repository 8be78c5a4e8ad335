"""The form of a mail: RFC 5322, RFC 3834, and what a mail must never carry."""

from __future__ import annotations

import mailbox
import re
from datetime import UTC, datetime
from email import message_from_bytes, policy
from email.message import EmailMessage
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from notifications.channels import ChannelDown, Hopeless, TryLater
from notifications.channels.mail import channel
from notifications.channels.mail.message import mail, one_address
from notifications.letters import Attachment, Letter

NOW = datetime(2026, 3, 2, 9, 0, tzinfo=UTC)


def letter(**more: object) -> Letter:
    values = {"to": "ada@example.org", "subject": "Your repair", "text": "Ready.\n", "html": "<p>Ready.</p>"}
    return Letter(**(values | {"sender": '"The Shop" <shop@example.com>', "reply_to": "us@example.com"} | more))


def sent(**more: object) -> EmailMessage:
    """The mail as the other side reads it."""
    return message_from_bytes(written(**more), policy=policy.SMTP)


def written(**more: object) -> bytes:
    return mail(letter(**more), "0123456789abcdef", "example.com", NOW).as_bytes()


def test_a_mail_carries_what_an_automatic_mail_must():
    mail = sent()

    assert mail["Auto-Submitted"] == "auto-generated"  # RFC 3834 5.1
    assert mail["Message-ID"] == "<0123456789abcdef@example.com>"  # RFC 5322 3.6.4
    assert mail["Date"].datetime == NOW  # RFC 5322 3.6.1
    assert mail["Reply-To"] == "us@example.com"
    assert mail["From"].addresses[0].display_name == "The Shop"
    assert mail["Content-Language"] == "en"
    assert [len(mail.get_all(name)) for name in ("From", "To", "Subject", "Date", "Message-ID")] == [1] * 5
    assert not mail.defects


def test_text_comes_first_and_html_as_its_alternative():
    mail = sent()

    assert mail.get_content_type() == "multipart/alternative"
    assert [part.get_content_type() for part in mail.iter_parts()] == ["text/plain", "text/html"]


def test_an_attachment_goes_beside_both():
    mail = sent(attachments=(Attachment("docket.pdf", "application/pdf", b"%PDF-1.7"),))

    (attached,) = mail.iter_attachments()
    assert (attached.get_filename(), attached.get_content()) == ("docket.pdf", b"%PDF-1.7")
    assert mail.get_body(("plain",)).get_content() == "Ready.\r\n"


@pytest.mark.parametrize(
    "more",
    [
        {"text": "x" * 998 + "\n"},
        {"html": f"<p>{'x' * 3000}</p>"},
        {"subject": "Ärger mit dem Gerät " * 20},
        {"subject": "x" * 998},
        {"text": "🙂 " * 400},
    ],
    ids=["a word of 998 letters", "long html", "long subject", "one long word as subject", "emoji"],
)
def test_lines_are_at_most_78_characters(more: dict[str, str]):
    lines = written(**more).split(b"\r\n")

    assert max(map(len, lines)) <= 78  # RFC 5322 2.1.1: MUST 998, SHOULD 78


def test_every_line_ends_in_crlf():
    assert not re.search(rb"(?<!\r)\n|\r(?!\n)", written(text="one\r\ntwo\nthree\n"))  # RFC 5322 2.3


@given(st.text(max_size=300), st.text(max_size=60))
def test_no_text_makes_a_header_of_its_own(subject: str, name: str):
    plain = {key.lower() for key in sent().keys()}  # noqa: SIM118 (a mail's keys)
    quoted = name.encode("ascii", "replace").decode().replace("\\", "").replace('"', "")
    mail = sent(subject=subject.encode("utf-8", "replace").decode(), sender=f'"{quoted}" <shop@example.com>')

    assert {key.lower() for key in mail.keys()} <= plain  # noqa: SIM118
    assert len(mail.get_all("To")) == 1


@pytest.mark.parametrize("attack", ["\r\nBcc: eve@example.com", "\nBcc: eve@example.com", "\u2028Bcc: eve@example.com"])
def test_line_breaks_in_a_subject_become_blanks(attack: str):
    assert sent(subject=f"Your repair{attack}")["Subject"] == "Your repair Bcc: eve@example.com"


@pytest.mark.parametrize(
    "address",
    [
        "",
        "ada",
        "ada@",
        "@example.org",
        "a@example.org, b@example.org",
        "a@example.org b@example.org",
        "a@example.org\r\nBcc: b@example.org",
        "Ada <ada@example.org>",
        "ada@exa mple.org",
        "ada@example..org",
    ],
)
def test_what_is_not_exactly_one_address_is_never_written_to(address: str):
    with pytest.raises(Hopeless):
        one_address(address)


@pytest.mark.parametrize("sender", ["", "shop", "a@example.com, b@example.com", "Shop <shop@>"])
def test_a_shop_whose_own_address_does_not_fit_stops_the_channel_not_the_letter(sender: str):
    with pytest.raises(ChannelDown):
        written(sender=sender)


@pytest.mark.parametrize(
    ("address", "written"),
    [
        ("ada@example.org", "ada@example.org"),
        ("ada.o'neill+shop@example.org", "ada.o'neill+shop@example.org"),
        ('"ada marsh"@example.org', '"ada marsh"@example.org'),  # RFC 5321 4.1.2: a quoted local part
        ("josé@example.org", "josé@example.org"),  # RFC 6531
        ("ada@straße.example", "ada@xn--strae-oqa.example"),  # IDNA 2008 keeps ß (RFC 5894 7.2)
    ],
)
def test_unusual_addresses_are_written_to(address: str, written: str):
    assert one_address(address) == written


def test_the_mailbox_folder_holds_what_was_sent(tmp_path: Path):
    with channel(f"maildir:{tmp_path / 'mail'}", "example.com").line() as line:
        line.send(letter(), "0123456789abcdef", NOW)

    (kept,) = mailbox.Maildir(tmp_path / "mail")
    assert kept["Message-ID"] == "<0123456789abcdef@example.com>"


def test_the_mailbox_folder_is_for_its_owner_only(tmp_path: Path):
    made = channel(f"maildir:{tmp_path / 'mail'}", "example.com")
    made.check()

    assert (tmp_path / "mail").stat().st_mode & 0o077 == 0


def test_a_mailbox_folder_that_cannot_be_written_is_tried_later(tmp_path: Path):
    (tmp_path / "mail").write_text("a file where the folder should be")
    made = channel(f"maildir:{tmp_path / 'mail'}", "example.com")

    with pytest.raises(TryLater), made.line() as line:
        line.send(letter(), "0123456789abcdef", NOW)
