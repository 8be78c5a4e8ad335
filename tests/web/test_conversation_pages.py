"""Talking back on pages: the customer writes, with a photo or without; the bench sees it, reads it, answers it."""

from __future__ import annotations

import io
from collections.abc import Iterator

import pytest

from portal.actions import conversation
from portal.actions.desk import By, Desk, find
from portal.actions.handover import return_unrepaired
from portal.actions.intake import NewDevice, NewVisit, Second, TakenIn, take_in
from portal.actions.links import renew_docket
from portal.main import Installation
from portal.pictures import worker
from portal.rules.conversation import LONGEST, MOST_FREELY, Writer
from portal.rules.numbers import spoken
from portal.rules.tokens import LinkKind
from portal.store import journal, photos, visits
from portal.store.journal import Entry
from tests.conftest import BENCH
from tests.pictures.samples import as_bytes, four_corners
from tests.web.browser import Browser, hidden, hidden_fields
from tests.web.conftest import on_both
from tests.web.test_customer_docket import own_path, path_of


@pytest.fixture(autouse=True)
def _no_child_is_left() -> Iterator[None]:
    yield
    worker.dismiss()


def entries(desk: Desk, number: str) -> list[Entry]:
    with desk.reading() as connection:
        return journal.entries(connection, find(connection, number).id)


def page_of(desk: Desk, number: str) -> str:
    """Where the owner writes, by their own link."""
    return f"{own_path(desk, number)}/write/{spoken(number)}"


def send(browser: Browser, page: str, text: str = "Is it ready?", **fields: object):
    key = hidden(browser.get(page).text, "deed_key")
    return browser.post(page, data={"deed_key": key, "text": text} | fields, content_type="multipart/form-data")


def picture(data: bytes | None = None) -> tuple[io.BytesIO, str]:
    return io.BytesIO(as_bytes(four_corners()) if data is None else data), "IMG_1.jpg"


@pytest.fixture
def wrote(installation: Installation, number: str) -> str:
    """The number of a ticket whose owner has written."""
    conversation.write(installation.desk, installation.photo_files, number, Writer.OWNER, "Is it <ready>?")
    return number


# The customer writes


@on_both
def test_a_customer_writes_and_reads_it_on_the_page(client: Browser, desk: Desk, number: str) -> None:
    page = page_of(desk, number)
    assert f'href="{page}"' in client.get(own_path(desk, number)).text

    answer = send(client, page, "Is it <ready>?\nI come by on Friday.")

    assert answer.status_code == 303
    shown = client.get(answer.headers["Location"]).text
    assert "We have it." in shown
    assert "Is it &lt;ready&gt;?" in shown
    assert (entries(desk, number)[-1].event, entries(desk, number)[-1].data) == ("wrote", {"writer": "owner"})
    docket = client.get(own_path(desk, number)).text
    assert "You wrote:" in docket
    assert "I come by on Friday." in docket


def test_the_dockets_link_and_a_second_person_write_under_their_own_name(client: Browser, desk: Desk) -> None:
    second = Second(name="Eve", email="eve@example.org", may_be_told=True)
    taken = take_in(desk, BENCH, NewVisit([NewDevice("Phone", "")], email="ada@example.org", second=second))
    number = taken.numbers[0]
    with desk.reading() as connection:
        eve = visits.contacts_of(connection, find(connection, number).visit_id)[1]
    hers = path_of(desk.links.customer(LinkKind.CONTACT, eve.ref, eve.link_version))

    for path in (path_of(taken.link), hers):
        assert send(client, f"{path}/write/{spoken(number)}").status_code == 303

    assert [entry.data["writer"] for entry in entries(desk, number)[-2:]] == ["docket", "second"]


