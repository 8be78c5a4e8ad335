"""A cancellation by letter, mail or telephone: foreseen, entered, proven, told; and what goes back by when."""

from __future__ import annotations

import json
from datetime import date, timedelta

import pytest

from portal.actions import answers, cancelled, charges, payments, price_terms, questions, refunds
from portal.actions.balance import of
from portal.actions.cancelled import Foreseen, Typed
from portal.actions.desk import By, Desk
from portal.actions.handover import return_unrepaired, undo
from portal.actions.price_terms import TypedTerms
from portal.rules.account import Account
from portal.rules.cancelled import START
from portal.rules.offers import TypedLine, TypedOffer, TypedOption
from portal.rules.proof import first_broken
from portal.rules.refusals import AskFirst, Unfit
from portal.rules.stages import Ending
from portal.rules.statements import Part
from portal.store import money
from portal.store import questions as store
from portal.store import refunds as refund_rows
from portal.store.refunds import RefundDue
from tests.actions.aftermath import (
    assert_the_journal_rebuilds_the_row,
    journal_of,
    messages,
    refused,
    ticket_of,
)
from tests.actions.bench import bring_to
from tests.actions.test_cancelling import OFFER, UNTIL, by_post, kept, put, yes  # noqa: F401 (a fixture)
from tests.conftest import BENCH

A_DAY = timedelta(days=1)


@pytest.fixture
def begun(desk: Desk, by_post: str) -> tuple[str, str]:  # noqa: F811
    """A port for 48.50, agreed at a distance, begun at their express request; 20 paid: (number, question)."""
    return agreed(desk, by_post, "early", begin=True)


def agreed(desk: Desk, number: str, when: str, *, begin: bool = False) -> tuple[str, str]:
    ref = put(desk, number)
    answers.answer(desk, number, ref, yes(desk, when))
    payments.take(desk, BENCH, number, payments.Typed("20", "bank transfer"))
    if begin:
        questions.start_work(desk, BENCH, number, ref)
    return number, ref


def typed(ref: str, part: str = "", **more: str) -> Typed:
    values = {"how": "letter", "words": "Ada Marsh; the letter lies in the folder"} | more
    return Typed(refs=[ref], parts={ref: part}, **values)


def foreseen(desk: Desk, number: str, what: Typed) -> Foreseen:
    with desk.reading() as connection:
        return cancelled.foresee(desk, connection, ticket_of(desk, number), desk.policy(connection), what)


def enter(desk: Desk, number: str, what: Typed, **how: object) -> Foreseen:
    found = foreseen(desk, number, what)
    cancelled.cancel(desk, BENCH, number, what, confirmed=found.mark, **how)
    return found


def account_of(desk: Desk, number: str) -> Account:
    with desk.reading() as connection:
        return of(connection, ticket_of(desk, number), desk.policy(connection))


def refund(desk: Desk, number: str) -> RefundDue | None:
    with desk.reading() as connection:
        return refund_rows.of_ticket(connection, ticket_of(desk, number).id)


def test_what_follows_is_shown_before_anything_is_entered(desk: Desk, begun: tuple[str, str]) -> None:
    number, ref = begun

    told = refused(desk, lambda: cancelled.cancel(desk, BENCH, number, typed(ref, "40")), AskFirst)

    assert "19.40 GBP are owed for the 40 % that were done by then" in told
    assert "0.60 GBP go back to them by 2026-03-16" in told
    assert "not legal advice" in told


def test_what_was_shown_must_be_what_is_entered(desk: Desk, begun: tuple[str, str]) -> None:
    number, ref = begun
    mark = foreseen(desk, number, typed(ref, "40")).mark

    told = refused(desk, lambda: cancelled.cancel(desk, BENCH, number, typed(ref, "60"), confirmed=mark), AskFirst)

    assert "29.10 GBP are owed" in told


def test_work_begun_at_their_request_is_owed_in_proportion(desk: Desk, begun: tuple[str, str]) -> None:
    number, ref = begun
    desk.clock.at += 3 * A_DAY

    enter(desk, number, typed(ref, "40", sent_on="2026-03-04"))

    account = account_of(desk, number)
    assert (account.amounts.gross, account.credit_minor) == (1940, 60)
    assert refund(desk, number) == RefundDue(60, date(2026, 3, 19))  # fourteen days after the 5th, when it was heard of
    assert kept(desk, ref).cancelled_on == date(2026, 3, 4)
    assert_the_journal_rebuilds_the_row(desk, number)
    entry = journal_of(desk, number)[-1]
    assert (entry.event, entry.audience, entry.data["amount_minor"]) == ("cancelled", "bench", "1940")


