"""The customer's page: what the holder of a link reads, and what they never do."""

from __future__ import annotations

import gzip
import re
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import timedelta
from random import Random

import pytest
from sqlalchemy import Engine, event

from notifications.instants import FixedClock
from portal.actions import handover, links, moves, notes, payments
from portal.actions.desk import By, Desk
from portal.actions.intake import NewDevice, NewVisit, TakenIn, take_in
from portal.actions.payments import Typed
from portal.actions.price_terms import TypedTerms
from portal.main import Installation
from portal.rules.numbers import spoken
from portal.rules.tokens import ALPHABET
from portal.store import policies, tickets, visits
from tests.actions.bench import WITHOUT_CODE
from tests.conftest import BENCH
from tests.web.browser import Browser
from tests.web.conftest import on_both


def path_of(link: str) -> str:
    return "/t/" + link.rsplit("/", 1)[-1]


def own_path(desk: Desk, number: str) -> str:
    """The path of the owner's own link."""
    with desk.reading() as connection:
        ticket = tickets.by_number(connection, number)
        assert ticket is not None
        owner = visits.contacts_of(connection, ticket.visit_id)[0]
    return path_of(desk.links.customer(links.LinkKind.CONTACT, owner.ref, owner.link_version))


@contextmanager
def counted(engine: Engine) -> Iterator[list[str]]:
    """The statements that are executed meanwhile; the beginning of a transaction is none."""
    seen: list[str] = []

    def note(_connection, _cursor, statement, *_rest) -> None:
        if not statement.startswith("BEGIN"):
            seen.append(statement)

    event.listen(engine, "before_cursor_execute", note)
    yield seen
    event.remove(engine, "before_cursor_execute", note)


@on_both
@pytest.mark.parametrize("link", ["docket", "contact"])
def test_both_kinds_of_link_open_the_page(client: Browser, desk: Desk, taken_in: TakenIn, link: str) -> None:
    path = path_of(taken_in.link) if link == "docket" else own_path(desk, taken_in.numbers[0])

    page = client.get(path)

    assert page.status_code == 200
    assert spoken(taken_in.numbers[0]) in page.text
    assert "Handheld console, blue" in page.text


def test_the_page_tells_where_the_device_stands_since_when_and_what_comes_next(
    client: Browser, desk: Desk, clock: FixedClock, taken_in: TakenIn, number: str
) -> None:
    clock.at += timedelta(days=126, hours=1, minutes=7)  # 6 July, 10:07 UTC: summer time in London
    moves.move(desk, BENCH, number, "board_work")

    page = client.get(path_of(taken_in.link)).text

    assert "We are repairing the circuit board." in page
    assert "Mon, 6 Jul 2026, 11:07" in page
    assert "Next: Testing." in page


def test_each_stage_passed_is_stamped_and_one_left_out_is_said_to_be(
    client: Browser, desk: Desk, taken_in: TakenIn, number: str
) -> None:
    moves.move(desk, BENCH, number, "board_work")

    page = client.get(path_of(taken_in.link)).text

    assert page.count('class="stamp"') == 2
    assert page.count("not needed") == 1
    assert page.count("still to come") == 2


@pytest.mark.parametrize(
    ("hold", "words", "asked"),
    [
        ("approval", "We are waiting for your answer.", True),
        ("customer", "We are waiting to hear from you.", True),
        ("part", "We are waiting for a part.", False),
        ("dispute", "We are settling a question with you.", False),
        ("safety", "The battery is damaged.", False),
    ],
)
def test_a_hold_is_told_in_the_customers_words_and_asked_on_top_where_they_can_end_it(
    client: Browser, desk: Desk, taken_in: TakenIn, number: str, hold: str, words: str, asked: bool
) -> None:
    moves.hold(desk, BENCH, number, hold)

    page = client.get(path_of(taken_in.link)).text

    assert words in page
    assert ('aria-label="What we need from you"' in page) is asked


