"""Questions about money on pages: the bench asks, the keeper looks first, the customer answers by a typed word.

Directive 2011/83/EU Art. 8(2): the button says that it costs; Art. 22, 27: nothing is chosen beforehand.
"""

from __future__ import annotations

import re
from datetime import timedelta

import pytest
from werkzeug.test import TestResponse

from portal.actions import answers, codes, price_terms, questions
from portal.actions.answers import Answer
from portal.actions.desk import By, Desk
from portal.actions.handover import return_unrepaired
from portal.actions.intake import NewDevice, NewVisit, take_in
from portal.actions.photo_hiding import hide
from portal.actions.photos import add
from portal.actions.price_terms import TypedTerms
from portal.main import Installation
from portal.rules.numbers import parse_number, spoken
from portal.rules.offers import TypedLine, TypedOffer, TypedOption
from portal.rules.picture_parts import Part
from portal.rules.questions import State
from portal.rules.tokens import LinkKind
from portal.store import photos, policies, visits
from portal.store import questions as store
from portal.store.questions import Kept
from tests.actions.aftermath import everything, messages, ticket_of
from tests.conftest import BENCH
from tests.pictures.samples import as_bytes, four_corners
from tests.web.browser import Browser, hidden_fields
from tests.web.conftest import on_both
from tests.web.test_customer_docket import own_path

FIELDS = {
    "found": "The charging port is torn off.",
    "proposal0": "Replace the charging port",
    "text0": ["Port", "Work", "", ""],
    "quantity0": ["1", "1", "", ""],
    "price0": ["18.50", "30,00", "", ""],
}
OFFER = TypedOffer(
    "The port is torn off.", options=[TypedOption("Replace the port", [TypedLine("Port", "1", "48.50")])]
)
DEAR = TypedOffer(options=[TypedOption("Swap the board", [TypedLine("Board", "1", "148.50")])])


def press(browser: Browser, page: str, form: str, fields: dict, action: str = "") -> TestResponse:
    """Fill in a form on the page as a browser does, and send it."""
    return browser.post(form, data=hidden_fields(browser.get(page).text, action or form) | fields)


def only(desk: Desk, number: str) -> Kept:
    with desk.reading() as connection:
        (kept,) = store.of_ticket(connection, ticket_of(desk, number).id)
    return kept


def put(desk: Desk, number: str, offer: TypedOffer = OFFER) -> Kept:
    questions.draft(desk, BENCH, number, offer, put_at_once=True)
    return only(desk, number)


def question_path(desk: Desk, number: str) -> str:
    """The path of the owner's link to the first question."""
    with desk.reading() as connection:
        kept = store.of_ticket(connection, ticket_of(desk, number).id)[0]
        owner = visits.contacts_of(connection, ticket_of(desk, number).visit_id)[0]
        ref = store.is_asked(connection, kept.ref, owner.ref)
    assert ref is not None
    return "/t/" + desk.links.customer(LinkKind.QUESTION, ref, owner.link_version).rsplit("/", 1)[-1]


def docket_path(desk: Desk, number: str) -> str:
    with desk.reading() as connection:
        visit = visits.by_id(connection, ticket_of(desk, number).visit_id)
    return "/t/" + desk.links.customer(LinkKind.DOCKET, visit.ref, visit.docket_version).rsplit("/", 1)[-1]


# The bench


def test_the_bench_asks_with_lines_and_sees_what_they_come_to(staff_client: Browser, desk: Desk, number: str) -> None:
    page = f"/bench/{spoken(number)}/questions"

    answer = press(staff_client, page, page, FIELDS | {"how": "put"})

    assert answer.status_code == 303
    assert only(desk, number).question.state is State.PUT
    assert "£48.50" in staff_client.get(page).text