@on_both
def test_a_photo_comes_along_and_both_sides_see_it(
    client: Browser, staff_client: Browser, desk: Desk, number: str
) -> None:
    page = page_of(desk, number)

    assert send(client, page, "Look at this.", photo=picture()).status_code == 303

    with desk.reading() as connection:
        (photo,) = photos.of_ticket(connection, find(connection, number).id)
    assert photo.by_customer
    theirs = f"{own_path(desk, number)}/photos/{photo.ref}-large.jpg"
    assert theirs in client.get(page).text
    assert client.get(theirs).mimetype == "image/jpeg"
    assert "From you" in client.get(f"{own_path(desk, number)}/photos").text
    assert f"photos/{photo.ref}-small.jpg" in staff_client.get(f"/bench/{spoken(number)}/conversation").text
    assert "from the customer" in staff_client.get(f"/bench/{spoken(number)}/photos").text


def test_the_same_form_twice_counts_once(client: Browser, desk: Desk, number: str) -> None:
    page = page_of(desk, number)
    typed = {"text": "Hello", "deed_key": hidden(client.get(page).text, "deed_key")}

    assert [client.post(page, data=typed).status_code for _each in range(2)] == [303, 303]
    assert [entry.event for entry in entries(desk, number)] == ["arrived", "wrote"]


@pytest.mark.parametrize(
    ("fields", "status", "told"),
    [
        ({"text": " "}, 422, "What you write is missing"),
        ({"text": "x" * (LONGEST + 1)}, 422, f"at most {LONGEST} fit"),
        ({"text": "My PIN is 4711"}, 422, "looks like a passcode"),
        ({"text": "Look", "photo": picture(b"")}, 303, ""),  # a browser that sends an empty file sends words alone
        ({"text": "Look", "photo": picture(b"no picture")}, 422, "not a picture"),
        ({"text": "\x00\u202e"}, 422, "is missing"),
    ],
    ids=["nothing", "too long", "passcode", "empty photo", "no photo", "nothing that can be seen"],
)
def test_what_does_not_fit_is_refused_with_the_words_kept(
    client: Browser, desk: Desk, number: str, fields: dict, status: int, told: str
) -> None:
    answer = send(client, page_of(desk, number), **fields)

    assert answer.status_code == status
    if status == 422:
        assert told in answer.text
        assert fields["text"].strip("\x00\u202e ") in answer.text
        assert [entry.event for entry in entries(desk, number)] == ["arrived"]
        assert ("choose the photo again" in answer.text) == ("photo" in fields)


def test_a_passcode_is_sent_only_when_it_is_confirmed(client: Browser, desk: Desk, number: str) -> None:
    answer = send(client, page_of(desk, number), "My PIN is 4711")
    confirmed = hidden(answer.text, "confirmed")

    assert send(client, page_of(desk, number), "My PIN is 4711", confirmed=confirmed).status_code == 303


def test_who_writes_too_often_is_told_to_wait_and_keeps_the_words(client: Browser, desk: Desk, number: str) -> None:
    page = page_of(desk, number)
    for place in range(MOST_FREELY):
        assert send(client, page, f"Word {place}").status_code == 303

    answer = send(client, page, "One word more")

    assert answer.status_code == 429
    assert "tried too often" in answer.text
    assert "One word more" in answer.text


def test_nobody_writes_about_anothers_device_or_by_a_dead_link(client: Browser, desk: Desk, taken_in: TakenIn) -> None:
    number = taken_in.numbers[0]
    other = take_in(desk, BENCH, NewVisit([NewDevice("Phone", "")], email="eve@example.org")).numbers[0]
    assert client.post(f"{own_path(desk, number)}/write/{spoken(other)}", data={"text": "x"}).status_code == 404
    renew_docket(desk, BENCH, number)

    assert client.post(f"{path_of(taken_in.link)}/write/{spoken(number)}", data={"text": "x"}).status_code == 410
    assert [entry.event for entry in entries(desk, other)] == ["arrived"]


def test_once_the_device_has_left_there_is_no_form(client: Browser, desk: Desk, number: str) -> None:
    return_unrepaired(desk, BENCH, number, "No parts.")

    page = client.get(page_of(desk, number)).text

    assert "<textarea" not in page
    assert "has left the shop" in page
    assert client.post(page_of(desk, number), data={"text": "x"}).status_code == 422


def test_another_sites_form_writes_nothing(client: Browser, desk: Desk, number: str) -> None:
    headers = {"Origin": "https://elsewhere.example"}

    assert client.post(page_of(desk, number), data={"text": "x"}, headers=headers).status_code == 403


