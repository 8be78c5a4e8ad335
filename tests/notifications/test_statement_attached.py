"""The statement goes with the word that a device left: to its owner, in their language, and only where money was."""

from __future__ import annotations

import importlib.util
from email.message import EmailMessage

import pytest

from portal.actions import payments
from portal.actions.handover import hand_over
from portal.actions.intake import NewDevice, NewVisit, take_in
from portal.actions.payments import Typed
from portal.actions.price_terms import TypedTerms
from tests.actions.bench import bring_to, with_code
from tests.conftest import BENCH
from tests.notifications.test_docket_attached import attached
from tests.notifications.test_letters import Shop, shop  # noqa: F401 (the same shop)


def mail_of_the_end(shop: Shop, language: str, price: str = "") -> EmailMessage:  # noqa: F811
    """The mail that a radio is back with its owner."""
    device = NewDevice("Radio", "Hums", price=TypedTerms("fixed price", price, "Capacitors") if price else TypedTerms())
    visit = NewVisit([device], name="Ada", email="ada@example.org", language=language)
    number = take_in(shop.desk, BENCH, visit).numbers[0]
    bring_to(shop.desk, number, "ready")
    if price:
        payments.take(shop.desk, BENCH, number, Typed(price, "cash"))
    shop.send()
    hand_over(shop.desk, BENCH, number, with_code(shop.desk, number), confirmed=True)
    (mail,) = shop.send()
    return mail


def collected(shop: Shop, language: str, price: str = "") -> list[tuple[str | None, object]]:  # noqa: F811
    """What goes with that mail: names and contents."""
    return [(file.get_filename(), file.get_content()) for file in attached(mail_of_the_end(shop, language, price))]


def test_it_comes_as_pdf(shop: Shop) -> None:  # noqa: F811
    [(name, content)] = collected(shop, "en", "48.50")

    assert name == "statement-1.pdf"
    assert isinstance(content, bytes)
    assert content.startswith(b"%PDF-")


@pytest.mark.parametrize(
    ("language", "says"),
    [("en", "not an invoice, and not a till receipt"), ("de", "keine Rechnung und kein Kassenbeleg")],
)
def test_without_the_extra_it_comes_as_html_in_their_language(
    shop: Shop,  # noqa: F811
    monkeypatch: pytest.MonkeyPatch,
    language: str,
    says: str,
) -> None:
    monkeypatch.setattr(importlib.util, "find_spec", lambda _name: None)

    [(name, content)] = collected(shop, language, "48.50")

    assert name == "statement-1.html"
    assert says in str(content)
    assert "Capacitors" in str(content)


def test_where_no_money_was_nothing_is_attached(shop: Shop) -> None:  # noqa: F811
    assert collected(shop, "en") == []


@pytest.mark.parametrize("price", ["48.50", ""])
@pytest.mark.parametrize(
    ("language", "says"),
    [
        ("en", "The statement of what was agreed and paid is attached"),
        ("de", "Die Aufstellung über Vereinbartes und Bezahltes ist angehängt"),
    ],
)
def test_text_and_html_say_so_exactly_when_it_is_attached(
    shop: Shop,  # noqa: F811
    monkeypatch: pytest.MonkeyPatch,
    language: str,
    says: str,
    price: str,
) -> None:
    monkeypatch.setattr(importlib.util, "find_spec", lambda _name: None)

    mail = mail_of_the_end(shop, language, price)

    for kind in ("plain", "html"):
        assert (says in " ".join(mail.get_body((kind,)).get_content().split())) is bool(price)


def test_the_word_that_it_is_ready_says_what_is_still_to_be_paid(shop: Shop) -> None:  # noqa: F811
    device = NewDevice("Radio", "Hums", price=TypedTerms("fixed price", "48.50", "Capacitors"))
    number = take_in(shop.desk, BENCH, NewVisit([device], name="Ada", email="ada@example.org")).numbers[0]
    payments.take(shop.desk, BENCH, number, Typed("20", "cash"))
    shop.send()
    bring_to(shop.desk, number, "ready")

    mails = shop.send()

    assert "Still to be paid: £28.50" in mails[-1].get_body(("plain",)).get_content()
