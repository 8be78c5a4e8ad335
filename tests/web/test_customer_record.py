"""The record as the customer sees it: read on a page of its own, answered once, and told again as a report."""

from __future__ import annotations

import gzip
from datetime import timedelta

import pytest
from werkzeug.test import TestResponse

from notifications.instants import FixedClock
from portal.actions import handover, moves, notes, parts, sheet
from portal.actions.desk import By, Desk, find
from portal.actions.intake import NewDevice, NewVisit, Second, TakenIn, take_in
from portal.actions.record import record
from portal.actions.sheet import Typed
from portal.rules.intake_record import CUSTOMER_SAFETY, Item, Mark, Record
from portal.rules.numbers import spoken
from portal.rules.test_sheet import FUNCTION_TEST_ONLY
from portal.rules.tokens import LinkKind
from portal.store import journal, policies, records, visits
from portal.store.records import Version
from tests.actions.bench import WITHOUT_CODE
from tests.conftest import BENCH
from tests.web.browser import Browser
from tests.web.conftest import on_both
from tests.web.test_customer_docket import path_of

WRITTEN = Record(
    shop_sees="Picture socket loose",
    serial="260531793113837",  # the example IMEI of 3GPP TS 23.003 with its check digit
    marks=[Mark("scuffed edge", place="front left")],
    seal="broken",
    items=[Item("power supply", 1), Item("disc", 2, inside=True)],
    backed_up="yes",
)


@pytest.fixture
def written(desk: Desk, number: str) -> str:
    """The number of a device whose condition is written down."""
    record(desk, BENCH, number, WRITTEN)
    return number


def page_of(taken: TakenIn, page: str) -> str:
    return f"{path_of(taken.link)}/{page}/{spoken(taken.numbers[0])}"


def kept(desk: Desk, number: str) -> Version:
    with desk.reading() as connection:
        found = records.newest(connection, find(connection, number).id)
    assert found is not None
    return found


def events(desk: Desk, number: str) -> list[str]:
    with desk.reading() as connection:
        return [entry.event for entry in journal.entries(connection, find(connection, number).id)]


def send(client: Browser, path: str, **typed: object) -> TestResponse:
    """Answer the record as the open page asks for it."""
    fields = client.get(path).text.partition('name="version" value="')[2]
    key = fields.partition('name="deed_key" value="')[2]
    shown = {"version": fields.partition('"')[0], "deed_key": key.partition('"')[0]}
    return client.post(path, data=shown | typed)


def test_the_record_is_read_as_it_was_written_with_the_last_four_of_its_serial_only(
    client: Browser, taken_in: TakenIn, written: str
) -> None:
    page = client.get(page_of(taken_in, "record")).text

    for expected in (
        "Does not charge. Was dropped last week.",
        "Picture socket loose",
        "scuffed edge, front left",
        "1 × power supply",
        "2 × disc (still inside the device)",
        "broken",
        "…3837",
    ):
        assert expected in page
    assert "26053179311" not in page
    assert "not asked" not in page  # what nobody asked is not told as an answer


@on_both
def test_the_customer_says_once_that_it_is_right(
    client: Browser, desk: Desk, clock: FixedClock, taken_in: TakenIn
) -> None:
    record(desk, BENCH, taken_in.numbers[0], WRITTEN)
    path = page_of(taken_in, "record")
    clock.at += timedelta(hours=3)

    answer = send(client, path, answer="right")

    assert (answer.status_code, answer.location) == (303, path)
    assert (kept(desk, taken_in.numbers[0]).answer, kept(desk, taken_in.numbers[0]).answered_at) == ("agreed", clock.at)
    page = client.get(path).text
    assert "You said that this is right." in page
    assert "Is this right?" not in page


def test_an_objection_is_kept_in_its_words_and_reaches_the_bench(
    client: Browser, staff_client: Browser, desk: Desk, taken_in: TakenIn, written: str
) -> None:
    words = "The scratch was not there.\n<b>Really.</b>"

    send(client, page_of(taken_in, "record"), answer="wrong", objection=words)

    assert (kept(desk, written).answer, kept(desk, written).objection) == ("objected", words)
    assert "The scratch was not there." in client.get(page_of(taken_in, "record")).text
    today = staff_client.get("/bench/today").text
    assert "The scratch was not there.<br>\n&lt;b&gt;Really.&lt;/b&gt;" in today
    assert f"/bench/{spoken(written)}/record" in today
    assert "1 thing waits for you today" in staff_client.get("/bench/").text


