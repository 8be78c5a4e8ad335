"""The keeper's pages of the formal path: letters written, printed, saved, posted, taken back; typed text is kept."""

from __future__ import annotations

import io
from datetime import timedelta

import pytest
from PIL import Image
from werkzeug.test import TestResponse

from notifications.instants import FixedClock
from portal.actions import moves
from portal.actions.collection import remind
from portal.actions.desk import Desk
from portal.actions.photo_hiding import hide
from portal.main import Installation
from portal.rules.numbers import spoken
from portal.rules.picture_parts import Part
from portal.store import formal_notices, photos
from portal.store.formal_notices import Kept
from tests.actions.aftermath import ticket_of
from tests.actions.bench import bring_to
from tests.actions.test_formal_notices import put_in_force
from tests.conftest import BENCH
from tests.web.browser import Browser, hidden_fields
from tests.web.conftest import on_both

LETTER = {
    "kind": "collect",
    "recipient": "Ada Marsh",
    "address": "12 Harbour Rise\nQuayhaven",
    "goods": "Handheld console, blue",
    "held_at": "1 Example Lane, Exampleton",
    "owed": "48.50",
    "owed_for": "The repair, as agreed",
    "satisfied": "1",
    "was_due": "1",
    "checked": "1",
}


@pytest.fixture
def ready(desk: Desk, number: str) -> str:
    """A device that is ready, in a shop whose policy names the law."""
    put_in_force(desk)
    bring_to(desk, number, "ready")
    return number


def send(browser: Browser, number: str, to: str = "", **fields: object) -> TestResponse:
    """Fill in one of the page's forms, and send it."""
    page = f"/shop/notices/{spoken(number)}"
    action = page + to
    return browser.post(action, data=hidden_fields(browser.get(page).text, action) | fields)


def newest(desk: Desk, number: str) -> Kept:
    with desk.reading() as connection:
        return formal_notices.of_ticket(connection, ticket_of(desk, number).id)[0]


@on_both
def test_a_letter_is_written_read_saved_posted_and_taken_back(
    keeper_client: Browser, desk: Desk, clock: FixedClock, ready: str
) -> None:
    assert send(keeper_client, ready, **LETTER).status_code == 303
    notice = newest(desk, ready)
    base = f"/shop/notices/{spoken(ready)}/{notice.id}"

    letter = keeper_client.get(f"{base}/letter").text
    for particular in (
        "A small repair shop",
        "1 Example Lane, Exampleton",
        "Ada Marsh",
        "12 Harbour Rise",
        "Handheld console, blue",
        "Mon, 2 Mar 2026",
        "£48.50",
        "The repair, as agreed",
        "By recorded post",
    ):
        assert particular in letter
    saved = keeper_client.get(f"{base}/file")
    assert saved.headers["Content-Disposition"].startswith("attachment; filename=notice-collect-")

    assert (
        send(keeper_client, ready, f"/{notice.id}/posted", posted_on="2026-03-02", reference="RN 1 GB").status_code
        == 303
    )
    assert "posted on Mon, 2 Mar 2026 as RN 1 GB" in keeper_client.get(f"/shop/notices/{spoken(ready)}").text
    clock.at += timedelta(days=10)
    keeper_client.log_in("Kim")
    send(keeper_client, ready, **LETTER | {"kind": "sell"})
    second = newest(desk, ready)
    assert "17 Jun 2026" in keeper_client.get(f"/shop/notices/{spoken(ready)}/{second.id}/letter").text

    assert send(keeper_client, ready, f"/{second.id}/back", because="paid").status_code == 303
    assert newest(desk, ready).taken_back


def test_what_is_missing_is_told_and_what_was_typed_is_kept(keeper_client: Browser, ready: str) -> None:
    answer = send(keeper_client, ready, **LETTER | {"address": "", "goods": "<b>Console</b>", "owed": ""})

    assert answer.status_code == 422
    assert "Still missing: The owner’s proper address, to post it to." in answer.text
    assert "Still missing: What is owed for them" in answer.text
    assert 'value="&lt;b&gt;Console&lt;/b&gt;"' in answer.text
    assert 'name="was_due" value="1" checked' in answer.text


