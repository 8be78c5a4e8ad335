"""What a script sends one by one, at once or later: once each, answered for the script, and sealed until then."""

from __future__ import annotations

import io

import pytest
from PIL import Image
from werkzeug.test import TestResponse

from portal.actions import people
from portal.actions.desk import By, Desk, find
from portal.actions.handover import return_unrepaired
from portal.rules.numbers import spoken, with_check
from portal.store import journal
from tests.actions.photo_shelf import kept
from tests.conftest import BENCH
from tests.pictures.conftest import _no_child_is_left  # noqa: F401 (here too)
from tests.pictures.samples import as_bytes, sharp
from tests.web.browser import PASSWORD, Browser

KEY = "0123456789abcdef0123456789abcdef"


@pytest.fixture(scope="module")
def picture() -> bytes:
    """A sharp, bright picture."""
    return sharp()


@pytest.fixture(scope="module")
def dark() -> bytes:
    """A picture taken with the lights off."""
    return as_bytes(Image.new("RGB", (400, 300), (4, 4, 4)))


def send_photo(browser: Browser, number: str, data: bytes, **typed: str) -> TestResponse:
    fields = {"csrf_token": browser.get("/bench/waiting").json["token"], "deed_key": KEY} | typed
    return browser.post(
        f"/bench/{spoken(number)}/waiting/photo",
        data=fields | {"photo": (io.BytesIO(data), "IMG_0001.HEIC")},
        content_type="multipart/form-data",
    )


def send_note(browser: Browser, number: str, **typed: str) -> TestResponse:
    token = browser.get("/bench/waiting").json["token"]
    return browser.post(
        f"/bench/{spoken(number)}/waiting/note",
        data={"csrf_token": token, "deed_key": KEY, "audience": "bench"} | typed,
    )


def notes(desk: Desk, number: str) -> list[str]:
    with desk.reading() as connection:
        entries = journal.entries(connection, find(connection, number).id)
    return [entry.text for entry in entries if entry.event == "noted"]


def test_a_photo_sent_twice_under_one_key_is_kept_once(
    staff_client: Browser, desk: Desk, number: str, picture: bytes
) -> None:
    answers = [send_photo(staff_client, number, picture, moment="before", caption="The back") for _ in range(2)]

    assert [answer.json["done"] for answer in answers] == [True, True]
    assert [(photo.moment, photo.caption) for photo in kept(desk, number)] == [("before", "The back")]


def test_the_page_for_where_there_is_no_line_is_the_same_for_everybody_and_names_nobody(
    staff_client: Browser, keeper_client: Browser, number: str
) -> None:
    told = [browser.get("/bench/waiting").json["shell"] for browser in (staff_client, keeper_client)]
    pages = [browser.get(shell["page"]) for browser, shell in zip((staff_client, keeper_client), told, strict=True)]

    assert told[0] == told[1]
    assert pages[0].text == pages[1].text
    for somebodys in ("Robin", "Kim", "csrf", spoken(number)):
        assert somebodys not in pages[0].text
    assert [staff_client.get(part).status_code for part in told[0]["parts"]] == [200] * len(told[0]["parts"])


def test_it_is_of_another_make_in_another_language(staff_client: Browser) -> None:
    makes = {
        staff_client.get("/bench/waiting", headers={"Accept-Language": tag}).json["shell"]["make"]
        for tag in ("en", "de")
    }

    assert len(makes) == 2


def test_the_script_that_shows_it_lies_where_it_answers_for_the_bench_alone(staff_client: Browser) -> None:
    answer = staff_client.get(staff_client.get("/bench/waiting").json["shell"]["worker"])

    assert (answer.request.path, answer.status_code) == ("/bench/worker.js", 200)
    assert answer.headers["Cache-Control"] == "no-store"
    assert answer.content_type.startswith("text/javascript")
    assert "Service-Worker-Allowed" not in answer.headers


def test_it_is_the_benchs_own_unless_it_says_that_the_customer_may_see_it(
    staff_client: Browser, desk: Desk, number: str, picture: bytes
) -> None:
    send_photo(staff_client, number, picture)
    send_photo(staff_client, number, picture, audience="customer", deed_key=KEY[::-1])

    assert [photo.audience for photo in kept(desk, number)] == ["bench", "customer"]


