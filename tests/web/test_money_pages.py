"""Money on pages: taken and reversed at the bench, read by the customer with how to pay, as paper and as data."""

from __future__ import annotations

import csv
import importlib.util
import io
import re

import pytest
from werkzeug.test import TestResponse

from notifications.instants import FixedClock
from portal.actions import balance, links, payments
from portal.actions.desk import Desk, find
from portal.actions.handover import Handed, hand_over
from portal.actions.intake import NewDevice, NewVisit, TakenIn, take_in
from portal.actions.payments import Typed
from portal.actions.price_terms import TypedTerms
from portal.actions.terms import accept_terms
from portal.rules.account import Account
from portal.rules.numbers import spoken
from portal.store import policies
from tests.actions.bench import WITHOUT_CODE, bring_to
from tests.actions.test_money import STORAGE
from tests.actions.test_questions import with_policy
from tests.conftest import BENCH
from tests.web.browser import Browser, hidden_fields
from tests.web.conftest import on_both
from tests.web.test_customer_docket import path_of

EURO = """
[money]
how_to_pay = { en = "Cash or transfer.", de = "Bar oder Überweisung." }
payee = "Small repairs"
iban = "DE89 3704 0044 0532 0130 00"
"""


@pytest.fixture
def agreed(desk: Desk) -> TakenIn:
    """A radio for which a fixed price of 48.50 was agreed."""
    device = NewDevice("Radio", "Hums", price=TypedTerms("fixed price", "48.50", "New capacitors"))
    return take_in(desk, BENCH, NewVisit([device], name="Ada", email="ada@example.org"))


@pytest.fixture
def number(agreed: TakenIn) -> str:
    """Its number."""
    return agreed.numbers[0]


def account_of(desk: Desk, number: str) -> Account:
    with desk.reading() as connection:
        return balance.of(connection, find(connection, number), desk.policy(connection))


def page(browser: Browser, number: str) -> str:
    return browser.get(f"/bench/{spoken(number)}/money").text


def send(browser: Browser, number: str, to: str, **fields: object) -> TestResponse:
    """Fill in one form of the money page, and send it."""
    action = f"/bench/{spoken(number)}/money/{to}"
    return browser.post(action, data=hidden_fields(page(browser, number), action) | fields)


def reckons_in(desk: Desk, currency: str, more: str = "") -> None:
    """Give the shop another currency, and what else stands in its policy."""
    with desk.writing() as connection:
        document = policies.document(connection, policies.newest(connection)) or ""
        policies.add(connection, document.replace('"GBP"', currency, 1) + more, desk.clock.now(), None)


@on_both
def test_money_is_taken_at_the_bench_and_seen_by_the_customer(
    staff_client: Browser, client: Browser, desk: Desk, agreed: TakenIn, number: str
) -> None:
    answer = send(staff_client, number, "take", amount="20", how="cash", reference="till 7", on="")

    assert answer.status_code == 303
    shown = staff_client.get(answer.location).text
    assert "Deposit, in cash" in shown
    assert "till 7" in shown
    assert "£28.50" in shown
    customers = client.get(f"{path_of(agreed.link)}/money/{spoken(number)}").text
    assert "New capacitors" in customers
    assert "£28.50" in customers
    assert "not an invoice" in customers


def test_a_refusal_keeps_what_was_typed(staff_client: Browser, desk: Desk, number: str) -> None:
    answer = send(
        staff_client,
        number,
        "take",
        amount="1.234",
        how="card terminal",
        reference="4111 1111 1111 1111",
        on="2026-03-02",
    )

    assert answer.status_code == 422
    assert "is not an amount" in answer.text
    assert 'value="1.234"' in answer.text
    assert 'value="card terminal" checked' in answer.text
    assert account_of(desk, number).moved == []


@pytest.mark.parametrize("amount", ["", "-5", "1,234", str(10**12), "NaN", "٣", "1e3", "0"])
def test_no_amount_that_is_none_is_taken(staff_client: Browser, desk: Desk, number: str, amount: str) -> None:
    assert send(staff_client, number, "take", amount=amount, how="cash").status_code == 422
    assert account_of(desk, number).moved == []


