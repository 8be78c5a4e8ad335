"""Your data: what a customer reads of it, what a keeper hands to an inspector, and what may pause its end.

GDPR (EU) 2016/679 Art. 13(1) and (2), twelve items; Art. 30(1), seven; recital 39.
"""

from __future__ import annotations

import re

import pytest
from flask import Flask
from werkzeug.test import TestResponse

from notifications.instants import FixedClock
from portal.actions.desk import Desk
from portal.actions.handover import return_unrepaired
from portal.actions.intake import TakenIn
from portal.rules.numbers import spoken
from portal.rules.retention import Kept
from portal.store import keeping
from tests.actions.aftermath import ticket_of
from tests.actions.bench import bring_to
from tests.conftest import BENCH
from tests.web.browser import Browser, hidden_fields
from tests.web.test_customer_docket import path_of

# Art. 13: (1)(a) controller, (b) officer, (c) purposes and basis, (d) legitimate interests, (e) recipients, (f) third
# countries; (2)(a) period, (b) rights, (c) withdrawal, (d) complaint, (e) whether it must be given, (f) automated
# decisions.
ITEMS = {
    "13(1)(a)": "Who answers for it",
    "13(1)(b)": "data protection officer",
    "13(1)(c)": "needed for the repair that was ordered (Art. 6(1)(b) GDPR)",
    "13(1)(d)": "legitimate interest",
    "13(1)(e)": "Who gets it",
    "13(1)(f)": "out of the country",
    "13(2)(a)": "30 days",
    "13(2)(b)": "have it corrected, have it erased",
    "13(2)(c)": "take back at any time",
    "13(2)(d)": "complain to the data protection authority",
    "13(2)(e)": "Must you tell us?",
    "13(2)(f)": "No machine decides about you",
}
IN_GERMAN = {
    "13(1)(a)": "Wer dafür verantwortlich ist",
    "13(1)(b)": "Datenschutzbeauftragten",
    "13(1)(c)": "Art. 6 Abs. 1 Buchst. b DSGVO",
    "13(1)(d)": "berechtigtes Interesse",
    "13(1)(e)": "Wer es bekommt",
    "13(1)(f)": "Union",
    "13(2)(a)": "30 Tage",
    "13(2)(b)": "berichtigen",
    "13(2)(c)": "jederzeit",
    "13(2)(d)": "beschweren",
    "13(2)(e)": "Müssen Sie",
    "13(2)(f)": "Keine Maschine",
}
# Art. 30(1): (a) controller, (b) purposes, (c) whose and which data, (d) recipients, (e) third countries, (f) time
# limits for erasure, (g) security measures.
RECORD = {
    "30(1)(a)": "Who answers for it",
    "30(1)(b)": "Purpose and ground",
    "30(1)(c)": "Whose data",
    "30(1)(d)": "the carrier that takes the parcel",
    "30(1)(e)": "Out of the country",
    "30(1)(f)": "6 years",
    "30(1)(g)": "How it is kept safe",
}


def press(browser: Browser, page: str, form: str, fields: dict) -> TestResponse:
    """Fill in a form on the page as a browser does, and send it."""
    return browser.post(page + form, data=hidden_fields(browser.get(page).text, page + form) | fields)


@pytest.mark.parametrize("item", ITEMS)
def test_the_notice_has_every_item_that_the_law_asks_for(client: Browser, item: str) -> None:
    assert ITEMS[item] in client.get("/privacy").text


@pytest.mark.parametrize(("language", "words"), [("en", "Your data"), ("de", "Ihre Daten")])
def test_every_page_of_a_customer_leads_to_it(
    app: Flask, client: Browser, desk: Desk, taken_in: TakenIn, language: str, words: str
) -> None:
    """Art. 13: whichever page somebody reads, in either language. A new page is walked too."""
    number, token = taken_in.numbers[0], taken_in.link.rpartition("/")[2]
    bring_to(desk, number, "ready")
    walked = []
    for rule in app.url_map.iter_rules():
        if not rule.endpoint.startswith("customer.") or "GET" not in (rule.methods or ()):
            continue
        if "token" not in rule.arguments or rule.arguments - {"token", "number"}:
            continue
        built = rule.build({"token": token, "number": spoken(number)}, append_unknown=False)
        answer = client.get(f"{built[1]}?lang={language}" if built else "")
        if answer.status_code == 200 and "<html" in answer.text:  # a whole page, no part of one
            walked.append(rule.endpoint)
            link = re.search(r'<a[^>]* href="[^"]*/privacy[^"]*"[^>]*>([^<]*)</a>', answer.text)
            assert link or rule.endpoint == "customer.privacy", rule.endpoint
            assert words in answer.text, rule.endpoint
    assert len(walked) >= 10


def test_the_front_door_leads_to_it_too(client: Browser) -> None:
    assert 'href="/privacy"' in client.get("/").text