def test_a_dark_photo_is_asked_about_and_used_at_a_word(
    staff_client: Browser, desk: Desk, number: str, dark: bytes
) -> None:
    asked = send_photo(staff_client, number, dark)

    assert (asked.status_code, asked.json["ask_first"]) == (422, True)
    assert "seems very dark" in asked.json["reasons"][0]
    assert send_photo(staff_client, number, dark, confirmed="1").json["done"]
    assert len(kept(desk, number)) == 1


def test_what_is_no_picture_is_refused_with_a_sentence(staff_client: Browser, desk: Desk, number: str) -> None:
    answer = send_photo(staff_client, number, b"no picture")

    assert (answer.status_code, answer.json["done"], answer.json["ask_first"]) == (422, False, False)
    assert answer.json["reasons"] == [
        "This is not a picture the shop can read. Please send a JPEG, PNG, WebP, HEIC or AVIF picture."
    ]


def test_a_form_without_a_photo_is_told_so(staff_client: Browser, number: str) -> None:
    token = staff_client.get("/bench/waiting").json["token"]

    answer = staff_client.post(f"/bench/{spoken(number)}/waiting/photo", data={"csrf_token": token, "deed_key": KEY})

    assert (answer.status_code, answer.json["done"]) == (422, False)


@pytest.mark.parametrize("key", ["", "too short", "' or 1=1 --'; drop table photos;"])
def test_what_has_no_key_of_its_own_is_not_taken(
    staff_client: Browser, desk: Desk, number: str, picture: bytes, key: str
) -> None:
    assert send_photo(staff_client, number, picture, deed_key=key).status_code == 400
    assert send_note(staff_client, number, text="It hums", deed_key=key).status_code == 400
    assert (kept(desk, number), notes(desk, number)) == ([], [])


def test_a_ticket_that_has_ended_meanwhile_takes_no_photo_and_says_why(
    staff_client: Browser, desk: Desk, number: str, picture: bytes
) -> None:
    return_unrepaired(desk, BENCH, number, why="As it came")

    answer = send_photo(staff_client, number, picture)

    assert answer.status_code == 422
    assert "has ended" in answer.json["reasons"][0]


def test_a_ticket_that_there_is_not_is_a_refusal_too(staff_client: Browser, picture: bytes) -> None:
    answer = send_photo(staff_client, with_check("999"), picture)

    assert (answer.status_code, answer.json["done"]) == (404, False)
    assert answer.json["reasons"]


def test_a_note_that_waited_is_written_once_whatever_happened_meanwhile(
    staff_client: Browser, desk: Desk, number: str
) -> None:
    answers = [send_note(staff_client, number, text="It hums when warm") for _ in range(2)]

    assert [answer.json["done"] for answer in answers] == [True, True]
    assert notes(desk, number) == ["It hums when warm"]


def test_a_note_that_may_give_a_passcode_away_is_asked_about(staff_client: Browser, desk: Desk, number: str) -> None:
    asked = send_note(staff_client, number, text="passcode 4711")

    assert (asked.status_code, asked.json["ask_first"]) == (422, True)
    assert notes(desk, number) == []
    assert send_note(staff_client, number, text="passcode 4711", confirmed="1").json["done"]


def test_the_key_stays_the_persons_own_over_logins(app, staff_client: Browser, keeper_client: Browser) -> None:
    mine = staff_client.get("/bench/waiting").json
    again = app.test_client()
    again.log_in("Robin")

    assert len(bytes.fromhex(mine["key"])) == 32
    assert [again.get("/bench/waiting").json[name] for name in ("owner", "key")] == [mine["owner"], mine["key"]]
    theirs = keeper_client.get("/bench/waiting").json
    assert theirs["owner"] != mine["owner"]
    assert theirs["key"] != mine["key"]


def test_ending_ones_logins_makes_the_key_of_before_worthless(
    app, staff_client: Browser, desk: Desk, technician: By
) -> None:
    before = staff_client.get("/bench/waiting").json
    people.end_logins(desk, technician, PASSWORD)
    again = app.test_client()
    again.log_in("Robin")

    after = again.get("/bench/waiting").json

    assert after["owner"] == before["owner"]
    assert after["key"] != before["key"]


def test_a_locked_device_is_given_no_key(staff_client: Browser) -> None:
    staff_client.send("/lock", on="/account")

    answer = staff_client.get("/bench/waiting")

    assert (answer.status_code, answer.location) == (302, "/unlock?next=/bench/waiting")