def test_the_journal_shows_what_is_for_the_customer_and_nothing_of_the_bench(
    client: Browser, desk: Desk, taken_in: TakenIn, number: str, technician: By
) -> None:
    notes.note(desk, technician, number, "Corrosion under the shield, grumpy owner", audience="bench")
    notes.note(desk, technician, number, "A new socket is fitted.\nTests come next.", audience="customer")
    moves.hold(desk, technician, number, "part", why="supplier is late again")

    page = client.get(path_of(taken_in.link)).text

    assert "A new socket is fitted.<br>\nTests come next." in page
    assert "grumpy" not in page
    assert "supplier is late" not in page
    assert "Robin" not in page


def test_the_page_shows_no_contact_data_and_nothing_personal_in_its_title(
    client: Browser, desk: Desk, taken_in: TakenIn, number: str
) -> None:
    for path in (path_of(taken_in.link), own_path(desk, number)):
        page = client.get(path).text
        title = page.partition("<title>")[2].partition("</title>")[0]

        assert title == "Your repair – A small repair shop"
        for secret in ("Ada", "Marsh", "ada@example.org", "900123"):
            assert secret not in page


def test_several_devices_stand_on_one_page(client: Browser, desk: Desk) -> None:
    taken = take_in(desk, BENCH, NewVisit([NewDevice("Radio, walnut", "Hums"), NewDevice("Hand mixer", "Smells")]))

    page = client.get(path_of(taken.link)).text

    for expected in ("Your repairs", "Radio, walnut", "Hand mixer", *map(spoken, taken.numbers)):
        assert expected in page


def test_whoever_holds_a_link_sees_this_visit_and_no_other(client: Browser, desk: Desk, taken_in: TakenIn) -> None:
    take_in(desk, BENCH, NewVisit([NewDevice("Somebody else’s camera", "Shutter sticks")]))

    assert "camera" not in client.get(path_of(taken_in.link)).text


def test_after_handover_the_page_is_short(client: Browser, desk: Desk, taken_in: TakenIn, number: str) -> None:
    notes.note(desk, BENCH, number, "A new socket is fitted.", audience="customer")
    for stage in ("board_work", "testing", "ready"):
        moves.move(desk, BENCH, number, stage, confirmed=True)
    handover.hand_over(desk, BENCH, number, WITHOUT_CODE)

    page = client.get(path_of(taken_in.link)).text

    assert "Your device was handed over." in page
    assert "Mon, 2 Mar 2026, 09:00" in page
    for gone in ("Handheld console", "Does not charge", "socket", "What has happened"):
        assert gone not in page


@pytest.mark.parametrize("place", [0, 5, 12, 36])
def test_a_forged_link_leads_nowhere(client: Browser, taken_in: TakenIn, place: int) -> None:
    path = path_of(taken_in.link)
    wrong = ALPHABET[(ALPHABET.index(path[3 + place]) + 1) % 32]

    page = client.get(path[: 3 + place] + wrong + path[4 + place :])

    assert page.status_code == 404
    assert "/lost" in page.text


@pytest.mark.parametrize(
    "token",
    ["x", "D" * 300, "D%00", "DIIIIIIIIIIIIIIIIIIIIIIIIIIIIIIIIIIIII", "{{7*7}}", "%F0%9F%94%A7", "' or 1=1 --"],
)
def test_what_is_no_token_leads_nowhere(client: Browser, taken_in: TakenIn, token: str) -> None:
    assert client.get(f"/t/{token}").status_code == 404


def test_other_spellings_of_the_token_are_refused_and_case_does_not_matter(client: Browser, desk: Desk) -> None:
    for _visit in range(12):  # until a token has a digit that Crockford's alphabet lets people misread
        path = path_of(take_in(desk, BENCH, NewVisit([NewDevice("Radio", "Hums")])).link)
        assert client.get(path.lower()).status_code == 200
        for digit, letter in (("0", "O"), ("1", "I"), ("1", "L")):
            if digit in path[4:]:
                assert client.get(path[:4] + path[4:].replace(digit, letter)).status_code == 404
        hyphened = client.get(f"{path[:13]}-{path[13:]}")
        assert hyphened.status_code == 404