def test_a_posting_that_cannot_be_keeps_what_was_typed(keeper_client: Browser, desk: Desk, ready: str) -> None:
    send(keeper_client, ready, **LETTER)
    notice = newest(desk, ready)

    answer = send(keeper_client, ready, f"/{notice.id}/posted", posted_on="2026-03-03", reference="RN 9")

    assert answer.status_code == 422
    assert "is still to come" in answer.text
    assert 'value="RN 9"' in answer.text


def test_the_proof_of_posting_is_kept_as_a_photo_for_the_bench(keeper_client: Browser, desk: Desk, ready: str) -> None:
    send(keeper_client, ready, **LETTER)
    notice, picture = newest(desk, ready), io.BytesIO()
    Image.new("RGB", (40, 30), "white").save(picture, "JPEG")
    picture.seek(0)

    answer = send(
        keeper_client,
        ready,
        f"/{notice.id}/posted",
        posted_on="2026-03-02",
        reference="RN 1 GB",
        photo=(picture, "proof.jpg"),
    )

    assert answer.status_code == 303
    with desk.reading() as connection:
        kept = photos.of_ticket(connection, ticket_of(desk, ready).id)
    assert [(photo.audience, photo.ref) for photo in kept] == [("bench", newest(desk, ready).proof)]


def test_the_proof_is_found_after_parts_of_it_were_hidden_and_led_to_no_more_once_it_is_gone(
    keeper_client: Browser, desk: Desk, installation: Installation, ready: str
) -> None:
    send(keeper_client, ready, **LETTER)
    notice, picture = newest(desk, ready), io.BytesIO()
    Image.new("RGB", (400, 300), "white").save(picture, "JPEG")
    picture.seek(0)
    posted = {"posted_on": "2026-03-02", "reference": "RN 1 GB", "photo": (picture, "proof.jpg")}
    send(keeper_client, ready, f"/{notice.id}/posted", **posted)
    base, proof = f"/bench/{spoken(ready)}/photos", newest(desk, ready).proof or ""
    assert f'href="{base}/{proof}"' in keeper_client.get(f"/shop/notices/{spoken(ready)}").text

    hide(desk, installation.photo_files, BENCH, ready, proof, [Part(0, 0, 50, 50)])

    with desk.reading() as connection:
        now_called = photos.of_ticket(connection, ticket_of(desk, ready).id)[0].ref
    assert now_called != proof
    page = keeper_client.get(f"/shop/notices/{spoken(ready)}").text
    assert f'href="{base}/{now_called}"' in page
    assert keeper_client.get(f"{base}/{now_called}").status_code == 200
    with desk.writing() as connection:
        photos.remove(connection, now_called)
    assert "Proof of posting" not in keeper_client.get(f"/shop/notices/{spoken(ready)}").text


def test_the_log_of_attempts_tells_of_the_letters_and_leads_here(
    keeper_client: Browser, desk: Desk, clock: FixedClock, ready: str
) -> None:
    send(keeper_client, ready, **LETTER)
    notice = newest(desk, ready)
    assert "Notice to collect" not in keeper_client.get(f"/bench/{spoken(ready)}/attempts").text

    clock.at += timedelta(hours=30)
    keeper_client.log_in("Kim")
    send(keeper_client, ready, f"/{notice.id}/posted", posted_on="2026-03-02", reference="RN 1 GB")

    page = keeper_client.get(f"/bench/{spoken(ready)}/attempts").text
    assert "Notice to collect, posted on Mon, 2 Mar 2026" in page  # and not the day on which that was entered
    assert "by recorded post" in page
    assert "Notice to collect" in page
    assert "RN 1 GB" in page
    assert f"/shop/notices/{spoken(ready)}" in page


