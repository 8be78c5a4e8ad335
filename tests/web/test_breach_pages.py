"""The record of breaches: what Art. 33 GDPR asks for, its 72 hours, and a sheet to print."""

from __future__ import annotations

from datetime import timedelta

import pytest
from werkzeug.test import TestResponse

from notifications.instants import FixedClock
from portal.actions import breaches as deeds
from portal.actions import retention
from portal.actions.breaches import Written
from portal.actions.desk import Desk
from portal.actions.handover import return_unrepaired
from portal.main import Installation
from portal.rules.numbers import spoken
from portal.store import breaches
from tests.conftest import BENCH
from tests.web.browser import Browser, hidden_fields

LIST = "/shop/breaches"
LOST = {"aware_at": "2026-03-02T08:00", "happened": "A docket lay in a stranger’s bag.", "kinds": ["contact", "device"]}
# Art. 33(3): (a) nature, people and records, (b) contact point, (c) consequences, (d) measures.
ASKED_FOR = {
    "33(3)(a) nature": "A docket lay in a stranger’s bag.",
    "33(3)(a) people": "1 person",
    "33(3)(a) records": "1 repair",
    "33(3)(b)": "Whom to ask (b)",
    "33(3)(c)": "Somebody may ring them.",
    "33(3)(d)": "The docket was brought back.",
    "33(1)": "The 72 hours end on",
    "34(1)": "They have not been told.",
}


def send(browser: Browser, page: str, action: str, **fields: object) -> TestResponse:
    return browser.post(action, data=hidden_fields(browser.get(page).text, action) | fields)


@pytest.fixture
def page(keeper_client: Browser, number: str) -> str:
    """The page of a breach that was just written down."""
    more = {"consequences": "Somebody may ring them.", "measures": "The docket was brought back."}
    answer = send(keeper_client, LIST, f"{LIST}/record", **LOST, **more, numbers=spoken(number))
    assert answer.status_code == 303, answer.text
    return str(answer.location).partition("?")[0]


@pytest.mark.parametrize("item", ASKED_FOR)
def test_the_sheet_has_every_item_that_the_law_asks_for(keeper_client: Browser, page: str, item: str) -> None:
    assert ASKED_FOR[item] in keeper_client.get(f"{page}/sheet").text


def test_the_72_hours_are_told_and_run_over_weekends_and_clock_changes(keeper_client: Browser, page: str) -> None:
    assert "the 72 hours end on Thu, 5 Mar 2026" in keeper_client.get(page).text


@pytest.mark.parametrize(
    ("typed", "told"),
    [
        ({"aware_at": ""}, "When you became aware of it is missing"),
        ({"aware_at": "2026-03-03T08:00"}, "still to come"),
        ({"aware_at": "yesterday"}, "is not a day and time"),
        ({"happened": " "}, "What happened is missing"),
        ({"kinds": []}, "choose what was touched"),
        ({"numbers": ""}, "Whose data was it?"),
        ({"numbers": "99999-9"}, "There is no repair 99999-9 here."),
        ({"told_at": "2026-03-01T08:00"}, "before you knew of it"),
    ],
)
def test_what_does_not_fit_comes_back_as_typed(
    keeper_client: Browser, number: str, typed: dict[str, object], told: str
) -> None:
    fields = {**LOST, "numbers": spoken(number), "measures": "All keys changed."} | typed
    answer = send(keeper_client, LIST, f"{LIST}/record", **fields)

    assert answer.status_code == 422
    assert told in answer.text
    assert "All keys changed." in answer.text


def test_told_late_it_says_why(keeper_client: Browser, page: str, clock: FixedClock, number: str) -> None:
    """Art. 33(1), second sentence."""
    clock.at += timedelta(days=5)
    keeper_client.log_in("Kim")
    fields = {**LOST, "numbers": spoken(number), "told_at": "2026-03-05T09:00"}

    assert send(keeper_client, page, f"{page}/rewrite", **fields).status_code == 422
    assert send(keeper_client, page, f"{page}/rewrite", **fields, late_because="The keeper was ill.").status_code == 303
    assert "The keeper was ill." in keeper_client.get(f"{page}/sheet").text


def test_until_the_authority_was_told_today_shows_the_keeper_when_the_72_hours_end(
    keeper_client: Browser, page: str, clock: FixedClock, number: str
) -> None:
    """Art. 33(1)."""
    today = keeper_client.get("/bench/today").text
    assert f'href="{page}"' in today
    assert "the 72 hours end " in today
    clock.at += timedelta(days=4)
    keeper_client.log_in("Kim")
    assert "the 72 hours ended" in keeper_client.get("/bench/today").text

    fields = {**LOST, "numbers": spoken(number), "told_at": "2026-03-04T09:00"}
    assert send(keeper_client, page, f"{page}/rewrite", **fields).status_code == 303

    assert f'href="{page}"' not in keeper_client.get("/bench/today").text


def test_the_bench_is_not_shown_it_today(staff_client: Browser, desk: Desk, number: str) -> None:
    deeds.record(desk, BENCH, Written(desk.clock.now(), "A docket was lost.", ["contact"], number))

    assert "When something went wrong" not in staff_client.get("/bench/today").text


def test_every_breach_is_written_down_also_one_of_which_nobody_is_told(keeper_client: Browser, page: str) -> None:
    """Art. 33(5)."""
    send(keeper_client, page, f"{page}/close")

    assert "A docket lay in a stranger’s bag." in keeper_client.get(LIST).text


def test_everybody_is_counted_as_it_was_then(keeper_client: Browser, desk: Desk, number: str) -> None:
    send(keeper_client, LIST, f"{LIST}/record", **LOST, everybody="1")

    with desk.reading() as connection:
        (breach,) = breaches.all_of_them(connection)
    assert (breach.numbers, breach.counts.visits, breach.counts.tickets) == ([], 1, 1)


def test_closed_it_is_written_on_no_more_and_goes_after_its_period(
    keeper_client: Browser, installation: Installation, page: str, clock: FixedClock, number: str
) -> None:
    before = keeper_client.get(page).text
    send(keeper_client, page, f"{page}/close")
    late = keeper_client.post(
        f"{page}/rewrite", data=hidden_fields(before, f"{page}/rewrite") | LOST | {"numbers": spoken(number)}
    )
    assert late.status_code == 422
    return_unrepaired(installation.desk, BENCH, number, "Beyond repair.")

    clock.at += timedelta(days=3 * 366)
    retention.apply(installation.desk, installation.photo_files, clock.now())

    with installation.desk.reading() as connection:
        assert breaches.all_of_them(connection) == []
