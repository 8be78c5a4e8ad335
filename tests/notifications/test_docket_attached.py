"""The docket that goes with the first mail: for the owner alone, as PDF or as HTML, with nothing from outside."""

from __future__ import annotations

import importlib.util
import re
import socket
from contextlib import suppress
from email.message import EmailMessage

import pytest

from portal.actions.desk import CUSTOMER
from portal.actions.intake import NewDevice, NewVisit, Second, take_in
from portal.actions.terms import accept_terms
from portal.letters import paper
from tests.conftest import BENCH
from tests.notifications.test_letters import DEVICE, EMAIL, FAULT, NAME, Shop, shop  # noqa: F401 (the same shop)


@pytest.fixture
def without_the_extra(monkeypatch: pytest.MonkeyPatch) -> None:
    """As if `pdf` were not installed."""
    monkeypatch.setattr(importlib.util, "find_spec", lambda _name: None)


def attached(mail: EmailMessage) -> list[EmailMessage]:
    return [part for part in mail.iter_attachments() if isinstance(part, EmailMessage)]


@pytest.mark.parametrize(("language", "name"), [("en", "Docket"), ("de", "Reparaturschein")])
def test_the_docket_comes_as_pdf_on_one_sheet(shop: Shop, language: str, name: str):  # noqa: F811
    shop.arrive(language)

    (mail,) = shop.send()
    (file,) = attached(mail)
    content = file.get_content()
    assert re.fullmatch(rf"{name}-\d{{4}}-\d\.pdf", file.get_filename() or "")
    assert file.get_content_type() == "application/pdf"
    assert content.startswith(b"%PDF-")
    assert len(content) < 60_000


@pytest.mark.usefixtures("without_the_extra")
def test_without_the_extra_it_comes_as_html_that_loads_nothing(shop: Shop):  # noqa: F811
    shop.arrive()

    (mail,) = shop.send()
    (file,) = attached(mail)
    page = file.get_content()
    assert re.fullmatch(r"Docket-\d{4}-\d\.html", file.get_filename() or "")
    assert file.get_content_type() == "text/html"
    assert DEVICE in page
    assert FAULT in page
    assert "<svg" in page
    assert not re.search(r"<(img|link|script|iframe)|\bsrc=|url\(|@import", page)
    assert re.findall(r"https?://[^\"< ]+", page) == ["http://www.w3.org/2000/svg"]


@pytest.mark.usefixtures("without_the_extra")
def test_it_says_when_the_terms_were_accepted(shop: Shop):  # noqa: F811
    taken = take_in(shop.desk, BENCH, NewVisit([NewDevice(DEVICE, FAULT)], name=NAME, email=EMAIL))
    accept_terms(shop.desk, CUSTOMER, taken.visit_ref, "draft-1", "page", language="en")

    (mail,) = shop.send()
    page = attached(mail)[0].get_content()
    assert "Accepted on" in page
    assert "Date and signature" not in page


def test_only_the_owner_gets_it_and_only_with_the_first_mail(shop: Shop):  # noqa: F811
    second = Second(name="Eve", email="eve@example.org", may_be_told=True)
    take_in(shop.desk, BENCH, NewVisit([NewDevice(DEVICE, FAULT)], name=NAME, email=EMAIL, second=second))

    mails = {mail["To"]: mail for mail in shop.send()}
    assert {to: len(attached(mail)) for to, mail in mails.items()} == {EMAIL: 1, "eve@example.org": 0}


@pytest.mark.usefixtures("without_the_extra")
def test_what_was_typed_is_text_in_it(shop: Shop):  # noqa: F811
    hostile = "<script>alert(1)</script> {{ 7*7 }}"
    take_in(shop.desk, BENCH, NewVisit([NewDevice(hostile, hostile)], name=NAME, email=EMAIL))

    page = attached(shop.send()[0])[0].get_content()
    assert "<script>" not in page
    assert "&lt;script&gt;alert(1)&lt;/script&gt; {{ 7*7 }}" in page


def test_a_pdf_is_made_of_nothing_from_outside():
    with socket.create_server(("127.0.0.1", 0)) as listening:
        address = f"http://127.0.0.1:{listening.getsockname()[1]}/picture.png"
        with suppress(Exception):  # whether it is made without the picture, or not at all, is no matter
            paper.pdf(f'<img src="{address}"><p>Words')

        listening.setblocking(False)
        with pytest.raises(BlockingIOError):
            listening.accept()
