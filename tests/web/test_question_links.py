"""Mail scanners fetch every link and press every button; what they do agrees to nothing."""

from __future__ import annotations

import html
import mailbox
import re
from datetime import timedelta
from email import message_from_bytes
from email.policy import default
from urllib.parse import urlsplit

import pytest
from flask import Flask
from sqlalchemy import update

from portal.actions import answers, charges, payments, price_terms, questions
from portal.actions.answers import Answer
from portal.actions.desk import By, Desk
from portal.actions.handover import hand_over
from portal.actions.payments import Typed
from portal.actions.price_terms import TypedTerms
from portal.main import Installation
from portal.rules.numbers import spoken
from portal.rules.offers import TypedLine, TypedOffer, TypedOption
from portal.store import policies
from portal.store import questions as store
from portal.store.tables import staff
from tests.actions.aftermath import everything, messages, ticket_of
from tests.actions.bench import bring_to, with_code
from tests.conftest import BASE_URL, BENCH
from tests.web.browser import Browser
from tests.web.test_customer_docket import own_path
from tests.web.test_questions_pages import docket_path, question_path

OFFER = TypedOffer(
    "The port is torn off.", options=[TypedOption("Replace the port", [TypedLine("Port", "1", "148.50")])]
)
VALUES = {"which": 1, "form": "csv", "size": "small", "name": "none"}  # of parts of a customer's addresses
EVENTS = {
    "question_put",
    "question_reminder",
    "question_answered",
    "question_lapsed",
    "question_withdrawn",
    "question_code",
    "price_agreed",
    "sign_off_wanted",
    "taken_in",
}


@pytest.fixture
def links(installation: Installation, desk: Desk, number: str, technician: By, keeper: By) -> set[str]:
    """Every link of every message about money, one of each kind having gone out; a question waits meanwhile."""
    with desk.writing() as connection:
        connection.execute(update(staff).where(staff.c.id == keeper.staff_id).values(email="kim@shop.example"))
        document = policies.document(connection, 1)
        policies.add(connection, f"{document}\n[approvals]\nsign_off_above = 100\n", desk.clock.now(), None)

    def put() -> str:
        return questions.draft(desk, BENCH, number, OFFER, put_at_once=True).ref

    def send() -> None:
        assert next(installation.sweep(["send"]))[1].failed == 0

    send()
    price_terms.agree_terms(desk, BENCH, number, TypedTerms("fixed price", "60"), "counter", "Ada")
    answered, withdrawn, lapsed = put(), put(), put()
    send()
    answers.answer(desk, number, answered, Answer(1, "en", "a", "YES"))
    questions.withdraw(desk, BENCH, number, withdrawn)
    send()
    desk.clock.at += timedelta(days=2)
    answers.remind(desk, desk.clock.now())
    send()
    desk.clock.at += timedelta(days=6)
    answers.lapse(desk, desk.clock.now())
    assert lapsed
    waiting = put()
    questions.draft(desk, technician, number, OFFER, put_at_once=True)
    answers.send_code(desk, number, waiting)
    send()
    desk.clock.at += timedelta(hours=16)
    send()
    assert {event for event, _reference, _facts in messages(desk)} >= EVENTS
    return links_of(installation)


def links_of(installation: Installation) -> set[str]:
    """The paths of all links in the mailbox, of both halves of each letter."""
    box = mailbox.Maildir(installation.settings.mailbox)
    mails = [message_from_bytes(box.get_bytes(key), policy=default) for key in box.keys()]  # noqa: SIM118 (a mailbox)
    found: set[str] = set()
    for mail in mails:
        for kind in ("plain", "html"):
            body = mail.get_body((kind,))
            if body is not None:
                found |= set(re.findall(rf'{BASE_URL}/[^\s"<]+', html.unescape(str(body.get_content()))))
    return {urlsplit(link).path for link in found}


@pytest.mark.parametrize("method", ["GET", "HEAD", "OPTIONS"])
def test_fetching_every_link_of_every_message_changes_nothing(
    client: Browser, desk: Desk, links: set[str], method: str
) -> None:
    before = everything(desk)
    assert len([link for link in links if link.startswith("/t/Q")]) >= 4
    assert any(link.startswith("/shop/questions/") for link in links)

    for link in sorted(links):
        for _again in range(3):
            assert client.open(link, method=method, follow_redirects=method != "OPTIONS").status_code in (200, 403)

    assert everything(desk) == before