@pytest.mark.parametrize(
    ("changed", "told"),
    [
        ({"proposal0": ""}, "What is proposed is missing"),
        ({"price0": ["", "", "", ""], "text0": ["", "", "", ""]}, "1 to 20 lines"),
        ({"price0": ["", "30", "", ""]}, "A line has no price"),
        ({"price0": ["-5", "30", "", ""]}, "price"),
        ({"price0": [str(10**12), "30", "", ""]}, "too large"),
        ({"price0": ["1,234", "30", "", ""]}, "is not an amount"),
        ({"price0": ["12.345", "30", "", ""]}, "is not an amount"),
        ({"quantity0": ["0", "1", "", ""]}, "quantity"),
    ],
)
def test_a_refused_question_comes_back_as_it_was_typed(
    staff_client: Browser, desk: Desk, number: str, changed: dict, told: str
) -> None:
    page = f"/bench/{spoken(number)}/questions"
    before = everything(desk)

    answer = press(staff_client, page, page, FIELDS | {"how": "put"} | changed)

    assert answer.status_code == 422
    assert told in answer.text
    assert "The charging port is torn off." in answer.text
    assert everything(desk) == before


def test_an_answer_given_by_telephone_is_written_down(staff_client: Browser, desk: Desk, number: str) -> None:
    kept = put(desk, number)
    page = f"/bench/{spoken(number)}/questions"

    said = f"{page}/{kept.ref}/said"
    refused = press(staff_client, page, said, {"who": "Ada to Robin", "option": "a"})
    assert refused.status_code == 422
    assert "Ada to Robin" in refused.text
    press(staff_client, page, said, {"who": "Ada to Robin", "by_way": "telephone", "option": "a"})

    assert only(desk, number).question.state is State.AGREED


def test_agreed_work_begins_at_the_bench(staff_client: Browser, desk: Desk, number: str) -> None:
    kept = put(desk, number)
    answers.answer(desk, number, kept.ref, answers.Answer(1, "en", "a", "YES"))
    page = f"/bench/{spoken(number)}/questions"

    press(staff_client, page, f"{page}/{kept.ref}/begin", {})

    assert only(desk, number).started_at is not None


def test_an_answer_is_written_down_with_its_time(staff_client: Browser, desk: Desk, number: str) -> None:
    kept = put(desk, number)
    page, said = f"/bench/{spoken(number)}/questions", f"/bench/{spoken(number)}/questions/{kept.ref}/said"
    fields = {"who": "Ada to Robin", "by_way": "counter", "option": ""}
    for wrong in ("yesterday", "2026-03-02T08:00", "2099-01-01T10:00"):
        refused = press(staff_client, page, said, fields | {"said_at": wrong})
        assert refused.status_code == 422
        assert "Ada to Robin" in refused.text

    desk.clock.at += timedelta(hours=2)
    press(staff_client, page, said, fields | {"said_at": "2026-03-02T10:15"})

    assert only(desk, number).question.state is State.DECLINED
    assert "at the counter" in staff_client.get(page).text


def test_tax_is_typed_only_where_there_is_a_choice_of_rates(staff_client: Browser, desk: Desk, number: str) -> None:
    page = f"/bench/{spoken(number)}/questions"
    assert 'name="tax0"' not in staff_client.get(page).text
    with desk.writing() as connection:
        document = (policies.document(connection, 1) or "").replace("# tax_percent = 20 ", "tax_percent = 20 #")
        policies.add(connection, f"{document}\n[approvals]\nother_tax_percents = [7.7]\n", desk.clock.now(), None)
    shown = staff_client.get(page).text
    assert "Tax may stay empty for 20 %; 7.7 % are there, too." in shown

    press(staff_client, page, page, FIELDS | {"how": "put", "tax0": ["7.7", "", "", ""]})

    shown = staff_client.get(page).text
    assert "of which tax at 7.7 %" in shown
    assert "of which tax at 20 %" in shown
    assert (
        'name="tax0" inputmode="decimal" autocomplete="off" value="7.7"'
        in staff_client.get(f"{page}/{only(desk, number).ref}").text
    )