def test_nothing_is_owed_for_work_begun_without_their_request(desk: Desk, by_post: str) -> None:  # noqa: F811
    number, ref = agreed(desk, by_post, "later")
    desk.clock.at = desk.clock.at.replace(day=17)  # the day after the last
    questions.start_work(desk, BENCH, number, ref)
    desk.clock.at += A_DAY

    told = refused(desk, lambda: cancelled.cancel(desk, BENCH, number, typed(ref)))
    assert "could be cancelled until 2026-03-16" in told

    enter(desk, number, typed(ref, sent_on="2026-03-16"))  # under way for two days
    assert account_of(desk, number).amounts.gross == 0
    assert refund(desk, number) == RefundDue(2000, date(2026, 4, 1))


def test_all_of_it_done_at_their_request_cannot_be_cancelled(desk: Desk, begun: tuple[str, str]) -> None:
    number, ref = begun

    assert "can no longer be cancelled" in refused(
        desk, lambda: cancelled.cancel(desk, BENCH, number, typed(ref, "100")), Unfit
    )


@pytest.mark.parametrize(
    ("what", "field"),
    [
        (Typed(how="letter", words="Ada"), "things"),
        (Typed(how="letter"), "words"),
        (Typed(words="Ada"), "how"),
        (Typed(how="letter", words="Ada", sent_on="2031-01-01"), "sent_on"),
    ],
)
def test_what_does_not_fit_names_its_field(desk: Desk, begun: tuple[str, str], what: Typed, field: str) -> None:
    with pytest.raises(Unfit) as why:
        cancelled.cancel(desk, BENCH, begun[0], what)
    assert why.value.field == field


def test_what_was_agreed_over_the_counter_is_not_among_them(desk: Desk, number: str) -> None:
    ref = put(desk, number)
    answers.record(desk, BENCH, number, ref, "a", "counter", "Ada to Kim")

    assert "cannot be" in refused(desk, lambda: cancelled.cancel(desk, BENCH, number, typed(ref)))


def test_it_is_entered_once(desk: Desk, begun: tuple[str, str]) -> None:
    number, ref = begun
    mark = enter(desk, number, typed(ref, "40"), deed_key="form").mark

    again = cancelled.cancel(desk, BENCH, number, typed(ref, "40"), confirmed=mark, deed_key="form")

    assert again.repeated
    assert "was cancelled already" in refused(desk, lambda: cancelled.cancel(desk, BENCH, number, typed(ref, "40")))


def test_nothing_more_is_begun_or_taken_back_of_what_was_cancelled(desk: Desk, by_post: str) -> None:  # noqa: F811
    number, ref = agreed(desk, by_post, "early")
    enter(desk, number, typed(ref))

    assert "was cancelled" in refused(desk, lambda: questions.start_work(desk, BENCH, number, ref))
    assert "was cancelled" in refused(desk, lambda: answers.take_back(desk, number, ref, yes(desk, "early")))


def test_the_proof_is_chained_to_that_of_the_yes_and_names_nobody(desk: Desk, begun: tuple[str, str]) -> None:
    number, ref = begun
    enter(desk, number, typed(ref, "40"))

    with desk.reading() as connection:
        chain = store.chain(connection, ticket_of(desk, number).id)
    assert first_broken(chain) is None
    proven = json.loads(chain[-1].document)
    assert (proven["answer"], proven["through"], proven["owed_percent"], proven["owed_minor"]) == (
        "cancelled",
        "letter",
        40,
        1940,
    )
    assert "Ada" not in chain[-1].document


def test_the_statement_says_which_part_was_done(desk: Desk, begun: tuple[str, str]) -> None:
    number, ref = begun
    enter(desk, number, typed(ref, "40"))
    charges.state(desk, BENCH, number)

    with desk.reading() as connection:
        made = money.standing_statement(connection, ticket_of(desk, number).id)
    assert made is not None
    line = made.document.charged[0]
    assert (line.part, line.text, line.quantity, line.unit_minor, line.amount_minor) == (
        Part.IN_PART,
        "Replace the port",
        "0.4",
        4850,
        1940,
    )


