"""When it will be ready, as customers and the bench read it; a day promised by hand; the word when a window moves."""

from __future__ import annotations

import re
from datetime import date, timedelta

import pytest
import tomlkit

from portal.actions import windows as deeds
from portal.actions.desk import Desk, find
from portal.actions.moves import move
from portal.rules.numbers import spoken
from portal.store import policies
from tests.actions.pasts import a_past, kept
from tests.conftest import BENCH, MONDAY
from tests.web.browser import Browser
from tests.web.test_bench_ticket import Form
from tests.web.test_customer_docket import own_path

WINDOW = re.compile(r"Probably ready between \w+ \d+( \w+)? and \w+ \d+ March \(8 in 10 repairs like this\)\.")


@pytest.fixture
def reckoned(desk: Desk, number: str) -> str:
    """The number of a ticket with a window that customers are shown."""
    a_past(desk)
    deeds.sweep(desk, desk.clock.now())
    return number


def usual_time(desk: Desk, **said: object) -> None:
    """Load a policy that says the usual time."""
    with desk.writing() as connection:
        document = tomlkit.parse(policies.document(connection, policies.newest(connection)) or "")
        document["forecast"] = said
        policies.add(connection, tomlkit.dumps(document), desk.clock.now(), None)


@pytest.fixture
def late(desk: Desk, reckoned: str) -> str:
    """The number of a ticket that is half way when the day that its customer reckons with is near."""
    first = kept(desk, reckoned)
    assert first is not None
    assert first.last is not None
    desk.clock.at = MONDAY + (first.last - MONDAY.date()) - timedelta(days=1)
    deeds.sweep(desk, desk.clock.now())
    move(desk, BENCH, reckoned, "board_work")
    return reckoned


# The customer


def test_the_customer_reads_the_window_and_that_it_is_no_promise(client: Browser, desk: Desk, reckoned: str) -> None:
    text = client.get(own_path(desk, reckoned)).text

    assert WINDOW.search(text)
    assert "no promise" in text


def test_once_ready_nothing_is_said_of_when(client: Browser, desk: Desk, reckoned: str) -> None:
    for stage in ("board_work", "testing", "ready"):
        move(desk, BENCH, reckoned, stage, confirmed=True)

    assert "Probably ready" not in client.get(own_path(desk, reckoned)).text


@pytest.mark.parametrize(
    ("said", "words"),
    [
        ({"usual_days": 8}, "usually takes about 8 days on which we are open"),
        ({"usual_days": 8, "usual_days_by_kind": {"console": 1}}, "usually takes about a day on which we are open"),
        ({"usual_days_by_kind": {"phone": 3}}, ""),
    ],
)
def test_while_the_past_is_thin_the_customer_reads_the_usual_time(
    client: Browser, desk: Desk, number: str, said: dict[str, object], words: str
) -> None:
    usual_time(desk, **said)
    deeds.sweep(desk, desk.clock.now())

    text = client.get(own_path(desk, number)).text

    assert "Probably ready" not in text
    assert words in text
    assert ("usually takes" in text) is bool(words)


def test_a_shop_may_show_no_windows(client: Browser, staff_client: Browser, desk: Desk, number: str) -> None:
    a_past(desk)
    usual_time(desk, shown=False)
    deeds.sweep(desk, desk.clock.now())

    assert "Probably ready" not in client.get(own_path(desk, number)).text
    assert "8 in 10 repairs like this" in staff_client.get(f"/bench/{spoken(number)}").text


def test_a_window_that_lies_in_the_past_is_not_shown(client: Browser, desk: Desk, reckoned: str) -> None:
    desk.clock.at = MONDAY + timedelta(days=60)  # the clock process stood still meanwhile

    assert "Probably ready" not in client.get(own_path(desk, reckoned)).text