def test_today_tells_the_keeper_what_nobody_collects_and_which_day_has_come(
    keeper_client: Browser, staff_client: Browser, desk: Desk, clock: FixedClock, ready: str
) -> None:
    remind(desk, clock.now())
    clock.at += timedelta(days=29)
    remind(desk, clock.now())
    keeper_client.log_in("Kim")
    staff_client.log_in("Robin")
    assert "reminded to the end" in keeper_client.get("/bench/today").text
    assert "reminded to the end" not in staff_client.get("/bench/today").text

    posting = {"posted_on": clock.now().date().isoformat(), "reference": "RN 1"}
    send(keeper_client, ready, **LETTER)
    send(keeper_client, ready, f"/{newest(desk, ready).id}/posted", **posting)
    assert "Nobody collects" not in keeper_client.get("/bench/today").text
    clock.at += timedelta(days=7)
    keeper_client.log_in("Kim")
    send(keeper_client, ready, **LETTER | {"kind": "sell"})
    posting["posted_on"] = clock.now().date().isoformat()
    send(keeper_client, ready, f"/{newest(desk, ready).id}/posted", **posting)
    clock.at += timedelta(days=100)
    keeper_client.log_in("Kim")

    page = keeper_client.get("/bench/today").text
    assert "the notice named Sun, 12 Jul 2026" in page  # posted on 7 April, there on the 11th
    assert "Nothing happens by itself." in page


def test_without_a_law_there_is_no_form_and_no_pack(keeper_client: Browser, desk: Desk, number: str) -> None:
    bring_to(desk, number, "ready")

    page = keeper_client.get(f"/shop/notices/{spoken(number)}").text

    assert "names no law for this" in page
    assert "<form" not in page.partition("<main")[2]
    assert keeper_client.get("/shop/notices/law").status_code == 404


def test_the_pack_prints_how_far_each_point_was_looked_up(keeper_client: Browser, ready: str) -> None:
    page = keeper_client.get("/shop/notices/law").text

    assert "only read in others’ words" in page
    assert "s. 12(3) · read in the statute" in page
    assert "Not checked by the keeper yet." in page
    send(keeper_client, ready, **LETTER)
    assert "Checked by the keeper: Mon, 2 Mar 2026" in keeper_client.get("/shop/notices/law").text


def test_a_dispute_takes_the_forms_away(keeper_client: Browser, desk: Desk, ready: str) -> None:
    send(keeper_client, ready, **LETTER)
    moves.hold(desk, BENCH, ready, "dispute")

    page = keeper_client.get(f"/shop/notices/{spoken(ready)}").text

    assert "counts no more: the owner disputes it" in page
    assert "It was posted" not in page
    assert "Write the letter" not in page


def test_an_owner_who_cannot_be_traced_and_what_was_done(keeper_client: Browser, desk: Desk, ready: str) -> None:
    answer = send(keeper_client, ready, "/untraced", words="Two letters came back.", satisfied="1")
    assert answer.status_code == 303
    assert "Two letters came back." in keeper_client.get(f"/shop/notices/{spoken(ready)}").text

    answer = send(keeper_client, ready, "/sold", on="2026-03-02", proceeds="many", costs="0", advice="A court", rest="")
    assert answer.status_code == 422
    assert 'value="many"' in answer.text
    fields = {
        "on": "2026-03-02",
        "proceeds": "80",
        "costs": "4",
        "advice": "The county court",
        "rest": "Paid into court",
    }
    assert send(keeper_client, ready, "/sold", **fields).status_code == 303

    assert "Sold by law" in keeper_client.get(f"/bench/{spoken(ready)}").text


def test_nobody_at_the_bench_opens_it(staff_client: Browser, ready: str) -> None:
    assert staff_client.get(f"/shop/notices/{spoken(ready)}").status_code == 403


def test_a_letter_of_another_repair_is_not_found(keeper_client: Browser, ready: str) -> None:
    assert keeper_client.get(f"/shop/notices/{spoken(ready)}/77/letter").status_code == 404
    assert keeper_client.get(f"/shop/notices/{spoken(ready)}/77/file").status_code == 404
