"""The page of today, and what the bench list counts of it, take as many statements for many devices as for a few."""

from __future__ import annotations

import pytest

from portal.actions import payments
from portal.actions.desk import Desk, find
from portal.actions.intake import NewDevice, NewVisit, take_in
from portal.actions.moves import move
from portal.actions.price_terms import TypedTerms
from portal.letters.calling import close_untrue
from portal.rules.messages import KINDS, RING_ABOUT
from portal.store import calls, visits
from tests.actions.bench import bring_to
from tests.conftest import BENCH
from tests.web.browser import Browser
from tests.web.conftest import on_both
from tests.web.test_cancelling_pages import says
from tests.web.test_customer_docket import counted


def ready_and_to_be_rung(desk: Desk, many: int, first: int = 0) -> list[str]:
    """So many devices that are ready and not paid, with somebody to ring about each."""
    numbers = []
    for place in range(first, first + many):
        device = NewDevice(f"Radio {place}", "Hums", price=TypedTerms("fixed price", "48.50", "New capacitors"))
        number = take_in(desk, BENCH, NewVisit([device], name=f"Ada {place}", phone="07700 900123")).numbers[0]
        payments.take(desk, BENCH, number, payments.Typed("20", "cash"))
        bring_to(desk, number, "ready")
        with desk.writing() as connection:
            ticket = find(connection, number)
            [owner] = visits.contacts_of(connection, ticket.visit_id)
            calls.note(connection, f"m{place}", owner.ref, ticket.ref, "ready", [{}], desk.clock.now())
        numbers.append(number)
    return numbers


@on_both
@pytest.mark.parametrize("path", ["/bench/today", "/bench/"])
def test_thirty_devices_take_as_many_statements_as_three(keeper_client: Browser, desk: Desk, path: str) -> None:
    ready_and_to_be_rung(desk, 3)
    keeper_client.get(path)
    with counted(desk.engine) as few:
        page = keeper_client.get(path)
    assert page.status_code == 200

    ready_and_to_be_rung(desk, 27, first=3)
    with counted(desk.engine) as many:
        page = keeper_client.get(path)

    assert len(many) == len(few), set(many) ^ set(few)
    if path == "/bench/today":
        shown = says(page.text)
        assert shown.count("£28.50") == 30
        assert shown.count("It is ready.") == 30


def test_a_call_that_is_no_longer_true_is_neither_listed_nor_kept_open(keeper_client: Browser, desk: Desk) -> None:
    first, second = ready_and_to_be_rung(desk, 2)
    move(desk, BENCH, first, "testing", why="It hums again", confirmed=True)

    page = says(keeper_client.get("/bench/today").text)
    assert page.count("It is ready.") == 1
    assert close_untrue(desk, desk.clock.now()) == (2, 1)
    with desk.reading() as connection:
        assert [call.number for call in calls.waiting(connection)] == [find(connection, second).number]
    assert close_untrue(desk, desk.clock.now()) == (1, 0)


def test_a_call_about_several_devices_names_the_first(keeper_client: Browser, desk: Desk) -> None:
    devices = [NewDevice("Radio", "Hums"), NewDevice("Lamp", "Dark")]
    numbers = take_in(desk, BENCH, NewVisit(devices, name="Ada", phone="07700 900123")).numbers
    with desk.writing() as connection:
        visit = visits.by_id(connection, find(connection, numbers[0]).visit_id)
        [owner] = visits.contacts_of(connection, visit.id)
        calls.note(connection, "m", owner.ref, visit.ref, "window_moved", [{}], desk.clock.now())
        [waiting] = calls.waiting(connection)

    assert (waiting.number, waiting.device) == (numbers[0], "Radio")


def test_whatever_is_worth_a_call_is_named_on_the_list() -> None:
    assert RING_ABOUT.keys() == {event for event, kind in KINDS.items() if kind.worth_a_call}