@pytest.mark.parametrize("currency", ["JPY", "BHD"])
def test_a_currency_without_decimals_or_with_three(
    staff_client: Browser, desk: Desk, number: str, currency: str
) -> None:
    with desk.writing() as connection:
        document = (policies.document(connection, 1) or "").replace('"GBP"', f'"{currency}"')
        policies.add(connection, document, desk.clock.now(), None)
    page = f"/bench/{spoken(number)}/questions"
    refused = press(staff_client, page, page, FIELDS | {"how": "put", "price0": ["18.5000", "30", "", ""]})
    assert refused.status_code == 422

    press(staff_client, page, page, FIELDS | {"how": "put", "price0": ["4000", "850", "", ""]})

    assert only(desk, number).offer.dearest() == {"JPY": 4850, "BHD": 4_850_000}[currency]


def test_work_agreed_to_waits_on_the_page_of_today(staff_client: Browser, desk: Desk, number: str) -> None:
    kept = put(desk, number)
    assert "Agreed to, and not begun" not in staff_client.get("/bench/today").text
    answers.answer(desk, number, kept.ref, answers.Answer(1, "en", "a", "YES"))
    assert "Agreed to, and not begun" in staff_client.get("/bench/today").text

    questions.start_work(desk, BENCH, number, kept.ref)

    assert "Agreed to, and not begun" not in staff_client.get("/bench/today").text


def test_the_page_of_today_tells_what_waits_for_the_keeper_and_what_was_sent_back(
    staff_client: Browser, keeper_client: Browser, desk: Desk, awaiting: Kept, number: str, keeper: By
) -> None:
    address = f"/shop/questions/{awaiting.ref}"
    assert address in keeper_client.get("/bench/today").text
    assert address not in staff_client.get("/bench/today").text

    questions.return_to_bench(desk, keeper, number, awaiting.ref, "Too dear.")

    assert "Too dear." in staff_client.get("/bench/today").text


# What was agreed at the start


def test_what_was_agreed_about_the_price_is_typed_while_taking_in(
    staff_client: Browser, client: Browser, desk: Desk
) -> None:
    fields = {
        "device": ["Radio", "Amplifier"],
        "fault": ["Hums", "Silent"],
        "kind": ["other", "other"],
        "price_way": ["up to a limit", ""],
        "price_amount": ["80", ""],
        "price_what": ["", ""],
        "email": "ada@example.org",
    }
    refused = press(staff_client, "/bench/take-in", "/bench/take-in", fields | {"price_amount": ["eighty", ""]})
    assert refused.status_code == 422
    assert 'value="eighty"' in refused.text
    assert re.search(r'value="up to a limit"\s+selected', refused.text)

    answer = press(staff_client, "/bench/take-in", "/bench/take-in", fields)

    page = staff_client.get(answer.location).text
    assert page.count("We go ahead up to £80.00") == 1
    number = parse_number(answer.location.split("/")[-2])
    assert "We go ahead up to £80.00" in staff_client.get(f"/bench/{spoken(number)}/docket").text
    docket = client.get(docket_path(desk, number)).text
    assert "Of it £0.00 are used, and £80.00 are left." in docket


def test_it_is_written_down_later_with_who_said_it(staff_client: Browser, desk: Desk, number: str) -> None:
    page = f"/bench/{spoken(number)}/questions"
    fields = {"price_way": "fixed price", "price_amount": "60", "price_what": "The charging port"}
    refused = press(staff_client, page, f"/bench/{spoken(number)}/price", fields | {"by_way": "telephone"})
    assert refused.status_code == 422
    assert 'value="The charging port"' in refused.text

    press(staff_client, page, f"/bench/{spoken(number)}/price", fields | {"by_way": "telephone", "who": "Ada to Robin"})

    shown = staff_client.get(page).text
    assert "We agreed a fixed price: £60.00." in shown
    assert "Write down what was agreed" not in shown
    assert only(desk, number).question.state is State.AGREED