def test_going_back_as_it_came_changes_nothing_of_what_is_owed(desk: Desk, begun: tuple[str, str]) -> None:
    number, ref = begun
    enter(desk, number, typed(ref, "40"))
    return_unrepaired(desk, BENCH, number, "Cancelled", confirmed=True)

    assert account_of(desk, number).amounts.gross == 1940
    assert refund(desk, number) == RefundDue(60, date(2026, 3, 16))


def test_they_are_told_and_the_bench_can_say_it_was_a_mistake(
    desk: Desk, begun: tuple[str, str], keeper: By, technician: By
) -> None:
    number, ref = begun
    enter(desk, number, typed(ref, "40"))
    assert messages(desk)[-1][0] == "cancelled"

    assert "Only the keeper" in refused(
        desk, lambda: cancelled.take_back(desk, technician, number, ref, "The wrong repair")
    )
    cancelled.take_back(desk, keeper, number, ref, "The wrong repair")

    assert account_of(desk, number).open_minor == 2850
    assert refund(desk, number) is None
    assert kept(desk, ref).owed_percent is None
    assert messages(desk)[-1][2]["undone"] is True
    assert "not cancelled" in refused(desk, lambda: cancelled.take_back(desk, keeper, number, ref, "Again"))


def test_a_limit_that_was_cancelled_is_used_no_more(desk: Desk, by_post: str) -> None:  # noqa: F811
    terms = TypedTerms("up to a limit", "80")
    price_terms.agree_terms(desk, BENCH, by_post, terms, "telephone", "Ada to Kim", begin="early")
    offer = TypedOffer("Worn", options=[TypedOption("New port", [TypedLine("Port", "1", "30")])])
    gone = price_terms.go_ahead(desk, BENCH, by_post, offer).ref

    what = Typed(how="e-mail", words="Ada", refs=[START, gone], parts={gone: "50"})
    enter(desk, by_post, what)

    assert account_of(desk, by_post).open_minor == 1500
    assert "cancelled the limit" in refused(desk, lambda: price_terms.go_ahead(desk, BENCH, by_post, offer))


def test_a_yes_taken_back_on_the_page_is_owed_back_too(desk: Desk, by_post: str) -> None:  # noqa: F811
    number, ref = agreed(desk, by_post, "early")
    assert refund(desk, number) is None

    answers.take_back(desk, number, ref, yes(desk, "early"))

    assert refund(desk, number) == RefundDue(2000, UNTIL)


def test_a_deposit_alone_is_not_owed_back_while_the_work_goes_on(desk: Desk, number: str) -> None:
    payments.take(desk, BENCH, number, payments.Typed("20", "cash"))
    assert refund(desk, number) is None

    return_unrepaired(desk, BENCH, number, "No parts", confirmed=True)
    assert ticket_of(desk, number).ending is Ending.RETURNED
    assert refund(desk, number) == RefundDue(2000, date(2026, 3, 16))

    undo(desk, BENCH, number, "The wrong device")
    assert refund(desk, number) == RefundDue(2000, date(2026, 3, 16))  # a day once told is not made later


def test_what_was_given_back_is_owed_no_more(desk: Desk, number: str) -> None:
    payments.take(desk, BENCH, number, payments.Typed("20", "cash"))
    return_unrepaired(desk, BENCH, number, "No parts", confirmed=True)
    desk.clock.at += A_DAY

    payments.give_back(desk, BENCH, number, payments.Typed("5", "cash"))
    assert refund(desk, number) == RefundDue(1500, date(2026, 3, 16))
    payments.give_back(desk, BENCH, number, payments.Typed("15", "bank transfer"))
    assert refund(desk, number) is None


def test_more_than_was_to_pay_is_owed_back_from_that_day(desk: Desk, number: str) -> None:
    bring_to(desk, number, "ready")
    payments.take(desk, BENCH, number, payments.Typed("5", "cash"), confirmed=True)

    assert refund(desk, number) == RefundDue(500, date(2026, 3, 16))


def test_the_keeper_hears_once_of_what_is_overdue(desk: Desk, number: str, keeper: By) -> None:
    payments.take(desk, BENCH, number, payments.Typed("20", "cash"))
    return_unrepaired(desk, BENCH, number, "No parts", confirmed=True)
    desk.clock.at = desk.clock.at.replace(day=16)
    assert refunds.remind(desk, desk.clock.now()) == (0, 0)

    desk.clock.at += A_DAY
    assert refunds.remind(desk, desk.clock.now()) == (1, 1)
    assert refunds.remind(desk, desk.clock.now()) == (0, 0)
