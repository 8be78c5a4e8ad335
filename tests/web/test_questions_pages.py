"""Questions about money on pages: the bench asks, the keeper looks first, the customer answers by a typed word.

Directive 2011/83/EU Art. 8(2): the button says that it costs; Art. 22, 27: nothing is chosen beforehand.
"""

from __future__ import annotations

import re

import pytest
from werkzeug.test import TestResponse

from portal.actions import answers, questions
from portal.actions.desk import By, Desk
from portal.actions.intake import NewDevice, NewVisit, take_in
from portal.rules.numbers import spoken
from portal.rules.offers import TypedLine, TypedOffer, TypedOption
from portal.rules.questions import State
from portal.rules.tokens import LinkKind
from portal.store import policies, visits
from portal.store import questions as store
from portal.store.questions import Kept
from tests.actions.aftermath import everything, messages, ticket_of
from tests.conftest import BENCH
from tests.web.browser import Browser, hidden_fields
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
    """The path of the owner's link to the one question."""
    kept = only(desk, number)
    with desk.reading() as connection:
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
        challenge = store.challenge(connection, kept.id)
    assert challenge is not None
    code = answers.code_of(desk.links.secret, challenge.ref)
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