def test_the_bench_goes_ahead_within_the_limit_and_everybody_sees_what_is_left(
    staff_client: Browser, client: Browser, desk: Desk, number: str
) -> None:
    page = f"/bench/{spoken(number)}/questions"
    assert "within the limit" not in staff_client.get(page).text
    price_terms.agree_terms(desk, BENCH, number, TypedTerms("up to a limit", "80"), "counter", "Ada")

    press(staff_client, page, page, FIELDS | {"how": "limit"})

    assert only(desk, number).through == "limit"
    assert "Used: £48.50, left: £31.50." in staff_client.get(page).text
    assert "Of it £48.50 are used, and £31.50 are left." in client.get(docket_path(desk, number)).text
    refused = press(staff_client, page, page, FIELDS | {"how": "limit"})
    assert refused.status_code == 422
    assert "only £31.50 of the customer’s limit are left" in refused.text


# The keeper


@pytest.fixture
def awaiting(desk: Desk, number: str, technician: By, keeper: By) -> Kept:
    with desk.writing() as connection:
        document = policies.document(connection, 1)
        policies.add(connection, f"{document}\n[approvals]\nsign_off_above = 40\n", desk.clock.now(), None)
    questions.draft(desk, technician, number, OFFER, put_at_once=True)
    kept = only(desk, number)
    assert kept.question.state is State.AWAITING
    return kept


def test_the_keeper_sends_it_with_one_press(keeper_client: Browser, desk: Desk, number: str, awaiting: Kept) -> None:
    page = f"/shop/questions/{awaiting.ref}"
    assert awaiting.ref in keeper_client.get("/shop/questions").text

    answer = press(keeper_client, page, f"{page}/send", {"how": "as it is"})

    assert answer.status_code == 303
    assert only(desk, number).question.state is State.PUT


def test_the_keeper_changes_the_price_and_sends_it(
    keeper_client: Browser, desk: Desk, number: str, awaiting: Kept
) -> None:
    page = f"/shop/questions/{awaiting.ref}"

    press(keeper_client, page, f"{page}/send", FIELDS | {"how": "changed", "price0": ["10", "20", "", ""]})

    kept = only(desk, number)
    assert (kept.question.state, kept.offer.dearest()) == (State.PUT, 3000)


def test_the_keeper_sends_it_back(keeper_client: Browser, desk: Desk, number: str, awaiting: Kept) -> None:
    page = f"/shop/questions/{awaiting.ref}"
    assert press(keeper_client, page, f"{page}/return", {"note": ""}).status_code == 422

    press(keeper_client, page, f"{page}/return", {"note": "Too dear."})

    assert only(desk, number).question.state is State.DRAFTED
    assert "Too dear." in keeper_client.get(f"/bench/{spoken(number)}/questions").text


# The customer


def test_the_page_shows_what_is_agreed_and_the_button_says_that_it_costs(
    client: Browser, desk: Desk, number: str
) -> None:
    put(desk, number)

    page = client.get(question_path(desk, number), follow_redirects=True).text

    assert "The port is torn off." in page
    assert "Yes, do this and charge me £48.50" in page  # Art. 8(2)
    assert "No, leave it" in page


@pytest.mark.parametrize("kind", ["question", "own", "docket"])
@pytest.mark.parametrize("method", ["GET", "HEAD"])
def test_fetching_every_link_agrees_to_nothing(
    client: Browser, desk: Desk, number: str, kind: str, method: str
) -> None:
    kept = put(desk, number)
    before = everything(desk)
    path = {"question": question_path, "own": own_path, "docket": docket_path}[kind](desk, number)

    for address in (path, f"{path}/question/{kept.ref}", f"{path}?all=1"):
        assert client.open(address, method=method, follow_redirects=True).status_code == 200
    # A scanner that follows every link on every page, too.
    for found in re.findall(r'href="(/t/[^"]+)"', client.get(f"{path}?all=1").text):
        client.open(found.replace("&amp;", "&"), method=method)

    assert everything(desk) == before


def test_nothing_is_chosen_or_typed_beforehand(client: Browser, desk: Desk, number: str) -> None:
    put(desk, number)

    page = client.get(question_path(desk, number), follow_redirects=True).text

    assert " checked" not in page
    assert " selected" not in page
    assert re.findall(r'<input[^>]*name="word"[^>]*value="[^"]+"', page) == []


