"""Cancelled by a press on the customer's page: at once where nothing can be owed, else declared and acknowledged.

Directive 2011/83/EU Art. 11a (in force since 19 June 2026; from memory), 14(3).
"""

from __future__ import annotations

import json
from datetime import date, timedelta

import pytest
from sqlalchemy import update

from portal.actions import answers, cancelled, price_terms, questions
from portal.actions.desk import By, Desk
from portal.actions.price_terms import TypedTerms
from portal.rules.cancelled import START
from portal.rules.proof import first_broken
from portal.rules.refusals import Unfit
from portal.store import questions as store
from portal.store.refunds import RefundDue
from portal.store.tables import contacts
from tests.actions.aftermath import (
    assert_the_journal_rebuilds_the_row,
    everything,
    journal_of,
    messages,
    refused,
    ticket_of,
)
from tests.actions.test_cancelled import account_of, agreed, begun, enter, refund, typed  # noqa: F401 (a fixture)
from tests.actions.test_cancelling import UNTIL, by_post, kept, put, yes  # noqa: F401 (a fixture)
from tests.conftest import BENCH

WHO = "Ada Marsh"
A_DAY = timedelta(days=1)


def awaited(desk: Desk) -> list[str]:
    """The questions of which somebody has to enter how much was done."""
    with desk.reading() as connection:
        return [found.ref for found, _number, _device in store.declared(connection)]


def proofs(desk: Desk, number: str) -> list[dict]:
    """What the ticket's proofs hold, in their order; the chain is whole."""
    with desk.reading() as connection:
        chain = store.chain(connection, ticket_of(desk, number).id)
    assert first_broken(chain) is None
    return [json.loads(proof.document) for proof in chain]


@pytest.mark.parametrize("when", ["early", "later"])
def test_what_can_cost_nothing_is_cancelled_at_once(desk: Desk, by_post: str, when: str) -> None:  # noqa: F811
    number, ref = agreed(desk, by_post, when)

    cancelled.declare(desk, number, ref, WHO)

    assert (kept(desk, ref).cancelled_on, kept(desk, ref).owed_percent) == (date(2026, 3, 2), 0)
    assert account_of(desk, number).amounts.gross == 0
    assert refund(desk, number) == RefundDue(2000, UNTIL)
    entry = journal_of(desk, number)[-1]
    assert (entry.event, entry.by_kind, entry.audience, entry.text) == (
        "cancelled",
        "customer",
        "bench",
        "Ada Marsh, by the button",
    )
    assert_the_journal_rebuilds_the_row(desk, number)
    proven = proofs(desk, number)[-1]
    assert (proven["answer"], proven["through"], proven["owed_minor"]) == ("cancelled", "page", 0)
    assert "Ada" not in json.dumps(proven)
    assert awaited(desk) == []


def test_the_acknowledgement_goes_out_with_it_and_names_the_moment(desk: Desk, by_post: str) -> None:  # noqa: F811
    number, ref = agreed(desk, by_post, "early")
    cancelled.declare(desk, number, ref, WHO)

    event, _reference, facts = messages(desk)[-1]

    assert event == "cancelled"
    assert facts == {"questions": [ref], "undone": False, "declared_at": desk.clock.now().isoformat()}


def test_what_was_begun_at_their_request_is_declared_and_waits_for_its_part(
    desk: Desk,
    begun: tuple[str, str],  # noqa: F811
) -> None:
    number, ref = begun
    desk.clock.at += 3 * A_DAY

    cancelled.declare(desk, number, ref, WHO)

    assert (kept(desk, ref).cancelled_on, kept(desk, ref).owed_percent) == (date(2026, 3, 5), None)
    assert awaited(desk) == [ref]
    assert refund(desk, number) is None  # how much goes back is not known yet
    assert journal_of(desk, number)[-1].event == "cancel_declared"
    assert messages(desk)[-1][2]["declared_at"] == desk.clock.now().isoformat()
    assert_the_journal_rebuilds_the_row(desk, number)
    proven = proofs(desk, number)[-1]
    assert (proven["answer"], proven["through"], proven["sent_on"]) == ("cancel declared", "page", "2026-03-05")


def test_the_bench_enters_the_part_and_the_days_are_counted_from_the_press(
    desk: Desk,
    begun: tuple[str, str],  # noqa: F811
) -> None:
    number, ref = begun
    cancelled.declare(desk, number, ref, WHO)
    desk.clock.at += 20 * A_DAY  # the time to cancel is over: what was pressed in time is in time

    enter(desk, number, typed(ref, "40", how="page", sent_on="2026-03-02", heard_on="2026-03-02"))

    assert awaited(desk) == []
    assert account_of(desk, number).amounts.gross == 1940
    assert refund(desk, number) == RefundDue(60, UNTIL)
    assert [proven["answer"] for proven in proofs(desk, number)][-2:] == ["cancel declared", "cancelled"]


