"""How an account stands is kept by every deed that changes it, since the customer's page has no time to reckon it."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace

import pytest
from sqlalchemy import delete

from portal.actions import answers, balance, charges, handover, payments, price_terms, questions
from portal.actions.answers import Answer
from portal.actions.desk import By, Desk
from portal.actions.intake import NewDevice, NewVisit, take_in
from portal.actions.payments import Typed
from portal.actions.price_terms import TypedTerms
from portal.main import Installation
from portal.rules.money import Price
from portal.rules.offers import TypedLine, TypedOffer, TypedOption
from portal.store import balance_tables, balances, policies
from portal.store import money as store
from tests.actions.aftermath import assert_the_balance_is_that_of_the_account, ticket_of
from tests.actions.bench import bring_to, with_code
from tests.conftest import BENCH

OFFER = TypedOffer(options=[TypedOption("A new fan", [TypedLine("Fan", "1", "30")])])
Deed = Callable[[Desk, By, str], object]


def kept(desk: Desk, number: str) -> Price | None:
    with desk.reading() as connection:
        return balances.of_ticket(connection, ticket_of(desk, number).id)


def arrive(desk: Desk, way: str = "", amount: str = "") -> str:
    device = NewDevice("Radio", "Hums", price=TypedTerms(way, amount))
    return take_in(desk, BENCH, NewVisit([device], email="ada@example.org")).numbers[0]


def ask_and_agree(desk: Desk, _keeper: By, number: str) -> None:
    ref = questions.draft(desk, BENCH, number, OFFER, put_at_once=True).ref
    answers.answer(desk, number, ref, Answer(1, "en", "a", "YES"))


def take_the_yes_back(desk: Desk, keeper: By, number: str) -> None:
    ref = questions.draft(desk, BENCH, number, OFFER, put_at_once=True).ref
    answers.answer(desk, number, ref, Answer(1, "en", "a", "YES"))
    answers.take_back(desk, number, ref, Answer(1, "en"))


def pay(desk: Desk, _keeper: By, number: str) -> None:
    payments.take(desk, BENCH, number, Typed("20", "cash"), confirmed=True)


def reverse(desk: Desk, _keeper: By, number: str) -> None:
    with desk.reading() as connection:
        moved = store.moved(connection, ticket_of(desk, number).id)
    payments.reverse(desk, BENCH, number, moved[-1].ref, "Wrong radio")


def let_off(desk: Desk, keeper: By, number: str) -> None:
    charges.let_off(desk, keeper, number, "10", "It took long")


def leave(desk: Desk, keeper: By, number: str) -> None:
    bring_to(desk, number, "ready")
    handover.hand_over(desk, keeper, number, replace(with_code(desk, number), unsettled="Later"), confirmed=True)


def return_it(desk: Desk, keeper: By, number: str) -> None:
    handover.return_unrepaired(desk, keeper, number, "No part", confirmed=True)


def undo(desk: Desk, keeper: By, number: str) -> None:
    handover.undo(desk, keeper, number, "By mistake")


@pytest.mark.parametrize(
    ("deeds", "minor"),
    [
        ([], 4850),
        ([ask_and_agree], 7850),
        ([take_the_yes_back], 4850),
        ([pay, reverse], 4850),
        ([pay, pay, pay], -1150),
        ([let_off], 3850),
        ([pay, leave], 2850),
        ([ask_and_agree, return_it], None),  # nothing was begun, so nothing is charged
        ([ask_and_agree, return_it, undo], 7850),
        ([leave, undo, pay], 2850),
    ],
    ids=lambda deeds: "-".join(each.__name__ for each in deeds) if isinstance(deeds, Sequence) else str(deeds),
)
def test_every_deed_that_changes_it_keeps_it(desk: Desk, keeper: By, deeds: Sequence[Deed], minor: int | None) -> None:
    number = arrive(desk, "fixed price", "48.50")

    for deed in deeds:
        deed(desk, keeper, number)
        assert_the_balance_is_that_of_the_account(desk, number)

    assert kept(desk, number) == (None if minor is None else Price(minor, "GBP"))


def test_what_is_agreed_later_and_within_a_limit_is_kept(desk: Desk, keeper: By) -> None:
    number = arrive(desk)
    assert kept(desk, number) is None

    price_terms.agree_terms(desk, BENCH, number, TypedTerms("up to a limit", "80"), "counter", "Ada")
    assert kept(desk, number) is None
    price_terms.go_ahead(desk, keeper, number, OFFER)

    assert kept(desk, number) == Price(3000, "GBP")


def test_what_is_open_in_two_currencies_is_in_no_single_line(desk: Desk, keeper: By) -> None:
    number = arrive(desk, "fixed price", "48.50")
    with desk.writing() as connection:
        document = policies.document(connection, policies.newest(connection)) or ""
        policies.add(connection, document.replace('"GBP"', '"EUR"', 1), desk.clock.now(), None)

    ask_and_agree(desk, keeper, number)

    assert kept(desk, number) is None


def test_it_goes_with_the_money(desk: Desk) -> None:
    number = arrive(desk, "fixed price", "48.50")

    with desk.writing() as connection:
        store.forget(connection, ticket_of(desk, number).visit_id)

    assert kept(desk, number) is None


def test_what_was_agreed_before_an_upgrade_is_written_down_by_the_clock_once(
    desk: Desk, installation: Installation
) -> None:
    number, other = arrive(desk, "fixed price", "48.50"), arrive(desk)
    with desk.writing() as connection:
        connection.execute(delete(balance_tables.balances))

    [(_name, tally)] = installation.sweep(["forecast"])

    assert kept(desk, number) == Price(4850, "GBP")
    assert kept(desk, other) is None
    assert tally.done >= 1
    assert balance.fill_in(desk) == (0, 0)