def test_pressing_every_button_that_costs_without_typing_changes_nothing(
    client: Browser, desk: Desk, links: set[str]
) -> None:
    before, pressed = everything(desk), 0

    for link in sorted(link for link in links if link.startswith("/t/")):
        for page in {link, *re.findall(r'href="(/t/[^"]+/question/[^"]+)"', client.get(f"{link}?all=1").text)}:
            shown = client.get(html.unescape(page), follow_redirects=True).text
            for form in re.findall(r'<form[^>]*action="([^"]*/question/[^"]*)"[^>]*>(.*?)</form>', shown, re.DOTALL):
                if 'value="yes"' in form[1]:
                    fields = dict(re.findall(r'<input type="hidden" name="([^"]+)" value="([^"]*)"', form[1]))
                    answer = client.post(html.unescape(form[0]), data=fields | {"answer": "yes"})
                    assert answer.status_code == 422
                    pressed += 1

    assert pressed >= 2
    assert everything(desk) == before


@pytest.fixture
def ended(installation: Installation, desk: Desk, number: str, keeper: By) -> set[str]:
    """Every link of every message on the end of a repair: it is ready, is reminded of, was paid and handed over."""
    price_terms.agree_terms(desk, BENCH, number, TypedTerms("fixed price", "60"), "counter", "Ada")
    bring_to(desk, number, "ready")
    assert next(installation.sweep(["send"]))[1].failed == 0
    desk.clock.at += timedelta(days=4)
    assert next(installation.sweep(["remind"]))[1].failed == 0
    assert next(installation.sweep(["send"]))[1].failed == 0
    payments.take(desk, BENCH, number, Typed("60", "cash"))
    hand_over(desk, BENCH, number, with_code(desk, number), confirmed=True)
    desk.clock.at += timedelta(hours=16)
    assert next(installation.sweep(["send"]))[1].failed == 0
    assert {event for event, _reference, _facts in messages(desk)} >= {"ready", "uncollected", "ended"}
    return links_of(installation) | heads_of(installation)


def heads_of(installation: Installation) -> set[str]:
    """The paths of the links in the heads of the letters, by which a mail program ends them."""
    box = mailbox.Maildir(installation.settings.mailbox)
    heads = [message_from_bytes(box.get_bytes(key), policy=default)["List-Unsubscribe"] for key in box.keys()]  # noqa: SIM118 (a mailbox)
    return {urlsplit(head.strip("<>")).path for head in heads if head}


@pytest.mark.parametrize("method", ["GET", "HEAD", "OPTIONS"])
def test_fetching_every_link_of_every_message_on_the_end_changes_nothing(
    client: Browser, desk: Desk, ended: set[str], method: str
) -> None:
    before = everything(desk)

    for link in sorted(ended):
        for _again in range(3):
            assert client.open(link, method=method, follow_redirects=method != "OPTIONS").status_code == 200

    assert everything(desk) == before


@pytest.fixture
def own_links(desk: Desk, number: str) -> dict[str, str]:
    """A link of each kind to a repair with a question that waits, one that was answered, and a statement: by kind."""
    answered = questions.draft(desk, BENCH, number, OFFER, put_at_once=True).ref
    answers.answer(desk, number, answered, Answer(1, "en", "a", "YES"))
    charges.state(desk, BENCH, number)
    questions.draft(desk, BENCH, number, OFFER, put_at_once=True)
    return {
        "docket": docket_path(desk, number),
        "own": own_path(desk, number),
        "question": question_path(desk, number),
    }


@pytest.mark.parametrize("kind", ["docket", "own", "question"])
@pytest.mark.parametrize("method", ["GET", "HEAD", "OPTIONS"])
def test_looking_at_every_address_of_a_customers_changes_nothing(
    app: Flask, client: Browser, desk: Desk, number: str, own_links: dict[str, str], kind: str, method: str
) -> None:
    """RFC 9110 section 9.2.1. With a link that is right, to every page there is behind it."""
    with desk.reading() as connection:
        refs = [kept.ref for kept in store.of_ticket(connection, ticket_of(desk, number).id)]
    token = own_links[kind].rsplit("/", 1)[-1]
    before, opened = everything(desk), set()

    for rule in app.url_map.iter_rules():
        if "token" in rule.arguments and rule.methods and "GET" in rule.methods:
            for ref in refs:
                built = rule.build(
                    {**VALUES, "token": token, "number": spoken(number), "ref": ref}, append_unknown=False
                )
                assert built is not None, rule.rule
                answer = client.open(built[1], method=method)
                assert answer.status_code < 500, built[1]
                if answer.status_code == 200:
                    opened.add(rule.endpoint)

    assert everything(desk) == before
    assert {"customer.docket_state", "customer.money", "customer.question", "customer.statement_file"} <= opened
    assert len(opened) >= 15, sorted(opened)