def test_the_number_of_a_card_is_never_kept(staff_client: Browser, desk: Desk, number: str) -> None:
    answer = send(staff_client, number, "take", amount="20", how="cash", reference="4111 1111 1111 1111")

    assert (answer.status_code, "number of a card" in answer.text) == (422, True)
    assert account_of(desk, number).moved == []


def test_more_than_is_open_is_asked_about_and_taken_all_the_same(
    staff_client: Browser, desk: Desk, number: str
) -> None:
    bring_to(desk, number, "ready")
    asked = send(staff_client, number, "take", amount="60", how="cash")
    assert (asked.status_code, "Take it all the same" in asked.text) == (422, True)

    send(staff_client, number, "take", amount="60", how="cash", confirmed="1")
    assert "We owe you back" in page(staff_client, number)

    send(staff_client, number, "give-back", amount="11.50", how="cash")
    assert account_of(desk, number).credit_minor == 0


def test_a_mistake_is_reversed_with_a_word(staff_client: Browser, desk: Desk, number: str) -> None:
    payments.take(desk, BENCH, number, Typed("20", "cash"))
    ref = account_of(desk, number).moved[0].ref

    assert send(staff_client, number, f"{ref}/reverse", why="").status_code == 422
    send(staff_client, number, f"{ref}/reverse", why="Wrong radio")

    assert "Reversed:" in page(staff_client, number)
    assert account_of(desk, number).paid_minor == 0


def test_only_the_keeper_sees_how_something_is_let_off(
    staff_client: Browser, keeper_client: Browser, desk: Desk, number: str
) -> None:
    assert "let-off" not in page(staff_client, number)

    send(keeper_client, number, "let-off", amount="10", why="It took too long")
    assert "Let off: It took too long" in page(staff_client, number)
    ref = account_of(desk, number).let_off[0].ref

    send(keeper_client, number, f"{ref}/take-back")
    assert account_of(desk, number).let_off == []


def test_the_keeper_states_storage_where_accepted_terms_allow_it(
    keeper_client: Browser, desk: Desk, clock: FixedClock
) -> None:
    with_policy(desk, STORAGE)
    taken = take_in(desk, BENCH, NewVisit([NewDevice("Radio", "Hums")], email="ada@example.org"))
    accept_terms(desk, BENCH, taken.visit_ref, "draft-1", "tick")
    number = taken.numbers[0]
    bring_to(desk, number, "ready")
    assert "Charge storage" not in page(keeper_client, number)
    clock.at = clock.at.replace(month=4, day=1)
    keeper_client.log_in("Kim")

    assert "at most £2.00" in page(keeper_client, number)
    send(keeper_client, number, "storage", amount="1.50")

    assert account_of(desk, number).open_minor == 150


def test_where_nothing_was_agreed_nothing_is_to_be_paid(staff_client: Browser, client: Browser, desk: Desk) -> None:
    taken = take_in(desk, BENCH, NewVisit([NewDevice("Radio", "Hums")], email="ada@example.org"))

    assert "cannot be charged" in page(staff_client, taken.numbers[0])
    customers = client.get(f"{path_of(taken.link)}/money/{spoken(taken.numbers[0])}").text
    assert "nothing to pay" in customers
    assert "How to pay" not in customers


@pytest.mark.parametrize(("currency", "has_code"), [("EUR", True), ("GBP", False)])
def test_how_to_pay_is_told_in_the_shops_own_words_with_a_code_where_it_reckons_in_euro(
    client: Browser, desk: Desk, currency: str, has_code: bool
) -> None:
    reckons_in(desk, f'"{currency}"', EURO)
    device = NewDevice("Radio", "Hums", price=TypedTerms("fixed price", "48.50"))
    taken = take_in(desk, BENCH, NewVisit([device], email="ada@example.org"))
    number = spoken(taken.numbers[0])

    text = client.get(f"{path_of(taken.link)}/money/{number}?lang=de").text

    assert "Bar oder Überweisung." in text
    assert "DE89 3704 0044 0532 0130 00" in text
    assert re.search(rf"<strong class=\"figures\">{number}</strong>", text)
    assert ("<svg" in text) is has_code