def test_yes_by_the_typed_word_and_a_receipt_to_keep(client: Browser, desk: Desk, number: str) -> None:
    kept = put(desk, number)
    page = f"{question_path(desk, number)}/question/{kept.ref}"

    answer = press(client, page, page, {"answer": "yes", "option": "a", "word": "yes"})

    assert answer.status_code == 303
    shown = client.get(page).text
    assert "agreed" in shown
    assert "Take my yes back" in shown
    assert "not an invoice" in shown
    with desk.reading() as connection:
        proof = store.newest_proof(connection, kept.ref)
    assert proof is not None
    assert proof.digest in shown


def test_a_pressed_button_without_the_word_agrees_to_nothing(client: Browser, desk: Desk, number: str) -> None:
    kept = put(desk, number)
    page = f"{question_path(desk, number)}/question/{kept.ref}"

    answer = press(client, page, page, {"answer": "yes", "option": "a", "word": ""})

    assert answer.status_code == 422
    assert "Please type YES to agree. Nothing was agreed yet." in answer.text
    assert only(desk, number).question.state is State.PUT


def test_no_takes_no_typing(client: Browser, desk: Desk, number: str) -> None:
    kept = put(desk, number)
    page = f"{question_path(desk, number)}/question/{kept.ref}"

    press(client, page, page, {"answer": "no"})

    assert only(desk, number).question.state is State.DECLINED


def test_a_yes_is_taken_back_on_the_page(client: Browser, desk: Desk, number: str) -> None:
    kept = put(desk, number)
    page = f"{question_path(desk, number)}/question/{kept.ref}"
    press(client, page, page, {"answer": "yes", "option": "a", "word": "YES"})

    press(client, page, f"{page}/back", {})

    assert only(desk, number).question.state is State.DECLINED


def test_the_docket_alone_needs_a_code_above_the_amount(client: Browser, desk: Desk, number: str) -> None:
    kept = put(desk, number, DEAR)
    page = f"{docket_path(desk, number)}/question/{kept.ref}"
    assert "Send me a code" in client.get(page).text
    fields = {"answer": "yes", "option": "a", "word": "YES", "version": "1"}
    assert client.post(page, data=fields | {"code": "000000"}).status_code == 422

    client.post(f"{page}/code")
    assert [event for event, _ref, _facts in messages(desk)][-1] == "question_code"
    with desk.reading() as connection:
        challenge = store.CODES.newest(connection, kept.id)
    assert challenge is not None
    code = codes.code_of(desk.links.secret, challenge.ref)
    answer = client.post(page, data=fields | {"code": code})

    assert answer.status_code == 303
    with desk.reading() as connection:
        proof = store.newest_proof(connection, kept.ref)
    assert proof is not None
    assert "docket link and code" in proof.document


def test_a_small_sum_needs_no_code(client: Browser, desk: Desk, number: str) -> None:
    kept = put(desk, number)
    page = f"{docket_path(desk, number)}/question/{kept.ref}"

    answer = press(client, page, page, {"answer": "yes", "option": "a", "word": "YES"})

    assert answer.status_code == 303


def test_where_nobody_is_on_file_the_docket_answers_only_if_the_policy_lets_it(client: Browser, desk: Desk) -> None:
    number = take_in(desk, BENCH, NewVisit([NewDevice("Radio", "Hums")])).numbers[0]
    kept = put(desk, number)
    page = f"{docket_path(desk, number)}/question/{kept.ref}"
    fields = {"answer": "yes", "option": "a", "word": "YES", "version": "1"}
    assert client.post(page, data=fields).status_code == 403

    with desk.writing() as connection:
        document = policies.document(connection, 1)
        policies.add(connection, f"{document}\n[approvals]\ndocket_may_answer = true\n", desk.clock.now(), None)

    assert client.post(page, data=fields).status_code == 303


