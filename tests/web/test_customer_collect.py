"""The customer has a device back: the code on their own page only, a day, somebody sent, the post, a calendar file."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta

import pytest
from icalendar import Calendar
from icalendar import Event as CalendarEvent
from werkzeug.test import TestResponse

from notifications.instants import FixedClock
from portal.actions import announce, collection_codes, moves
from portal.actions.announce import Announced
from portal.actions.desk import Desk, find
from portal.actions.handover import hand_over, undo
from portal.actions.intake import NewDevice, NewVisit, Second, TakenIn, take_in
from portal.actions.links import LinkKind
from portal.actions.record import record
from portal.actions.terms import accept_terms
from portal.rules.collection_code import grouped
from portal.rules.intake_record import Item, Record
from portal.rules.numbers import spoken
from portal.store import handovers, policies, visits
from portal.store.handovers import Choice
from portal.store.tickets import Ticket
from tests.actions.bench import bring_to, with_code
from tests.actions.test_money import STORAGE
from tests.actions.test_questions import with_policy
from tests.conftest import BENCH
from tests.web.browser import Browser
from tests.web.conftest import on_both
from tests.web.test_customer_docket import own_path, path_of

HOME = "Ada Marsh\n12 Harbour Rise\nQuayhaven"


@pytest.fixture
def ready(desk: Desk, number: str) -> str:
    """The number of a ticket whose device is ready."""
    bring_to(desk, number, "ready")
    return number


def ticket_of(desk: Desk, number: str) -> Ticket:
    with desk.reading() as connection:
        return find(connection, number)


def choice_of(desk: Desk, number: str) -> Choice | None:
    with desk.reading() as connection:
        return handovers.choice(connection, find(connection, number).id)


def code_of(desk: Desk, number: str, role: str = "owner") -> str:
    ticket = ticket_of(desk, number)
    with desk.reading() as connection:
        contact = next(each for each in visits.contacts_of(connection, ticket.visit_id) if each.role == role)
        return collection_codes.of_contact(
            desk.links.secret, contact, ticket.ref, handovers.codes_used(connection, ticket.id)
        )


def choose(client: Browser, path: str, number: str, **typed: object) -> TestResponse:
    return client.post(f"{path}/collect/{spoken(number)}", data=typed)


def events(client: Browser, path: str) -> list[CalendarEvent]:
    """The events of the calendar file, as a calendar reads them."""
    answer = client.get(f"{path}/collect.ics")
    assert answer.status_code == 200
    assert answer.content_type.startswith("text/calendar; charset=utf-8")
    return list(Calendar.from_ical(answer.data).walk("VEVENT"))


# The code


@on_both
def test_the_code_is_on_the_owners_own_page_and_never_on_the_dockets(
    client: Browser, desk: Desk, taken_in: TakenIn, ready: str
) -> None:
    code, own = code_of(desk, ready), own_path(desk, ready)

    assert code in client.get(own).text
    assert code in client.get(f"{own}/collect").text
    assert code in client.get(f"{own}/state").text
    for page in ("", "/collect", "/state"):
        shown = client.get(path_of(taken_in.link) + page)
        assert shown.status_code == 200
        assert code not in shown.text
    assert "does not show it" in client.get(path_of(taken_in.link) + "/collect").text


def test_there_is_no_code_before_it_is_ready_and_none_once_it_has_left(
    client: Browser, desk: Desk, number: str
) -> None:
    own = own_path(desk, number)
    assert code_of(desk, number) not in client.get(own).text
    assert "Nothing is ready" in client.get(f"{own}/collect").text

    bring_to(desk, number, "ready")
    hand_over(desk, BENCH, number, with_code(desk, number))

    assert "collection code" not in client.get(own).text.lower()
    assert "Nothing is ready" in client.get(f"{own}/collect").text


def test_after_a_handover_that_was_undone_the_page_shows_the_code_that_opens_now(
    client: Browser, desk: Desk, ready: str
) -> None:
    before = code_of(desk, ready)
    hand_over(desk, BENCH, ready, with_code(desk, ready))
    undo(desk, BENCH, ready, "It does not start.")

    page = client.get(own_path(desk, ready)).text
    assert before not in page
    assert code_of(desk, ready) in page


def test_a_second_person_sees_a_code_only_if_they_may_collect(client: Browser, desk: Desk) -> None:
    for may in (True, False):
        second = Second("Ben", "ben@example.org", may_be_told=True, may_collect=may)
        number = take_in(desk, BENCH, NewVisit([NewDevice("Phone", "Dark")], name="Ada", second=second)).numbers[0]
        bring_to(desk, number, "ready")
        with desk.reading() as connection:
            contact = visits.contacts_of(connection, find(connection, number).visit_id)[1]
        path = path_of(desk.links.customer(LinkKind.CONTACT, contact.ref, contact.link_version))

        page = client.get(f"{path}/collect").text
        assert (code_of(desk, number, "second") in page) is may
        answer = choose(client, path, number, way="collect", day="2026-03-05")
        assert answer.status_code == (303 if may else 403)


def test_who_has_no_contact_has_the_code_on_paper(client: Browser, staff_client: Browser, desk: Desk) -> None:
    taken = take_in(desk, BENCH, NewVisit([NewDevice("Phone", "Dark")], name="Ada"))
    number = taken.numbers[0]
    bring_to(desk, number, "ready")
    with desk.reading() as connection:
        code = grouped(collection_codes.first(desk, connection, find(connection, number)))

    assert code in staff_client.get(f"/bench/{spoken(number)}/docket").text
    assert "stub of your docket" in client.get(path_of(taken.link) + "/collect").text
    assert code not in client.get(path_of(taken.link) + "/collect").text


def test_who_has_a_contact_has_no_code_on_paper(staff_client: Browser, number: str) -> None:
    assert "Collection code" not in staff_client.get(f"/bench/{spoken(number)}/docket").text


# The choice


def test_a_day_is_chosen_shown_on_the_docket_and_changed(client: Browser, desk: Desk, ready: str) -> None:
    own = own_path(desk, ready)
    answer = choose(client, own, ready, way="collect", day="2026-03-05")

    assert answer.status_code == 303
    assert "Thu, 5 Mar 2026" in client.get(answer.location).text
    assert "You come for it on Thu, 5 Mar 2026." in client.get(own).text
    choose(client, own, ready, way="collect", day="2026-03-06")
    assert "You come for it on Fri, 6 Mar 2026." in client.get(own).text


def test_whoever_found_the_docket_may_choose_a_day_and_nothing_else(
    client: Browser, desk: Desk, taken_in: TakenIn, ready: str
) -> None:
    path = path_of(taken_in.link)

    assert choose(client, path, ready, way="collect", day="2026-03-05").status_code == 303
    for typed in (
        {"way": "post", "address": "Mine", "confirmed": "1"},
        {"way": "send", "person": "Me"},
        {"way": ""},
        {},
    ):
        assert choose(client, path, ready, **typed).status_code == 403
    page = client.get(f"{path}/collect").text
    assert 'name="address"' not in page
    assert 'name="person"' not in page


def test_an_address_and_a_name_are_read_by_their_own_link_only(
    client: Browser, desk: Desk, taken_in: TakenIn, ready: str
) -> None:
    own = own_path(desk, ready)
    choose(client, own, ready, way="post", address=HOME, confirmed="1")
    assert "Harbour Rise" in client.get(f"{own}/collect").text
    assert "Harbour Rise" not in client.get(path_of(taken_in.link) + "/collect").text

    choose(client, own, ready, way="send", person="Ben Quill")
    assert "Ben Quill" in client.get(f"{own}/collect").text
    assert "Ben Quill" not in client.get(path_of(taken_in.link) + "/collect").text


@pytest.mark.parametrize(
    ("typed", "says", "kept"),
    [
        ({"way": "collect", "day": ""}, "The day is missing", ""),
        ({"way": "collect", "day": "2026-03-01"}, "That day is over", ""),
        ({"way": "collect", "day": "2026-03-07"}, "We are closed on Sat, 7 Mar 2026", ""),
        ({"way": "collect", "day": "<b>"}, "“&lt;b&gt;” is not a date", ""),
        ({"way": "send", "person": "Ben <Q>", "day": "2026-03-07"}, "We are closed", 'value="Ben &lt;Q&gt;"'),
        ({"way": "post", "address": "12 <Rise>"}, "read the address over", "12 &lt;Rise&gt;</textarea>"),
        ({"way": "post", "address": " ", "confirmed": "1"}, "The address is missing", ""),
        ({"way": "pigeon"}, "choose one of the ways", ""),
    ],
)
def test_what_does_not_fit_is_said_and_what_was_typed_comes_back(
    client: Browser, desk: Desk, ready: str, typed: dict[str, str], says: str, kept: str
) -> None:
    answer = choose(client, own_path(desk, ready), ready, **typed)

    assert answer.status_code == 422
    assert says in answer.text
    assert kept in answer.text
    assert choice_of(desk, ready) is None


def test_a_form_that_was_left_open_until_it_was_not_ready_any_more_is_told_so(
    client: Browser, desk: Desk, ready: str
) -> None:
    moves.move(desk, BENCH, ready, "testing", why="The fan is loud.")

    answer = choose(client, own_path(desk, ready), ready, way="collect", day="2026-03-05")

    assert answer.status_code == 422
    assert "not ready" in answer.text


def test_a_damaged_battery_is_told_with_kind_words_and_no_form(client: Browser, desk: Desk, ready: str) -> None:
    record(desk, BENCH, ready, Record(battery=("swollen",)))

    page = client.get(f"{own_path(desk, ready)}/collect").text
    assert "it must not be posted" in page
    assert 'name="address"' not in page
    answer = choose(client, own_path(desk, ready), ready, way="post", address=HOME, confirmed="1")
    assert answer.status_code == 422


def test_the_address_that_was_announced_is_offered_again(client: Browser, desk: Desk) -> None:
    with desk.writing() as connection:
        document = policies.document(connection, policies.newest(connection)) or ""
        policies.add(connection, document.replace("announcing = false", "announcing = true"), desk.clock.now(), None)
    told = Announced(NewVisit((), name="Ada", email="ada@example.org"), NewDevice("Phone", "Dark"), HOME)
    taken = announce.announce(desk, told, "somewhere")
    announce.receive(desk, BENCH, taken.numbers[0], (Item("plug"),))
    bring_to(desk, taken.numbers[0], "ready")

    assert "12 Harbour Rise" in client.get(f"{own_path(desk, taken.numbers[0])}/collect").text
    assert "12 Harbour Rise" not in client.get(path_of(taken.link) + "/collect").text


def test_what_storage_will_cost_is_said_where_a_day_is_chosen_and_only_to_who_accepted_it(
    client: Browser, desk: Desk
) -> None:
    with_policy(desk, STORAGE)
    told = []
    for accepts in (False, True):
        taken = take_in(desk, BENCH, NewVisit([NewDevice("Radio", "Hums")], email="ada@example.org"))
        if accepts:
            accept_terms(desk, BENCH, taken.visit_ref, "draft-1", "tick")
        bring_to(desk, taken.numbers[0], "ready")
        told.append("storage costs £1.00" in client.get(f"{path_of(taken.link)}/collect").text)

    assert told == [False, True]


def test_a_day_that_has_passed_asks_for_another(client: Browser, desk: Desk, clock: FixedClock, ready: str) -> None:
    choose(client, own_path(desk, ready), ready, way="collect", day="2026-03-05")
    clock.at += timedelta(days=7)

    assert "That day is over" in client.get(f"{own_path(desk, ready)}/collect").text


def test_a_strangers_repair_is_not_chosen_for(client: Browser, desk: Desk, arrival: NewVisit, ready: str) -> None:
    other = take_in(desk, BENCH, arrival).numbers[0]
    bring_to(desk, other, "ready")

    assert choose(client, own_path(desk, ready), other, way="collect", day="2026-03-05").status_code == 404
    assert choice_of(desk, other) is None


def test_the_same_form_twice_is_one_choice(client: Browser, desk: Desk, ready: str) -> None:
    own, key = own_path(desk, ready), "a" * 32
    for _time in range(2):
        assert choose(client, own, ready, way="collect", day="2026-03-05", deed_key=key).status_code == 303

    found = choice_of(desk, ready)
    assert found is not None
    assert found.sequence == 0


# The calendar


def test_a_calendar_reads_the_day_with_the_shops_hours(client: Browser, desk: Desk, ready: str) -> None:
    """RFC 5545 sections 3.6, 3.6.1 and 3.8.7.4."""
    own = own_path(desk, ready)
    choose(client, own, ready, way="collect", day="2026-03-05")

    (event,) = events(client, own)
    assert event["UID"] == f"{ticket_of(desk, ready).ref}.collect@bench.test"
    assert event["SEQUENCE"] == 0
    assert event.decoded("DTSTAMP") == desk.clock.now()
    assert event.decoded("DTSTART") == datetime(2026, 3, 5, 9, tzinfo=UTC)
    assert event.decoded("DTEND") == datetime(2026, 3, 5, 17, 30, tzinfo=UTC)
    assert event["STATUS"] == "CONFIRMED"
    assert event["SUMMARY"] == f"Collect Handheld console, blue ({spoken(ready)})"
    raw = client.get(f"{own}/collect.ics").data
    assert raw.startswith(b"BEGIN:VCALENDAR\r\n")
    assert b"VERSION:2.0\r\n" in raw
    assert b"PRODID:" in raw
    assert b"\r\nDTSTART:20260305T090000Z\r\n" in raw
    assert rb"LOCATION:A small repair shop\, 1 Example Lane\, Exampleton" in raw
    assert all(len(line) <= 75 for line in raw.split(b"\r\n"))


@pytest.mark.parametrize(
    ("today", "day", "opens"),
    [
        (datetime(2026, 3, 27, 12, tzinfo=UTC), "2026-03-30", datetime(2026, 3, 30, 8, tzinfo=UTC)),
        (datetime(2026, 10, 23, 12, tzinfo=UTC), "2026-10-26", datetime(2026, 10, 26, 9, tzinfo=UTC)),
    ],
)
def test_the_hours_are_right_after_clocks_have_changed(
    client: Browser, desk: Desk, clock: FixedClock, number: str, today: datetime, day: str, opens: datetime
) -> None:
    clock.at = today
    bring_to(desk, number, "ready")
    choose(client, own_path(desk, number), number, way="collect", day=day)

    (event,) = events(client, own_path(desk, number))
    assert event.decoded("DTSTART") == opens


def test_a_changed_day_is_the_same_event_in_a_later_version(client: Browser, desk: Desk, ready: str) -> None:
    own = own_path(desk, ready)
    choose(client, own, ready, way="collect", day="2026-03-05")
    (first,) = events(client, own)
    choose(client, own, ready, way="send", person="Mr Quill", day="2026-03-09")
    (second,) = events(client, own)

    assert second["UID"] == first["UID"]
    assert second["SEQUENCE"] > first["SEQUENCE"]
    assert second.decoded("DTSTART").date() == date(2026, 3, 9)
    assert "Quill" not in client.get(f"{own}/collect.ics").text


def test_a_day_that_is_called_off_is_cancelled_in_the_calendar(client: Browser, desk: Desk, ready: str) -> None:
    own = own_path(desk, ready)
    choose(client, own, ready, way="collect", day="2026-03-05")
    choose(client, own, ready, way="post", address=HOME, confirmed="1")
    (posted,) = events(client, own)
    choose(client, own, ready, way="collect", day="2026-03-06")
    moves.move(desk, BENCH, ready, "testing", why="The fan is loud.")
    (undone,) = events(client, own)

    assert (posted["STATUS"], posted["SEQUENCE"]) == ("CANCELLED", 1)
    assert (undone["STATUS"], undone["SEQUENCE"]) == ("CANCELLED", 3)


def test_where_no_day_was_chosen_there_is_no_calendar_file(client: Browser, desk: Desk, ready: str) -> None:
    own = own_path(desk, ready)
    assert client.get(f"{own}/collect.ics").status_code == 404
    choose(client, own, ready, way="send", person="Ben")
    assert client.get(f"{own}/collect.ics").status_code == 404


def test_a_name_with_commas_and_breaks_stays_one_line_of_the_calendar(client: Browser, desk: Desk) -> None:
    """RFC 5545 sections 3.1 and 3.3.11: octets are folded, never inside of a letter."""
    device = "Phone; “Größe 5”, the \\ one 🙂 " + "ü" * 60
    number = take_in(desk, BENCH, NewVisit([NewDevice(device, "Dark")], name="Ada", email="a@example.org")).numbers[0]
    bring_to(desk, number, "ready")
    own = own_path(desk, number)
    choose(client, own, number, way="collect", day="2026-03-05")

    (event,) = events(client, own)
    assert event["SUMMARY"] == f"Collect {ticket_of(desk, number).device} ({spoken(number)})"
    raw = client.get(f"{own}/collect.ics").data
    assert all(len(line) <= 75 and line.decode() is not None for line in raw.split(b"\r\n"))


# Giving it up


def wish(client: Browser, path: str, number: str, **typed: object) -> TestResponse:
    return client.post(f"{path}/give-up/{spoken(number)}", data=typed)


@on_both
def test_the_owner_gives_a_device_up_by_typing_a_word_and_takes_it_back(
    client: Browser, desk: Desk, number: str
) -> None:
    own = own_path(desk, number)
    assert f"{own}/give-up/{spoken(number)}" in client.get(own).text
    assert "goes to a licensed recycler" in client.get(f"{own}/give-up/{spoken(number)}").text
    answer = wish(client, own, number, gives_up="1", data="destroy", word="yes <b>")
    assert answer.status_code == 422
    assert "type GIVE UP" in answer.text
    assert 'value="yes &lt;b&gt;"' in answer.text

    answer = wish(client, own, number, gives_up="1", data="destroy", word="give up")
    assert answer.status_code == 303
    assert "You told us what you wish:" in client.get(answer.location).text

    assert client.post(f"{own}/give-up/{spoken(number)}/back").status_code == 303
    assert "This is what I wish" in client.get(f"{own}/give-up/{spoken(number)}").text


def test_nobody_but_the_owner_by_their_own_link_gives_it_up(
    client: Browser, desk: Desk, taken_in: TakenIn, number: str
) -> None:
    second = Second("Ben", "ben@example.org", may_be_told=True, may_agree=True, may_collect=True)
    shared = take_in(desk, BENCH, NewVisit([NewDevice("Phone", "Dark")], name="Ada", second=second)).numbers[0]
    with desk.reading() as connection:
        ben = visits.contacts_of(connection, find(connection, shared).visit_id)[1]
    for path, of in (
        (path_of(taken_in.link), number),
        (path_of(desk.links.customer(LinkKind.CONTACT, ben.ref, ben.link_version)), shared),
    ):
        assert "give-up" not in client.get(path).text
        assert 'name="word"' not in client.get(f"{path}/give-up/{spoken(of)}").text
        assert wish(client, path, of, gives_up="1", data="destroy", word="GIVE UP").status_code == 403