def test_a_renewed_link_is_gone_and_the_page_says_what_to_do(
    client: Browser, desk: Desk, taken_in: TakenIn, number: str
) -> None:
    other = own_path(desk, number)
    links.renew_docket(desk, BENCH, number)

    page = client.get(path_of(taken_in.link))

    assert page.status_code == 410
    assert "This link has been replaced" in page.text
    assert "/lost" in page.text
    assert client.get(other).status_code == 200  # each link is renewed alone


def test_the_address_of_the_printed_code_opens_the_page(client: Browser, desk: Desk, taken_in: TakenIn) -> None:
    code = taken_in.link.upper()

    page = client.get(code.removeprefix("HTTP://BENCH.TEST"))

    assert page.status_code == 200
    assert spoken(taken_in.numbers[0]) in page.text


def test_the_page_speaks_the_visits_language_and_the_one_asked_for(client: Browser, desk: Desk) -> None:
    german = take_in(desk, BENCH, NewVisit([NewDevice("Radio", "Brummt")], language="de"))
    path = path_of(german.link)

    assert '<html lang="de">' in client.get(path).text
    assert '<html lang="en">' in client.get(f"{path}?lang=en").text
    assert '<html lang="de">' in client.get(f"{path}?lang=tlh").text
    assert '<html lang="de">' in client.get(path, headers={"Accept-Language": "en"}).text


def test_the_headers_keep_the_link_from_everybody_else(client: Browser, taken_in: TakenIn) -> None:
    page = client.get(path_of(taken_in.link))

    assert page.headers["Cache-Control"] == "no-store"
    assert page.headers["Referrer-Policy"] == "same-origin"
    assert "noindex" in page.headers["X-Robots-Tag"]
    assert "Set-Cookie" not in page.headers


def test_the_page_asks_nothing_of_anybody_else(client: Browser, taken_in: TakenIn) -> None:
    page = client.get(path_of(taken_in.link)).text

    for attribute in ("src=", "srcset=", 'rel="stylesheet" href='):
        for part in page.split(attribute)[1:]:
            assert part.startswith('"/static/')


def test_a_login_of_the_staff_changes_nothing_on_the_page(
    client: Browser, staff_client: Browser, taken_in: TakenIn
) -> None:
    path = path_of(taken_in.link)

    assert staff_client.get(path).text == client.get(path).text


@on_both
def test_a_page_takes_at_most_three_statements(
    client: Browser, desk: Desk, installation: Installation, arrival: NewVisit
) -> None:
    several = NewVisit([*arrival.devices, NewDevice("Radio", "Hums")], name="Ada", email="ada@example.org")
    path = path_of(take_in(desk, BENCH, several).link)
    client.get(path)

    for address in (path, f"{path}/state", f"{path}?lang=de"):
        with counted(installation.engine) as statements:
            client.get(address)
        assert len(statements) <= 3, statements


@on_both
def test_the_page_says_what_is_to_be_paid_and_reads_nothing_more_for_it(
    client: Browser, desk: Desk, installation: Installation, keeper: By
) -> None:
    device = NewDevice("Radio", "Hums", price=TypedTerms("fixed price", "48.50"))
    taken = take_in(desk, BENCH, NewVisit([device, NewDevice("Clock", "Stands")], email="ada@example.org"))
    path, number = path_of(taken.link), taken.numbers[0]
    client.get(path)

    with counted(installation.engine) as statements:
        assert client.get(path).text.count("Still to be paid: £48.50.") == 1
    assert len(statements) <= 2, statements
    assert "Noch zu zahlen: 48,50" in client.get(f"{path}?lang=de").text

    payments.take(desk, BENCH, number, Typed("50", "cash"), confirmed=True)
    assert "We owe you £1.50." in client.get(path).text
    payments.give_back(desk, BENCH, number, Typed("1.50", "cash"))
    assert "There is nothing left to pay." in client.get(path).text

    handover.return_unrepaired(desk, keeper, number, "No part", confirmed=True)
    over = client.get(path).text
    assert "We owe you £48.50." in over


def test_an_amount_in_a_currency_that_the_shop_gave_up_is_left_to_its_own_page(client: Browser, desk: Desk) -> None:
    device = NewDevice("Radio", "Hums", price=TypedTerms("fixed price", "48.50"))
    path = path_of(take_in(desk, BENCH, NewVisit([device], email="ada@example.org")).link)
    with desk.writing() as connection:
        document = policies.document(connection, policies.newest(connection)) or ""
        policies.add(connection, document.replace('"GBP"', '"EUR"', 1), desk.clock.now(), None)

    assert "to be paid" not in client.get(path).text