def test_a_promise_is_the_shops_own_word(client: Browser, desk: Desk, reckoned: str) -> None:
    deeds.promise(desk, BENCH, reckoned, promised_on="2026-03-20")

    text = client.get(own_path(desk, reckoned)).text

    assert "Ready by Fri, 20 Mar 2026: that is our word." in text
    assert "Probably ready" not in text


def test_of_a_promise_that_was_broken_the_page_says_so(client: Browser, desk: Desk, reckoned: str) -> None:
    deeds.promise(desk, BENCH, reckoned, promised_on="2026-03-03")
    desk.clock.at = MONDAY + timedelta(days=2)
    deeds.sweep(desk, desk.clock.now())

    text = client.get(own_path(desk, reckoned)).text

    assert "We had told you Tue, 3 Mar 2026. It takes longer, we are sorry." in text
    assert WINDOW.search(text)


def test_the_same_is_said_by_telephone(staff_client: Browser, reckoned: str) -> None:
    assert WINDOW.search(staff_client.get(f"/bench/{spoken(reckoned)}/phone").text)


# The bench


def test_the_bench_reads_the_window_with_its_middle(staff_client: Browser, reckoned: str) -> None:
    text = staff_client.get(f"/bench/{spoken(reckoned)}").text

    assert "8 in 10 repairs like this" in text
    assert "In the middle:" in text
    assert "The customer reads this window." in text


def test_the_bench_reads_why_there_is_none(staff_client: Browser, desk: Desk, number: str) -> None:
    usual_time(desk, usual_days=8)
    deeds.sweep(desk, desk.clock.now())

    text = staff_client.get(f"/bench/{spoken(number)}").text

    assert "Too little past: 0 finished of 40 that are needed." in text
    assert "The usual time is 8 open days." in text


@pytest.mark.parametrize(("needed_by", "warns"), [("2026-03-03", True), ("2026-04-30", False)])
def test_a_day_that_it_is_needed_by_is_warned_of_at_intake_and_later(
    staff_client: Browser, desk: Desk, reckoned: str, needed_by: str, warns: bool
) -> None:
    warning = "and will probably not be ready by then"
    typed = {"device": "A console", "fault": "Hums", "kind": "console", "needed_by": needed_by}
    taken = staff_client.send("/bench/take-in", on="/bench/take-in", **typed)
    assert (warning in staff_client.get(taken.location).text) is warns

    Form(staff_client, reckoned, "shelf").send(needed_by=needed_by)

    assert (warning in staff_client.get(f"/bench/{spoken(reckoned)}").text) is warns
    assert ("Needed earlier than probably ready" in staff_client.get("/bench/today").text) is warns


def test_the_bench_promises_a_day(staff_client: Browser, desk: Desk, reckoned: str) -> None:
    answer = Form(staff_client, reckoned, "promise").send(promised_on="2026-03-20")

    assert answer.status_code == 303
    with desk.reading() as connection:
        assert find(connection, reckoned).promised_on == date(2026, 3, 20)


def test_a_refused_promise_keeps_what_was_typed(staff_client: Browser, reckoned: str) -> None:
    answer = Form(staff_client, reckoned, "promise").send(promised_on="2026-02-20")

    assert answer.status_code == 422
    assert "That day is over." in answer.text
    assert 'value="2026-02-20"' in answer.text


def test_today_tells_of_a_day_that_will_be_missed_and_the_ticket_asks_why(
    late: str, staff_client: Browser, client: Browser, desk: Desk
) -> None:
    assert "Days that will probably be missed" in staff_client.get("/bench/today").text

    answer = Form(staff_client, late, "window-moved").send(because="part")

    assert answer.status_code == 303
    assert "Days that will probably be missed" not in staff_client.get("/bench/today").text
    assert "We told you that it takes longer. We still wait for a part." in client.get(own_path(desk, late)).text


def test_without_a_reason_nobody_is_told(late: str, staff_client: Browser) -> None:
    answer = Form(staff_client, late, "window-moved").send(because="")

    assert answer.status_code == 422
    assert "Choose the reason that the customer reads." in answer.text