def test_a_form_sent_twice_answers_once(client: Browser, desk: Desk, taken_in: TakenIn, written: str) -> None:
    path = page_of(taken_in, "record")
    fields = {"version": "1", "deed_key": "a" * 32, "answer": "right"}

    assert [client.post(path, data=fields).status_code for _press in range(2)] == [303, 303]
    assert events(desk, written).count("agreed_record") == 1


def test_a_second_answer_is_refused_and_its_words_are_not_lost(
    client: Browser, desk: Desk, taken_in: TakenIn, written: str
) -> None:
    path = page_of(taken_in, "record")
    send(client, path, answer="right")

    answer = client.post(path, data={"version": "1", "answer": "wrong", "objection": "But the cable is missing."})

    assert answer.status_code == 422
    assert "You have answered this already." in answer.text
    assert "But the cable is missing." in answer.text
    assert kept(desk, written).answer == "agreed"


def test_an_answer_to_an_older_version_is_told_kindly_and_keeps_what_was_typed(
    client: Browser, desk: Desk, taken_in: TakenIn, written: str
) -> None:
    path = page_of(taken_in, "record")
    record(desk, BENCH, written, Record(shop_sees="Picture socket torn off"))

    answer = client.post(path, data={"version": "1", "answer": "wrong", "objection": "It was not loose."})

    assert answer.status_code == 422
    assert "The record has changed since this page was opened." in answer.text
    assert "It was not loose.</textarea>" in answer.text
    assert "Picture socket torn off" in answer.text
    assert kept(desk, written).answer is None


@pytest.mark.parametrize("words", ["", "   ", "x" * 1001])
def test_an_objection_needs_words_and_not_too_many(
    client: Browser, desk: Desk, taken_in: TakenIn, written: str, words: str
) -> None:
    answer = send(client, page_of(taken_in, "record"), answer="wrong", objection=words)

    assert answer.status_code == 422
    assert 'aria-invalid="true"' in answer.text
    assert kept(desk, written).answer is None


@pytest.mark.parametrize("version", ["", "0", "2", "-1", "one", "9" * 5000, "\x00"])
def test_a_version_that_is_not_the_newest_is_not_answered(
    client: Browser, desk: Desk, taken_in: TakenIn, written: str, version: str
) -> None:
    assert client.post(page_of(taken_in, "record"), data={"version": version, "answer": "right"}).status_code == 422
    assert kept(desk, written).answer is None


def test_another_site_cannot_answer_for_the_customer(
    client: Browser, desk: Desk, taken_in: TakenIn, written: str
) -> None:
    answer = client.post(
        page_of(taken_in, "record"),
        data={"version": "1", "answer": "right"},
        headers={"Origin": "https://elsewhere.example"},
    )

    assert answer.status_code == 403
    assert kept(desk, written).answer is None


@pytest.mark.parametrize("may_agree", [True, False])
def test_a_second_person_answers_only_if_they_may_agree(client: Browser, desk: Desk, may_agree: bool) -> None:
    second = Second(name="Bo", email="bo@example.org", may_agree=may_agree)
    taken = take_in(desk, BENCH, NewVisit([NewDevice("Radio", "Hums")], name="Ada", second=second))
    record(desk, BENCH, taken.numbers[0], WRITTEN)
    with desk.reading() as connection:
        visit = visits.by_ref(connection, taken.visit_ref)
        assert visit is not None
        person = visits.contacts_of(connection, visit.id)[1]
    link = desk.links.customer(LinkKind.CONTACT, person.ref, person.link_version)
    path = f"{path_of(link)}/record/{spoken(taken.numbers[0])}"

    assert ("Is this right?" in client.get(path).text) is may_agree
    answer = client.post(path, data={"version": "1", "answer": "right"})
    assert answer.status_code == (303 if may_agree else 403)
    assert kept(desk, taken.numbers[0]).answer == ("agreed" if may_agree else None)