def test_a_page_unchanged_is_known_before_the_journal_is_read(
    client: Browser, installation: Installation, taken_in: TakenIn
) -> None:
    path = path_of(taken_in.link)
    validator = client.get(path).headers["ETag"]

    with counted(installation.engine) as statements:
        answer = client.get(f"{path}/state", headers={"If-None-Match": validator})

    assert (answer.status_code, answer.data) == (304, b"")
    assert len(statements) == 1


@pytest.fixture
def change(desk: Desk, clock: FixedClock, number: str) -> Callable[[str], None]:
    """Changes something that the page shows."""

    def do(what: str) -> None:
        if what == "a note":
            notes.note(desk, BENCH, number, "A new socket is fitted.", audience="customer")
        elif what == "a move":
            moves.move(desk, BENCH, number, "cleaning")
        else:
            clock.at += timedelta(days=1)  # today's hours are other ones

    return do


@pytest.mark.parametrize("what", ["a note", "a move", "the next day"])
def test_a_page_that_changed_is_answered_with_its_new_content(
    client: Browser, taken_in: TakenIn, change: Callable[[str], None], what: str
) -> None:
    path = path_of(taken_in.link)
    validator = client.get(path).headers["ETag"]
    change(what)

    answer = client.get(f"{path}/state", headers={"If-None-Match": validator})

    assert answer.status_code == 200
    assert answer.headers["ETag"] != validator
    assert "<html" not in answer.text
    assert 'class="lines"' in answer.text


def test_another_language_is_another_page_to_the_refresh(client: Browser, taken_in: TakenIn) -> None:
    path = path_of(taken_in.link)
    validator = client.get(path).headers["ETag"]

    assert client.get(f"{path}/state?lang=de", headers={"If-None-Match": validator}).status_code == 200


def test_the_page_and_its_style_come_in_the_first_flight(
    client: Browser, desk: Desk, taken_in: TakenIn, number: str
) -> None:
    """RFC 6928 section 2: 14,600 bytes come without waiting for an answer. Twelve entries, compressed, with headers."""
    for place in range(11):
        words = f"Note {place}: the new socket is fitted at {place * 37} degrees, and pin {place} is clean again."
        notes.note(desk, BENCH, number, words, audience="customer")

    page = client.get(path_of(taken_in.link))
    sheets = [client.get(path).data for path in re.findall(r'rel="stylesheet" href="([^"]+)"', page.text)]

    assert page.text.count("<li><time") == 12
    assert len(sheets) == 2
    assert sum(len(gzip.compress(part)) for part in (page.data, *sheets)) + len(str(page.headers)) < 14_000


def test_reading_changes_nothing(client: Browser, desk: Desk, taken_in: TakenIn, number: str) -> None:
    path = path_of(taken_in.link)
    for method in ("GET", "HEAD", "OPTIONS"):
        for address in (path, f"{path}/state"):
            client.open(address, method=method)

    with desk.reading() as connection:
        ticket = tickets.by_number(connection, number)
        assert ticket is not None
        assert ticket.revision == 1
        assert visits.by_id(connection, ticket.visit_id).revision == 1


def test_hostile_words_are_shown_as_words(client: Browser, desk: Desk) -> None:
    words = "<script>alert(1)</script> {{7*7}} ' OR 1=1; \u202e🔧"
    path = path_of(take_in(desk, BENCH, NewVisit([NewDevice(words, words)])).link)

    page = client.get(path)

    assert page.status_code == 200
    assert "<script>alert" not in page.text
    assert "{{7*7}}" in page.text


def test_guessing_never_finds_a_page(client: Browser, taken_in: TakenIn) -> None:
    chooser = Random(1)
    ref = taken_in.visit_ref
    for _guess in range(50):
        guess = "D" + ref + "".join(chooser.choice(ALPHABET) for _letter in range(26))
        assert client.get(f"/t/{guess}").status_code == 404
