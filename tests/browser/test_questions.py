"""More work found, in a real browser at 360 px, by three people: bench, keeper, customer."""

from __future__ import annotations

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import expect

from portal.actions import questions
from portal.actions.desk import By, Desk
from portal.rules.numbers import spoken
from portal.rules.offers import TypedLine, TypedOffer, TypedOption
from portal.rules.questions import State
from portal.store import policies
from portal.store import questions as store
from tests.actions.aftermath import ticket_of
from tests.browser.conftest import Open
from tests.conftest import BENCH
from tests.web.test_questions_pages import question_path

BOTH_WAYS = pytest.mark.parametrize("scripts", [True, False], ids=["with scripts", "without scripts"])
MOST_KEEPER, MOST_CUSTOMER = 4, 4  # taps; the customer types one word beside
OFFER = TypedOffer(
    "The port is torn off.",
    "It does not charge.",
    "It stays as it is.",
    options=[
        TypedOption("Replace the port", [TypedLine("Port", "1", "18.50"), TypedLine("Work", "1", "30")]),
        TypedOption("Swap the board", [TypedLine("Board", "1", "120")]),
    ],
)


@BOTH_WAYS
def test_asked_signed_off_and_answered_by_three_people(
    at_bench: Open, as_keeper: Open, open_page: Open, desk: Desk, number: str, scripts: bool
) -> None:
    with desk.writing() as connection:
        document = policies.document(connection, 1)
        policies.add(connection, f"{document}\n[approvals]\nsign_off_above = 40\n", desk.clock.now(), None)

    bench = at_bench(f"/bench/{spoken(number)}/questions", width=360, scripts=scripts)
    bench.get_by_label("What was found").fill("The charging port is torn off.")
    bench.get_by_label("In a few words, as the customer reads it").first.fill("Replace the charging port")
    bench.get_by_label("For", exact=True).first.fill("Port and work")
    bench.get_by_label("Each, GBP").first.fill("48.50")
    bench.get_by_role("button", name="Ask now").click()
    expect(bench.get_by_role("heading", name="waiting for the keeper")).to_be_visible()

    with desk.reading() as connection:
        (kept,) = store.of_ticket(connection, ticket_of(desk, number).id)
    keeper = as_keeper(f"/shop/questions/{kept.ref}", width=360, scripts=scripts)  # where the message leads: one tap
    expect(keeper.get_by_role("row", name="Total")).to_contain_text("£48.50")
    keeper.get_by_role("button", name="Send it to the customer").click()
    expect(keeper.get_by_role("status")).to_have_text("It is done.")
    taps = 2
    print(f"taps of the keeper from the message to sent: {taps}")
    assert taps <= MOST_KEEPER

    customer = open_page(question_path(desk, number), width=360, scripts=scripts)  # the message's link: one tap
    customer.get_by_label("To agree, type YES here").fill("yes")  # one tap into the field, one word
    customer.get_by_role("button", name="Yes, do this and charge me £48.50").click()
    expect(customer.get_by_text("Take my yes back")).to_be_visible()
    taps = 3
    print(f"taps of the customer from the message to answered and proven, beside one word: {taps}")
    assert taps <= MOST_CUSTOMER

    bench.reload()
    expect(bench.get_by_role("heading", name="agreed")).to_be_visible()
    with desk.reading() as connection:
        assert len(store.chain(connection, ticket_of(desk, number).id)) == 1


@pytest.mark.parametrize("width", [320, 1280])
@pytest.mark.parametrize("dark", [False, True])
def test_the_pages_fit_and_can_be_read_by_everybody(
    at_bench: Open, as_keeper: Open, open_page: Open, desk: Desk, number: str, width: int, dark: bool, technician: By
) -> None:
    questions.draft(desk, BENCH, number, OFFER, put_at_once=True)
    with desk.reading() as connection:
        (kept,) = store.of_ticket(connection, ticket_of(desk, number).id)
    bench = f"/bench/{spoken(number)}/questions"
    for page in (
        at_bench(bench, width=width, dark=dark),
        at_bench(f"{bench}/{kept.ref}", width=width, dark=dark),
        as_keeper(f"/shop/questions/{kept.ref}", width=width, dark=dark),
        as_keeper("/shop/questions", width=width, dark=dark),
        open_page(question_path(desk, number), width=width, dark=dark),
    ):
        assert page.evaluate("document.documentElement.scrollWidth") <= width, page.url
        assert (
            Axe().run(page, options={"runOnly": ["wcag2a", "wcag2aa", "wcag21aa", "wcag22aa"]}).response["violations"]
            == []
        ), page.url


def test_no_control_on_the_customers_page_is_set_beforehand(open_page: Open, desk: Desk, number: str) -> None:
    """Directive 2011/83/EU Art. 22 and 27; SI 2013/3134 reg. 40: a pre-ticked box is no consent."""
    questions.draft(desk, BENCH, number, OFFER, put_at_once=True)

    page = open_page(question_path(desk, number))

    preset = page.evaluate(
        """[...document.querySelectorAll('input, select, textarea')]
           .filter(each => each.type !== 'hidden' && (each.checked || (each.value && each.type !== 'radio')))
           .map(each => each.name)"""
    )
    assert preset == []
    assert page.locator("input[type=checkbox], input[type=radio], select").count() == 0


def test_the_customer_chooses_among_alternatives(open_page: Open, desk: Desk, number: str) -> None:
    questions.draft(desk, BENCH, number, OFFER, put_at_once=True)
    page = open_page(question_path(desk, number))

    section = page.get_by_role("region", name="Swap the board")
    section.get_by_label("To agree, type YES here").fill("YES")
    section.get_by_role("button", name="Yes, do this and charge me £120.00").click()

    expect(page.get_by_text("Take my yes back")).to_be_visible()
    with desk.reading() as connection:
        (kept,) = store.of_ticket(connection, ticket_of(desk, number).id)
    assert (kept.question.state, kept.question.chosen) == (State.AGREED, "b")


def test_the_back_button_and_a_double_click_answer_once(open_page: Open, desk: Desk, number: str) -> None:
    questions.draft(desk, BENCH, number, OFFER, put_at_once=True)
    page = open_page(question_path(desk, number))
    page.get_by_label("To agree, type YES here").first.fill("YES")
    page.get_by_role("button", name="Yes, do this and charge me £48.50").dblclick()
    expect(page.get_by_text("Take my yes back")).to_be_visible()

    page.go_back()  # the page may not be kept, so it is asked for anew and says what was decided
    expect(page.get_by_role("button", name="No, leave it")).to_have_count(0)

    with desk.reading() as connection:
        (kept,) = store.of_ticket(connection, ticket_of(desk, number).id)
    assert kept.question.state is State.AGREED
    with desk.reading() as connection:
        assert len(store.chain(connection, ticket_of(desk, number).id)) == 1