@pytest.mark.parametrize("page", ["record", "report"])
def test_a_link_opens_its_own_visits_devices_only(client: Browser, desk: Desk, taken_in: TakenIn, page: str) -> None:
    other = take_in(desk, BENCH, NewVisit([NewDevice("Somebody else’s camera", "Shutter sticks")]))
    record(desk, BENCH, other.numbers[0], WRITTEN)
    mine = path_of(taken_in.link)

    theirs, none = (client.get(f"{mine}/{page}/{each}") for each in (spoken(other.numbers[0]), "9999-9"))

    assert (theirs.status_code, none.status_code) == (404, 404)
    assert "camera" not in theirs.text
    answer = client.post(f"{mine}/record/{spoken(other.numbers[0])}", data={"version": "1", "answer": "right"})
    assert answer.status_code == 404
    assert kept(desk, other.numbers[0]).answer is None


def test_a_damaged_battery_is_said_in_the_customers_words_until_it_is_dealt_with(
    client: Browser, desk: Desk, taken_in: TakenIn, number: str
) -> None:
    record(desk, BENCH, number, Record(battery=["swollen"]))

    assert str(CUSTOMER_SAFETY) in client.get(page_of(taken_in, "record")).text
    assert str(CUSTOMER_SAFETY) in client.get(page_of(taken_in, "report")).text


def test_the_docket_asks_for_an_answer_until_it_has_one_and_anew_for_a_new_version(
    client: Browser, desk: Desk, taken_in: TakenIn, number: str
) -> None:
    def asked() -> bool:
        return "tell us whether it is right" in client.get(path_of(taken_in.link)).text

    assert not asked()
    record(desk, BENCH, number, WRITTEN)
    assert asked()
    send(client, page_of(taken_in, "record"), answer="right")
    assert not asked()
    record(desk, BENCH, number, Record(shop_sees="Something else"))
    assert asked()


def test_once_the_repair_has_ended_the_record_is_read_and_not_answered(
    client: Browser, desk: Desk, taken_in: TakenIn, written: str
) -> None:
    for stage in ("board_work", "testing", "ready"):
        moves.move(desk, BENCH, written, stage, confirmed=True)
    handover.hand_over(desk, BENCH, written, WITHOUT_CODE)

    assert "Is this right?" not in client.get(page_of(taken_in, "record")).text
    answer = client.post(page_of(taken_in, "record"), data={"version": "1", "answer": "right"})
    assert answer.status_code == 422
    assert "This repair has ended." in answer.text
    assert f"/report/{spoken(written)}" in client.get(path_of(taken_in.link)).text


@pytest.fixture
def reported(desk: Desk, written: str, technician: By) -> str:
    """The number of a device with a full record."""
    notes.note(desk, technician, written, "The socket is torn of the board.", audience="customer")
    with desk.reading() as connection:
        entry = find(connection, written).revision
    notes.correct(desk, technician, written, entry, "The socket is torn off the board.")
    notes.note(desk, technician, written, "Grumpy owner.", audience="bench")
    parts.fit_from_stock(desk, technician, written, "picture socket", used=True, warranty_months=6)
    parts.give(desk, technician, written, "Fan cleaned")
    sheet.fill_in(
        desk,
        technician,
        written,
        [Typed("starts", "before", "fail"), Typed("starts", "after", "pass", "three times")],
    )
    return written


@on_both
def test_the_report_tells_what_we_found_did_and_tested(client: Browser, desk: Desk, taken_in: TakenIn) -> None:
    number = taken_in.numbers[0]
    record(desk, BENCH, number, WRITTEN)
    notes.note(desk, BENCH, number, "The socket is torn off the board.", audience="customer")
    parts.give(desk, BENCH, number, "Fan cleaned")

    page = client.get(page_of(taken_in, "report")).text

    order = [page.index(each) for each in ("What we found", "Picture socket loose", "What we did", "torn off", "Fan")]
    assert order == sorted(order)


def test_used_parts_are_said_to_be_and_given_work_is_said_to_be_free(
    client: Browser, taken_in: TakenIn, reported: str
) -> None:
    page = client.get(page_of(taken_in, "report")).text

    assert "picture socket (used, taken from another device), with 6 months’ warranty" in page
    assert "Given free: Fan cleaned" in page