def test_the_chosen_photos_go_with_the_question(
    staff_client: Browser, client: Browser, desk: Desk, number: str, installation: Installation
) -> None:
    for audience in ("customer", "customer", "bench"):
        add(desk, installation.photo_files, BENCH, number, as_bytes(four_corners()), audience=audience, confirmed=True)
    with desk.reading() as connection:
        chosen, other, hidden = (photo.ref for photo in photos.of_ticket(connection, ticket_of(desk, number).id))
    page = f"/bench/{spoken(number)}/questions"
    for wrong in (hidden, "AAAAAAAAAA"):
        assert press(staff_client, page, page, FIELDS | {"how": "put", "photo": [wrong]}).status_code == 422

    press(staff_client, page, page, FIELDS | {"how": "put", "photo": [chosen]})

    shown = client.get(question_path(desk, number), follow_redirects=True).text
    assert f"{chosen}-small" in shown
    assert other not in shown
    assert re.search(rf'value="{chosen}"\s+checked', staff_client.get(f"{page}/{only(desk, number).ref}").text)

    hide(desk, installation.photo_files, BENCH, number, chosen, [Part(10, 10, 20, 20)])
    with desk.reading() as connection:
        renamed = photos.called(connection, ticket_of(desk, number).id)[chosen]
    assert f"{renamed}-small" in client.get(question_path(desk, number), follow_redirects=True).text
    assert re.search(rf'value="{chosen}"\s+checked', staff_client.get(f"{page}/{only(desk, number).ref}").text)


def test_a_question_that_is_being_changed_says_so(
    client: Browser, desk: Desk, number: str, technician: By, keeper: By
) -> None:
    kept = put(desk, number)
    with desk.writing() as connection:
        document = policies.document(connection, 1)
        policies.add(connection, f"{document}\n[approvals]\nsign_off_above = 100\n", desk.clock.now(), None)
    questions.change(desk, technician, number, kept.ref, DEAR)
    page = f"{question_path(desk, number)}/question/{kept.ref}"

    assert "We are changing this question" in client.get(page).text
    assert client.post(page, data={"answer": "no", "version": "2"}).status_code == 422
    questions.sign_off(desk, keeper, number, kept.ref, 2)
    assert "£148.50" in client.get(page).text


def test_what_is_only_a_draft_is_nobodys_to_see(client: Browser, desk: Desk, number: str) -> None:
    questions.draft(desk, BENCH, number, OFFER)
    kept = only(desk, number)

    assert client.get(f"{docket_path(desk, number)}/question/{kept.ref}").status_code == 404
    assert "torn off" not in client.get(docket_path(desk, number)).text


def test_once_the_device_has_left_there_is_nothing_to_answer(client: Browser, desk: Desk, number: str) -> None:
    kept = put(desk, number)
    return_unrepaired(desk, BENCH, number, "Beyond repair.")
    page = f"{docket_path(desk, number)}/question/{kept.ref}"

    assert "Your device has left the shop" in client.get(page).text
    assert "Yes, do this" not in client.get(page).text


def test_another_visits_question_is_not_here(client: Browser, desk: Desk, number: str) -> None:
    kept = put(desk, number)
    other = take_in(desk, BENCH, NewVisit([NewDevice("Radio", "Hums")], email="bea@example.org"))

    for answer in (
        client.get(f"/t/{other.link.rsplit('/', 1)[-1]}/question/{kept.ref}"),
        client.post(f"/t/{other.link.rsplit('/', 1)[-1]}/question/{kept.ref}", data={"answer": "no", "version": "1"}),
    ):
        assert answer.status_code == 404
    assert only(desk, number).question.state is State.PUT


def test_the_docket_says_that_something_is_asked(client: Browser, desk: Desk, number: str) -> None:
    kept = put(desk, number)
    path = docket_path(desk, number)

    assert f'{path}/question/{kept.ref}"' in client.get(path).text