def test_a_statement_is_paper_and_data(staff_client: Browser, client: Browser, desk: Desk, agreed: TakenIn) -> None:
    number = agreed.numbers[0]
    bring_to(desk, number, "ready")
    payments.take(desk, BENCH, number, Typed("48.50", "bank transfer", "=SUM(A1)"))
    hand_over(desk, BENCH, number, WITHOUT_CODE)
    at = f"/bench/{spoken(number)}/statement/1"

    paper = staff_client.get(at).text
    assert "Statement 1" in paper
    assert "not a till receipt" in paper
    assert "tax" not in paper.lower()  # a shop without tax has no line for it
    assert staff_client.get(f"{at}.json").json["open_minor"] == 0
    assert staff_client.get(f"{at}.pdf").status_code == 200
    for text in (
        staff_client.get(f"{at}.csv").text,
        client.get(f"{path_of(agreed.link)}/money/{spoken(number)}/statement/1.csv").text,
    ):
        rows = list(csv.DictReader(io.StringIO(text)))
        assert [(row["part"], row["amount"], row["currency"]) for row in rows] == [
            ("work", "48.50", "GBP"),
            ("received", "48.50", "GBP"),
            ("total", "48.50", "GBP"),
            ("paid", "48.50", "GBP"),
            ("open", "0.00", "GBP"),
            ("owed back", "0.00", "GBP"),
        ]
        assert rows[1]["reference"] == "'=SUM(A1)"