def test_a_link_that_leads_nowhere_leads_to_the_notice_for_anybody(client: Browser) -> None:
    assert 'href="/privacy"' in client.get("/t/NOTALINK").text


@pytest.mark.parametrize("item", ITEMS)
def test_it_has_every_item_in_german_too(client: Browser, item: str) -> None:
    assert IN_GERMAN[item] in client.get("/privacy?lang=de").text


def test_while_the_device_is_here_the_periods_are_told_and_after_it_the_days(
    client: Browser, desk: Desk, taken_in: TakenIn
) -> None:
    own = path_of(taken_in.link) + "/privacy"
    assert "after the warranty of the last device" in client.get(own).text

    return_unrepaired(desk, BENCH, taken_in.numbers[0], "Beyond repair.")

    # 2 March 2026 and 30 days that the page stays, then 30 more.
    assert "until Fri, 1 May 2026" in client.get(own).text


@pytest.mark.parametrize("item", RECORD)
def test_the_record_of_processing_has_every_item(keeper_client: Browser, item: str) -> None:
    assert RECORD[item] in keeper_client.get("/shop/processing").text


def test_the_keeper_pauses_what_a_dispute_needs_and_lets_it_go_again(
    keeper_client: Browser, desk: Desk, taken_in: TakenIn, clock: FixedClock
) -> None:
    number = taken_in.numbers[0]
    page = f"/bench/{spoken(number)}/data"
    press(
        keeper_client,
        page,
        "/pause",
        {"kinds": ["record", "photo"], "reason": "Claim of the owner", "until": "2026-06-01"},
    )

    with desk.reading() as connection:
        paused = keeping.pauses_of(connection, ticket_of(desk, number).visit_id)
    assert {pause.kept for pause in paused} == {Kept.RECORD, Kept.PHOTO}
    assert "Claim of the owner" in keeper_client.get(page).text
    assert "stays for now" in keeper_client.get(path_of(taken_in.link) + "/privacy").text

    press(keeper_client, page, "/let-go", {"kind": "photo"})
    with desk.reading() as connection:
        paused = keeping.pauses_of(connection, ticket_of(desk, number).visit_id)
    assert [pause.kept for pause in paused] == [Kept.RECORD]


def test_the_keeper_is_told_two_weeks_before_to_look_again_and_the_bench_is_not(
    keeper_client: Browser, staff_client: Browser, desk: Desk, taken_in: TakenIn
) -> None:
    number = taken_in.numbers[0]
    page, heading = f"/bench/{spoken(number)}/data", "Data that was kept longer: look again"
    kept = {"kinds": ["record", "photo"], "reason": "A claim of its owner", "until": "2026-03-16"}
    press(keeper_client, page, "/pause", kept)
    assert heading not in keeper_client.get("/bench/today").text  # while it is here nothing goes
    return_unrepaired(desk, BENCH, number, "No part to be had")

    today = keeper_client.get("/bench/today").text

    assert heading in today
    assert today.count("A claim of its owner") == 1  # once a device, whatever is kept
    assert f'href="{page}"' in today
    assert heading not in staff_client.get("/bench/today").text
    press(keeper_client, page, "/pause", kept | {"until": "2026-03-17"})
    assert heading not in keeper_client.get("/bench/today").text


@pytest.mark.parametrize(
    ("typed", "told"),
    [
        ({"reason": "Claim", "until": "2026-06-01"}, "choose what should stay"),
        ({"kinds": ["record"], "reason": "", "until": "2026-06-01"}, "The reason is missing"),
        ({"kinds": ["record"], "reason": "Claim", "until": ""}, "The day is missing"),
        ({"kinds": ["record"], "reason": "Claim", "until": "2036-06-01"}, "within a year"),
        ({"kinds": ["record"], "reason": "Claim", "until": "2026-03-02"}, "within a year"),
        ({"kinds": ["gossip"], "reason": "Claim", "until": "2026-06-01"}, "is not kept"),
    ],
)
def test_a_pause_without_end_or_ground_is_refused_with_what_was_typed(
    keeper_client: Browser, taken_in: TakenIn, typed: dict, told: str
) -> None:
    page = f"/bench/{spoken(taken_in.numbers[0])}/data"
    answer = press(keeper_client, page, "/pause", typed)

    assert answer.status_code == 422
    assert told in answer.text
    assert typed["until"] in answer.text


def test_the_bench_pauses_nothing(staff_client: Browser, desk: Desk, taken_in: TakenIn) -> None:
    page = f"/bench/{spoken(taken_in.numbers[0])}/data"
    typed = {"kinds": ["record"], "reason": "Claim", "until": "2026-06-01", "seen": "1", "deed_key": "a"}
    answer = staff_client.send(page + "/pause", on=page, **typed)

    assert answer.status_code == 403
    assert "Keep something longer" not in staff_client.get(page).text
