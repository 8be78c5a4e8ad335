"""More work found, in a real browser at 360 px, by three people: bench, keeper, customer."""

from __future__ import annotations

import mailbox
import re
from email import message_from_bytes
from email.message import EmailMessage
from email.policy import default
from urllib.parse import urlsplit

import pytest
from playwright.sync_api import Page, expect
from sqlalchemy import update

from portal.actions import price_terms, questions
from portal.actions.desk import By, Desk
from portal.actions.price_terms import TypedTerms
from portal.main import Installation
from portal.rules.numbers import spoken
from portal.rules.offers import TypedLine, TypedOffer, TypedOption
from portal.rules.proof import first_broken
from portal.rules.questions import State
from portal.store import policies
from portal.store import questions as store
from portal.store.tables import staff
from tests.actions.aftermath import ticket_of
from tests.actions.test_cancelling import by_post  # noqa: F401 (a fixture)
from tests.browser.conftest import Open
from tests.browser.hand import Hand
from tests.browser.looks import reads_well
from tests.conftest import BENCH
from tests.web.test_questions_pages import docket_path, question_path

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


def signing_above(desk: Desk, amount: int) -> None:
    """The keeper looks first above an amount."""
    with desk.writing() as connection:
        document = policies.document(connection, 1)
        policies.add(connection, f"{document}\n[approvals]\nsign_off_above = {amount}\n", desk.clock.now(), None)


def sent(installation: Installation) -> list[EmailMessage]:
    """Send what is due, and tell what is new in the mailbox."""
    box = mailbox.Maildir(installation.settings.mailbox)
    before = set(box.keys())
    assert next(installation.sweep(["send"]))[1].failed == 0
    return [message_from_bytes(box.get_bytes(key), policy=default) for key in set(box.keys()) - before]


@BOTH_WAYS
def test_asked_signed_off_answered_and_begun_by_three_people(
    at_bench: Open,
    as_keeper: Open,
    open_page: Open,
    installation: Installation,
    desk: Desk,
    number: str,
    keeper: By,
    scripts: bool,
    capsys: pytest.CaptureFixture[str],
) -> None:
    signing_above(desk, 40)
    with desk.writing() as connection:
        connection.execute(update(staff).where(staff.c.id == keeper.staff_id).values(email="kim@shop.example"))
    sent(installation)

    bench = Hand(at_bench(f"/bench/{spoken(number)}", width=360, scripts=scripts))
    bench.tap(bench.page.get_by_role("link", name="Extras and prices"))
    bench.type(bench.page.get_by_label("What was found"), "The charging port is torn off.")
    bench.type(bench.page.get_by_label("In a few words").first, "Replace the charging port")
    bench.type(bench.page.get_by_label("For", exact=True).first, "Port and work")
    bench.type(bench.page.get_by_label("Each, GBP").first, "48.50")
    bench.tap(bench.page.get_by_role("button", name="Ask now"))
    expect(bench.page.get_by_role("heading", name="waiting for the keeper")).to_be_visible()

    (mail,) = sent(installation)
    assert mail["To"] == "kim@shop.example"
    signing = Hand(as_keeper("/shop/", width=360, scripts=scripts))
    signing.follow(mail)
    expect(signing.page.get_by_role("row", name="Total")).to_contain_text("£48.50")
    signing.tap(signing.page.get_by_role("button", name="Send it to the customer"))
    expect(signing.page.get_by_role("status")).to_have_text("It is done.")

    (mail,) = sent(installation)
    assert mail["To"] == "ada@example.org"
    customer = Hand(open_page("/", width=360, scripts=scripts))
    customer.follow(mail)
    customer.type(customer.page.get_by_label("To agree, type YES here"), "yes")
    customer.tap(customer.page.get_by_role("button", name="Yes, do this and charge me £48.50"))
    expect(customer.page.get_by_text("Check value of what was kept")).to_be_visible()

    with capsys.disabled():
        print(f"\ntaps: bench {bench.taps}, keeper {signing.taps}, customer {customer.taps} and one word")
    assert signing.taps <= MOST_KEEPER
    assert customer.taps <= MOST_CUSTOMER
    assert customer.typed == 1
    with desk.reading() as connection:
        chain = store.chain(connection, ticket_of(desk, number).id)
    assert (len(chain), first_broken(chain)) == (1, None)
    bench.page.reload()
    expect(bench.page.get_by_role("heading", name="agreed")).to_be_visible()
    bench.tap(bench.page.get_by_role("button", name="The work begins"))
    customer.page.reload()
    expect(customer.page.get_by_text("The work has begun.")).to_be_visible()
    expect(customer.page.get_by_role("button", name="Take my yes back")).to_have_count(0)