def test_a_question_changed_while_it_was_read_is_asked_anew(client: Browser, desk: Desk, number: str) -> None:
    kept = put(desk, number)
    page = f"{question_path(desk, number)}/question/{kept.ref}"
    fields = hidden_fields(client.get(page).text, page)
    questions.change(desk, BENCH, number, kept.ref, DEAR)

    answer = client.post(page, data=fields | {"answer": "yes", "option": "a", "word": "YES"})

    assert answer.status_code == 422
    assert "was changed while you were reading" in answer.text
    assert "£148.50" in answer.text


@on_both
def test_nothing_is_kept_of_where_an_answer_came_from(client: Browser, desk: Desk, number: str) -> None:
    """In the proof or any other row: no address of the reader's machine, and not which program they read with."""
    kept = put(desk, number)
    page = f"{question_path(desk, number)}/question/{kept.ref}"
    fields = hidden_fields(client.get(page).text, page) | {"answer": "yes", "option": "a", "word": "YES"}

    answer = client.post(
        page, data=fields, environ_base={"REMOTE_ADDR": "203.0.113.77"}, headers={"User-Agent": "Lantern Reader/7"}
    )

    assert answer.status_code == 303
    left = repr(everything(desk))
    assert "203.0.113.77" not in left
    assert "Lantern" not in left


def test_a_shop_without_tax_speaks_of_none_anywhere(
    client: Browser, staff_client: Browser, desk: Desk, number: str
) -> None:
    """Which is not the same as a tax of 0 %, which is shown."""
    kept = put(desk, number)
    answers.answer(desk, number, kept.ref, Answer(1, "en", "a", "YES"))
    put_again = questions.draft(desk, BENCH, number, OFFER, put_at_once=True).ref
    at, docket = f"/bench/{spoken(number)}", docket_path(desk, number)

    for browser, path in (
        (client, docket),
        (client, f"{docket}/question/{kept.ref}"),
        (client, f"{docket}/question/{put_again}"),
        (client, f"{docket}/money/{spoken(number)}"),
        (client, f"{docket}/report/{spoken(number)}"),
        (staff_client, f"{at}/questions"),
        (staff_client, f"{at}/questions/{put_again}"),
        (staff_client, f"{at}/money"),
        (staff_client, f"{at}/docket"),
        (staff_client, at),
    ):
        page = browser.get(path)
        assert page.status_code == 200, path
        assert not re.search(r"\b(tax|VAT)\b", page.text, re.IGNORECASE), path


@on_both
def test_keeper_and_customer_read_all_that_an_extra_is_with_its_photos(
    client: Browser,
    keeper_client: Browser,
    desk: Desk,
    number: str,
    installation: Installation,
    technician: By,
    keeper: By,
) -> None:
    with desk.writing() as connection:
        document = (policies.document(connection, 1) or "").replace("# tax_percent = 20 ", "tax_percent = 20 #")
        policies.add(connection, f"{document}\n[approvals]\nsign_off_above = 10\n", desk.clock.now(), None)
    add(desk, installation.photo_files, BENCH, number, as_bytes(four_corners()), audience="customer", confirmed=True)
    with desk.reading() as connection:
        (photo,) = photos.of_ticket(connection, ticket_of(desk, number).id)
    extra = TypedOffer(
        "The port is torn off.",
        "It cannot be charged.",
        "It stays as it is.",
        "We go on with the cleaning.",
        [TypedOption("Replace the port", [TypedLine("Port", "2", "18.50"), TypedLine("Work", "1", "30")])],
        photos=(photo.known_as,),
    )
    ref = questions.draft(desk, technician, number, extra, put_at_once=True).ref
    parts = [
        "The port is torn off.",
        "It cannot be charged.",
        "It stays as it is.",
        "We go on with the cleaning.",
        "Replace the port",
        f"{photo.ref}-small",
        "£18.50",
        "£37.00",
        "of which tax at 20 %",
        "£67.00",
    ]

    page = keeper_client.get(f"/shop/questions/{ref}").text
    assert [part for part in parts if part not in page] == []

    questions.sign_off(desk, keeper, number, ref, 1)
    page = client.get(question_path(desk, number), follow_redirects=True).text
    assert [part for part in parts if part not in page] == []
    assert "Please answer by" in page