def test_a_note_is_reported_as_it_was_corrected_and_the_benchs_own_is_not(
    client: Browser, taken_in: TakenIn, reported: str
) -> None:
    page = client.get(page_of(taken_in, "report")).text

    assert "torn off the board" in page
    assert "torn of the board" not in page
    assert "Grumpy" not in page
    assert "Robin" not in page


def test_tests_stand_before_and_after_and_are_never_called_a_safety_test(
    client: Browser, taken_in: TakenIn, reported: str
) -> None:
    page = client.get(page_of(taken_in, "report")).text

    assert page.index("does not work") < page.index("works (three times)")
    assert str(FUNCTION_TEST_ONLY) in page


def test_a_sheet_let_through_says_why(client: Browser, desk: Desk, taken_in: TakenIn, number: str, keeper: By) -> None:
    sheet.fill_in(desk, keeper, number, [Typed("starts", "after", "fail")])
    sheet.let_through(desk, keeper, number, "The owner wants it back as it is.")

    page = client.get(page_of(taken_in, "report")).text

    assert "Given back all the same, because:" in page
    assert "The owner wants it back as it is." in page


def test_the_bench_prints_the_same_report_in_the_customers_language(
    staff_client: Browser, desk: Desk, reported: str
) -> None:
    page = staff_client.get(f"/bench/{spoken(reported)}/report").text

    assert "picture socket (used, taken from another device)" in page
    assert str(FUNCTION_TEST_ONLY) in page
    german = take_in(desk, BENCH, NewVisit([NewDevice("Radio", "Brummt")], language="de"))
    assert '<html lang="de">' in staff_client.get(f"/bench/{spoken(german.numbers[0])}/report").text


@pytest.mark.parametrize(("size", "status"), [("a4", 200), ("letter", 200), ("roll80", 404), ("../x", 404)])
def test_a_report_is_printed_on_a_page(staff_client: Browser, number: str, size: str, status: int) -> None:
    assert staff_client.get(f"/bench/{spoken(number)}/report?size={size}").status_code == status


def test_the_hold_for_a_part_knows_its_day(
    client: Browser, desk: Desk, clock: FixedClock, taken_in: TakenIn, number: str
) -> None:
    parts.order(desk, BENCH, number, "drive", "Parts Yard", (clock.at + timedelta(days=8)).date())

    assert "It is expected on Tue, 10 Mar 2026." in client.get(path_of(taken_in.link)).text
    clock.at += timedelta(days=9)
    assert "It was expected on Tue, 10 Mar 2026" in client.get(path_of(taken_in.link)).text


def test_pages_are_small(client: Browser, desk: Desk, taken_in: TakenIn, reported: str) -> None:
    for path in (path_of(taken_in.link), page_of(taken_in, "record"), page_of(taken_in, "report")):
        assert len(gzip.compress(client.get(path).data)) < 14_000


def test_the_bench_sees_today_what_is_late_and_what_has_run_its_time(
    staff_client: Browser, desk: Desk, clock: FixedClock, number: str, technician: By
) -> None:
    assert "Nothing waits for you" in staff_client.get("/bench/today").text
    parts.order(desk, BENCH, number, "optical drive", "Parts Yard", (clock.at + timedelta(days=1)).date())
    sheet.start_soak(desk, BENCH, number, "warm")
    clock.at += timedelta(hours=11)
    assert "optical drive" not in staff_client.get("/bench/today").text
    clock.at += timedelta(days=2)
    staff_client.log_in("Robin")

    page = staff_client.get("/bench/today").text

    assert "Parts that are late" in page
    assert "optical drive" in page
    assert "Tests that have run their time" in page


def test_the_keeper_sees_what_the_bench_let_through_and_the_bench_does_not(
    staff_client: Browser, keeper_client: Browser, desk: Desk, number: str, technician: By
) -> None:
    with desk.writing() as connection:
        text = policies.document(connection, policies.newest(connection)) or ""
        changed = text.replace("may_let_through = false", "may_let_through = true")
        policies.add(connection, changed, desk.clock.now(), None)
    sheet.let_through(desk, technician, number, "The owner fetches it today.")

    assert "The owner fetches it today." in keeper_client.get("/bench/today").text
    assert "The owner fetches it today." not in staff_client.get("/bench/today").text