@pytest.mark.parametrize(
    ("field", "days"), [("sent_on", ("2026-03-03", "2026-03-03")), ("heard_on", ("2026-03-02", ""))]
)
def test_no_later_day_is_entered_than_that_of_the_press(
    desk: Desk,
    begun: tuple[str, str],  # noqa: F811
    field: str,
    days: tuple[str, str],
) -> None:
    number, ref = begun
    cancelled.declare(desk, number, ref, WHO)
    desk.clock.at += A_DAY
    what = typed(ref, "40", sent_on=days[0], heard_on=days[1])

    with pytest.raises(Unfit, match="you heard of it then") as why:
        cancelled.cancel(desk, BENCH, number, what)

    assert why.value.field == field


def test_it_counts_once(desk: Desk, begun: tuple[str, str]) -> None:  # noqa: F811
    number, ref = begun
    cancelled.declare(desk, number, ref, WHO, deed_key="form")
    before = everything(desk)

    assert cancelled.declare(desk, number, ref, WHO, deed_key="form").repeated
    assert everything(desk) == before
    assert "already, on 2026-03-02" in refused(desk, lambda: cancelled.declare(desk, number, ref, WHO))
    enter(desk, number, typed(ref, "40"))
    assert "cancelled already" in refused(desk, lambda: cancelled.declare(desk, number, ref, WHO))


def test_it_can_be_pressed_until_the_end_of_the_last_day(desk: Desk, begun: tuple[str, str]) -> None:  # noqa: F811
    number, ref = begun
    desk.clock.at = desk.clock.at.replace(day=17)
    assert "You could cancel this until 2026-03-16" in refused(desk, lambda: cancelled.declare(desk, number, ref, WHO))

    desk.clock.at = desk.clock.at.replace(day=16)
    cancelled.declare(desk, number, ref, WHO)

    assert awaited(desk) == [ref]


def test_what_was_agreed_over_the_counter_is_none_of_it(desk: Desk, number: str) -> None:
    ref = put(desk, number)
    answers.record(desk, BENCH, number, ref, "a", "counter", "Ada to Kim")

    assert "cannot be" in refused(desk, lambda: cancelled.declare(desk, number, ref, WHO))


def test_another_repairs_question_is_none_of_it(desk: Desk, begun: tuple[str, str], number: str) -> None:  # noqa: F811
    assert "cannot be" in refused(desk, lambda: cancelled.declare(desk, number, begun[1], WHO))


def test_a_limit_is_cancelled_at_once(desk: Desk, by_post: str) -> None:  # noqa: F811
    terms = TypedTerms("up to a limit", "80")
    price_terms.agree_terms(desk, BENCH, by_post, terms, "telephone", "Ada to Kim", begin="early")

    cancelled.declare(desk, by_post, START, WHO)

    with desk.reading() as connection:
        assert store.terms_cancelled_on(connection, ticket_of(desk, by_post).id) == date(2026, 3, 2)


def test_nothing_more_is_begun_or_taken_back_of_what_was_declared(desk: Desk, begun: tuple[str, str]) -> None:  # noqa: F811
    number, ref = begun
    cancelled.declare(desk, number, ref, WHO)

    assert "was cancelled" in refused(desk, lambda: questions.start_work(desk, BENCH, number, ref))
    assert "was cancelled" in refused(desk, lambda: answers.take_back(desk, number, ref, yes(desk, "early")))


def test_the_keeper_can_say_that_it_holds_all_the_same(desk: Desk, begun: tuple[str, str], keeper: By) -> None:  # noqa: F811
    number, ref = begun
    cancelled.declare(desk, number, ref, WHO)

    cancelled.take_back(desk, keeper, number, ref, "All of it was done")

    assert awaited(desk) == []
    assert kept(desk, ref).cancelled_on is None
    assert journal_of(desk, number)[-1].event == "cancel_overruled"
    assert messages(desk)[-1][2] == {"questions": [ref], "undone": True, "overruled": True}
    assert account_of(desk, number).open_minor == 2850


def test_who_wants_no_messages_gets_the_acknowledgement_all_the_same(
    desk: Desk,
    begun: tuple[str, str],  # noqa: F811
) -> None:
    with desk.writing() as connection:
        connection.execute(update(contacts).values(wants="none"))

    cancelled.declare(desk, *begun, WHO)

    assert messages(desk)[-1][0] == "cancelled"