@pytest.mark.parametrize("has_pdf", [True, False])
def test_the_customer_has_the_same_statement_as_page_and_as_file(
    staff_client: Browser,
    client: Browser,
    desk: Desk,
    agreed: TakenIn,
    number: str,
    has_pdf: bool,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    if not has_pdf:
        monkeypatch.setattr(importlib.util, "find_spec", lambda _name: None)
    money = f"{path_of(agreed.link)}/money/{spoken(number)}"
    assert "/statement/" not in client.get(money).text
    send(staff_client, number, "state")

    text = client.get(money).text
    assert ("Save it as PDF" in text) is has_pdf
    paper = client.get(re.search(r'href="([^"]+/statement/1)"', text)[1])  # type: ignore[index]
    article = re.compile(r"<article.*</article>", re.DOTALL)
    theirs, ours = (article.search(each.text) for each in (paper, staff_client.get(f"/bench/{number}/statement/1")))
    assert theirs is not None
    assert ours is not None
    assert theirs[0] == ours[0]
    [sheet] = re.findall(r'href="(/paper/[^"]+)"', paper.text)
    assert "@page" in client.get(sheet).text
    assert client.get(f"{money}/statement/1?size=letter").status_code == 200
    assert client.get(f"{money}/statement/1?size=roll58").status_code == 404

    file = client.get(re.search(r'href="([^"]+/file)"', text)[1])  # type: ignore[index]
    assert file.data.startswith(b"%PDF-") is has_pdf
    assert f"statement-1.{'pdf' if has_pdf else 'html'}" in file.headers["Content-Disposition"]
    assert b"%PDF-" in file.data or "New capacitors" in file.text


@pytest.mark.parametrize("form", ["", "/file", ".csv", ".json"])
def test_a_statement_is_had_from_no_link_that_may_not_see_it(
    staff_client: Browser, client: Browser, desk: Desk, agreed: TakenIn, number: str, form: str
) -> None:
    send(staff_client, number, "state")
    end = f"/money/{spoken(number)}/statement/1{form}"
    other = take_in(desk, BENCH, NewVisit([NewDevice("Clock", "Stands")], email="bo@example.org"))
    forged = path_of(agreed.link)[:-1] + ("2" if agreed.link[-1] != "2" else "3")

    assert client.get(path_of(agreed.link) + end).status_code == 200
    assert client.get(path_of(other.link) + end).status_code == 404
    assert client.get(forged + end).status_code == 404
    assert client.get(f"/bench/{spoken(number)}/statement/1{form}").status_code in (302, 404)
    links.renew_docket(desk, BENCH, number)
    assert client.get(path_of(agreed.link) + end).status_code == 410


def test_a_statement_of_another_repair_is_none(
    staff_client: Browser, client: Browser, desk: Desk, agreed: TakenIn
) -> None:
    other = take_in(desk, BENCH, NewVisit([NewDevice("Clock", "Stands")], email="bo@example.org"))
    send(staff_client, agreed.numbers[0], "state")

    assert staff_client.get(f"/bench/{spoken(other.numbers[0])}/statement/1").status_code == 404
    theirs = path_of(other.link)
    assert client.get(f"{theirs}/money/{spoken(agreed.numbers[0])}").status_code == 404
    assert client.get(f"{theirs}/money/{spoken(other.numbers[0])}/statement/1.csv").status_code == 404
    assert client.get(f"{path_of(agreed.link)}/money/{spoken(agreed.numbers[0])}/statement/2.csv").status_code == 404


def test_the_counter_shows_what_is_open_and_leads_to_where_it_is_taken(
    staff_client: Browser, desk: Desk, number: str
) -> None:
    bring_to(desk, number, "ready")

    text = staff_client.get(f"/bench/{spoken(number)}/handover").text

    assert "Still to be paid: £48.50" in text
    assert f"/bench/{spoken(number)}/money" in text


def test_today_tells_what_is_ready_and_not_paid_and_what_left_unpaid(
    keeper_client: Browser, desk: Desk, number: str
) -> None:
    assert "Ready, and not paid" not in keeper_client.get("/bench/today").text

    bring_to(desk, number, "ready")
    text = keeper_client.get("/bench/today").text
    assert "Ready, and not paid" in text
    assert "£48.50" in text

    hand_over(desk, BENCH, number, Handed(why="Known here", unsettled="Pays by transfer"))
    text = keeper_client.get("/bench/today").text
    assert "Left unpaid" in text
    assert "open: £48.50" in text

    payments.take(desk, BENCH, number, Typed("48.50", "bank transfer"))
    assert "Left unpaid" not in keeper_client.get("/bench/today").text


def test_the_tickets_page_says_what_is_open(staff_client: Browser, desk: Desk, number: str) -> None:
    at = f"/bench/{spoken(number)}"
    assert "open: £48.50" in staff_client.get(at).text

    payments.take(desk, BENCH, number, Typed("48.50", "cash"))
    assert "all paid" in staff_client.get(at).text

    payments.take(desk, BENCH, number, Typed("5", "cash"))
    assert "owed back: £5.00" in staff_client.get(at).text


def test_a_shop_with_tax_shows_it_by_rate_and_says_how_it_is_rounded(
    staff_client: Browser, client: Browser, desk: Desk
) -> None:
    reckons_in(desk, '"GBP"\ntax_percent = 20')
    device = NewDevice("Radio", "Hums", price=TypedTerms("fixed price", "49.95", "New capacitors"))
    taken = take_in(desk, BENCH, NewVisit([device], email="ada@example.org"))

    for text in (
        page(staff_client, taken.numbers[0]),
        client.get(f"{path_of(taken.link)}/money/{spoken(taken.numbers[0])}").text,
    ):
        assert "of which tax at 20 %" in text
        assert "£8.33" in text  # a sixth of 49.95 is 8.325
        assert "rounded to the smallest coin for each line" in text


@pytest.mark.parametrize(
    ("currency", "price", "too_fine", "paid", "shown"),
    [("JPY", "4850", "12.5", "4,800", "¥50"), ("BHD", "48.500", "1.2345", "48.250", "BHD0.250")],
)
def test_a_currency_has_no_decimals_or_three(
    staff_client: Browser, desk: Desk, currency: str, price: str, too_fine: str, paid: str, shown: str
) -> None:
    reckons_in(desk, f'"{currency}"')
    device = NewDevice("Radio", "Hums", price=TypedTerms("fixed price", price, "New capacitors"))
    number = take_in(desk, BENCH, NewVisit([device], email="ada@example.org")).numbers[0]

    assert send(staff_client, number, "take", amount=too_fine, how="cash").status_code == 422
    assert send(staff_client, number, "take", amount=paid, how="cash").status_code == 303
    assert account_of(desk, number).open_minor == {"JPY": 50, "BHD": 250}[currency]
    assert shown in page(staff_client, number).replace("\xa0", "").replace("JP¥", "¥")