# The bench reads and answers


@on_both
def test_unread_words_stand_out_on_the_list_today_and_the_ticket(staff_client: Browser, wrote: str) -> None:
    at = f"/bench/{spoken(wrote)}"

    assert "the customer wrote" in staff_client.get("/bench/").text
    assert "1 thing waits for you today" in staff_client.get("/bench/").text
    today = staff_client.get("/bench/today").text
    assert "Customers wrote" in today
    assert "Is it &lt;ready&gt;?" in today
    assert f'href="{at}/conversation"' in today
    assert "Read and answer" in staff_client.get(at).text


def post(browser: Browser, number: str, form: str, **fields: object):
    at = f"/bench/{spoken(number)}/conversation"
    return browser.post(f"{at}/{form}", data=hidden_fields(browser.get(at).text, f"{at}/{form}") | fields)


@on_both
def test_an_answer_is_read_by_the_customer_and_nothing_waits_any_more(
    client: Browser, staff_client: Browser, desk: Desk, wrote: str
) -> None:
    answer = post(staff_client, wrote, "answer", text="On Friday.")

    assert answer.status_code == 303
    assert "The answer is on its way." in staff_client.get(answer.headers["Location"]).text
    assert "On Friday." in client.get(page_of(desk, wrote)).text
    assert "the customer wrote" not in staff_client.get("/bench/").text
    assert "Customers wrote" not in staff_client.get("/bench/today").text
    assert "Told: an answer" in staff_client.get(f"/bench/{spoken(wrote)}").text


def test_what_needs_no_answer_is_marked_as_read(staff_client: Browser, desk: Desk, wrote: str) -> None:
    assert post(staff_client, wrote, "read").status_code == 303

    assert "needs no answer" not in staff_client.get(f"/bench/{spoken(wrote)}/conversation").text
    assert entries(desk, wrote)[-1].event == "words_read"


def test_what_was_said_elsewhere_is_theirs_on_their_page(
    client: Browser, staff_client: Browser, desk: Desk, number: str
) -> None:
    assert post(staff_client, number, "said", how="phone", text="Go ahead.").status_code == 303

    page = client.get(own_path(desk, number)).text
    assert "You told us on the telephone:" in page
    assert "Go ahead." in page


@pytest.mark.parametrize(
    ("form", "fields", "told"),
    [
        ("answer", {"text": ""}, "The answer is missing"),
        ("answer", {"text": "The PIN is 4711"}, "looks like a passcode"),
        ("said", {"how": "", "text": "Go ahead."}, "Choose how the customer said it"),
        ("said", {"how": "phone", "text": ""}, "What the customer said is missing"),
    ],
)
def test_what_the_bench_typed_comes_back_with_a_refusal(
    staff_client: Browser, desk: Desk, wrote: str, form: str, fields: dict, told: str
) -> None:
    answer = post(staff_client, wrote, form, **fields)

    assert answer.status_code == 422
    assert told in answer.text
    assert fields["text"] in answer.text
    assert entries(desk, wrote)[-1].event == "wrote"


def test_what_the_customer_wrote_meanwhile_is_shown_before_an_answer_goes(
    staff_client: Browser, installation: Installation, wrote: str
) -> None:
    at = f"/bench/{spoken(wrote)}/conversation"
    opened = hidden_fields(staff_client.get(at).text, f"{at}/answer")
    conversation.write(installation.desk, installation.photo_files, wrote, Writer.OWNER, "I was told on the phone.")

    answer = staff_client.post(f"{at}/answer", data=opened | {"text": "On Friday."})

    assert answer.status_code == 409
    assert "Somebody was here meanwhile" in answer.text
    assert "I was told on the phone." in answer.text
    assert "On Friday." in answer.text


def test_a_customer_never_reads_who_of_the_staff_answered(
    client: Browser, desk: Desk, wrote: str, technician: By
) -> None:
    conversation.answer(desk, technician, wrote, "On Friday.")
    conversation.rang(desk, technician, wrote, "reached", "Sounded cross.")

    page = client.get(page_of(desk, wrote)).text
    assert "Robin" not in page
    assert "cross" not in page