@BOTH_WAYS
def test_by_the_docket_alone_a_code_is_typed_above_the_amount(
    open_page: Open, installation: Installation, desk: Desk, number: str, scripts: bool
) -> None:
    questions.draft(desk, BENCH, number, OFFER, put_at_once=True)
    sent(installation)
    page = open_page(docket_path(desk, number), width=360, scripts=scripts)
    page.get_by_role("link", name="Read our question and answer it").click()
    expect(page.get_by_role("button", name="Yes, do this")).to_have_count(0)
    page.get_by_role("button", name="Send me a code").click()
    (mail,) = sent(installation)
    body = mail.get_body(("plain",))
    assert body is not None
    code = re.search(r"^\d{6}$", str(body.get_content()).replace("\r", ""), re.MULTILINE)
    assert code is not None

    part = page.get_by_role("region", name="Swap the board")
    part.get_by_label("The code that we sent you").fill(code[0])
    part.get_by_label("To agree, type YES here").fill("YES")
    part.get_by_role("button", name="Yes, do this and charge me £120.00").click()

    expect(page.get_by_text("by your docket’s code and a code that we sent you")).to_be_visible()


def open_all(page: Page) -> Page:
    """The page with everything unfolded."""
    page.evaluate("document.querySelectorAll('details').forEach(each => { each.open = true; })")
    return page


@pytest.mark.parametrize("width", [320, 1280])
@pytest.mark.parametrize("dark", [False, True])
def test_the_pages_fit_and_can_be_read_by_everybody(
    at_bench: Open, as_keeper: Open, open_page: Open, desk: Desk, number: str, width: int, dark: bool, technician: By
) -> None:
    with desk.writing() as connection:
        document = (policies.document(connection, 1) or "").replace("# tax_percent = 20 ", "tax_percent = 20 #")
        policies.add(connection, f"{document}\n[approvals]\nother_tax_percents = [7.7]\n", desk.clock.now(), None)
    price_terms.agree_terms(desk, BENCH, number, TypedTerms("up to a limit", "80"), "counter", "Ada")
    questions.draft(desk, BENCH, number, OFFER, put_at_once=True)
    with desk.reading() as connection:
        (kept,) = store.of_ticket(connection, ticket_of(desk, number).id)
    bench = f"/bench/{spoken(number)}/questions"
    for page in (
        at_bench(bench, width=width, dark=dark),
        open_all(at_bench(bench, width=width, dark=dark)),
        open_all(at_bench("/bench/take-in", width=width, dark=dark)),
        at_bench("/bench/today", width=width, dark=dark),
        at_bench(f"{bench}/{kept.ref}", width=width, dark=dark),
        as_keeper(f"/shop/questions/{kept.ref}", width=width, dark=dark),
        as_keeper("/shop/questions", width=width, dark=dark),
        open_page(question_path(desk, number), width=width, dark=dark),
    ):
        reads_well(page, width)


PRESET = """[...document.querySelectorAll('input, select, textarea')].filter(each =>
    each.tagName === 'SELECT' ? each.value !== '' : ['checkbox', 'radio'].includes(each.type) ? each.checked :
    each.type !== 'hidden' && each.value !== '').map(each => each.name || each.id)"""


# How a customer hears from the shop is shown as it stands, and a device is of some kind; neither costs anything.
OPEN = ("/announce", "/lost", "/privacy")  # pages for everybody
SET = {"/messages": {"wants", "way", "language"}, "/announce": {"kind"}}


def test_no_control_on_any_page_of_the_customers_is_set_beforehand(
    open_page: Open,
    desk: Desk,
    number: str,
    by_post: str,  # noqa: F811
) -> None:
    """Directive 2011/83/EU Art. 22 and 27; SI 2013/3134 reg. 40: a pre-ticked box is no consent.

    Every page that can be reached from the customer's own, by the question's link and by the docket's, while questions
    wait, with and without a code, met and unmet; and the shop's pages for everybody.
    """
    for each in (number, number, by_post):
        questions.draft(desk, BENCH, each, OFFER, put_at_once=True)
    seen: set[str] = set()
    for start in (question_path(desk, number), docket_path(desk, number), question_path(desk, by_post), "/"):
        page, waiting = open_page(start), [f"{start}?all=1"]
        while waiting:
            path = waiting.pop()
            place = path.partition("?")[0]
            if place in seen or not page.goto(path):
                continue
            seen.add(place)
            allowed = next((names for end, names in SET.items() if place.endswith(end)), set())
            assert set(page.evaluate(PRESET)) <= allowed, path
            links = page.evaluate("[...document.querySelectorAll('a[href]:not([download])')].map(each => each.href)")
            paths = [urlsplit(link) for link in links]
            waiting += [f"{link.path}?{link.query}" for link in paths if link.path.startswith((start, *OPEN))]
    assert sum("/question/" in path for path in seen) >= 5
    assert any(path.endswith("/announce") for path in seen)
    assert len(seen) >= 30


def test_nothing_is_chosen_beforehand_where_the_bench_writes_down_what_was_agreed(
    at_bench: Open, desk: Desk, number: str
) -> None:
    questions.draft(desk, BENCH, number, OFFER, put_at_once=True)

    assert at_bench(f"/bench/{spoken(number)}/questions").evaluate(PRESET) == []


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
