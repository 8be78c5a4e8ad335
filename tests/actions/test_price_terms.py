"""What is agreed about the price when a device comes in, and work within a limit: agreed once, proven, used up."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from threading import Barrier

import pytest

from portal.actions import answers, price_terms, questions
from portal.actions.answers import Answer
from portal.actions.desk import By, Desk, Stale
from portal.actions.intake import NewDevice, NewVisit, take_in
from portal.actions.price_terms import TypedTerms
from portal.rules.offers import TypedLine, TypedOffer, TypedOption
from portal.rules.price_terms import PriceTerms, Way
from portal.rules.proof import first_broken
from portal.rules.questions import State
from portal.rules.refusals import Refused, Unfit
from portal.store import questions as store
from portal.store.questions import Kept
from tests.actions.aftermath import assert_the_journal_rebuilds_the_row, everything, journal_of, messages, ticket_of
from tests.actions.test_questions import with_policy
from tests.conftest import BENCH


def work(price: str) -> TypedOffer:
    return TypedOffer(options=[TypedOption("New fan", [TypedLine("Fan", "1", price)])])


def arrive(desk: Desk, way: str, amount: str = "", what: str = "") -> str:
    device = NewDevice("Radio", "Hums\nand crackles", price=TypedTerms(way, amount, what))
    return take_in(desk, BENCH, NewVisit([device], name="Ada", email="ada@example.org")).numbers[0]


def asked(desk: Desk, number: str) -> list[Kept]:
    with desk.reading() as connection:
        return store.of_ticket(connection, ticket_of(desk, number).id)


def terms_of(desk: Desk, number: str) -> PriceTerms | None:
    with desk.reading() as connection:
        return store.terms(connection, ticket_of(desk, number).id)


def proofs(desk: Desk, number: str) -> list[str]:
    with desk.reading() as connection:
        chain = store.chain(connection, ticket_of(desk, number).id)
    assert first_broken(chain) is None
    return [proof.document for proof in chain]


def test_without_terms_nothing_is_agreed(desk: Desk, number: str) -> None:
    assert terms_of(desk, number) is None
    assert asked(desk, number) == []


@pytest.mark.parametrize(("way", "kind"), [("fixed price", "estimate"), ("look first", "looking")])
def test_a_charge_agreed_at_the_counter_is_agreed_and_proven(desk: Desk, way: str, kind: str) -> None:
    number = arrive(desk, way, "48.50")

    (kept,) = asked(desk, number)
    assert (kept.kind, kept.question.state, kept.through, kept.offer.dearest()) == (kind, State.AGREED, "counter", 4850)
    assert kept.offer.options[0].proposal == "Hums and crackles"
    first, second = proofs(desk, number)
    assert way in first
    assert '"total_minor":4850' in second
    assert [event for event, _ref, _facts in messages(desk)] == ["taken_in"]  # which tells of it
    assert_the_journal_rebuilds_the_row(desk, number)


@pytest.mark.parametrize(("way", "amount"), [("look first", ""), ("no fix no fee", ""), ("up to a limit", "80")])
def test_what_is_no_charge_bills_nothing(desk: Desk, way: str, amount: str) -> None:
    number = arrive(desk, way, amount)

    assert asked(desk, number) == []
    assert terms_of(desk, number) is not None
    assert len(proofs(desk, number)) == 1


def test_the_amount_agreed_has_its_tax_in_it_however_the_shop_reckons(desk: Desk) -> None:
    with_policy(desk, "[approvals]\nprices_include_tax = false\n")

    (kept,) = asked(desk, arrive(desk, "fixed price", "120"))

    assert kept.offer.dearest() == 12_000


def test_terms_that_do_not_fit_take_nothing_in(desk: Desk) -> None:
    before = everything(desk)

    with pytest.raises(Unfit) as refused:
        arrive(desk, "fixed price", "dear")

    assert refused.value.field == "price_amount"
    assert everything(desk) == before


def test_they_are_written_down_later_once_and_the_customer_hears(desk: Desk, number: str, technician: By) -> None:
    typed = TypedTerms("up to a limit", "80")
    with pytest.raises(Unfit, match="Who said it"):
        price_terms.agree_terms(desk, technician, number, typed, "telephone", "")

    price_terms.agree_terms(desk, technician, number, typed, "telephone", "Ada herself, to Robin")

    assert terms_of(desk, number) == PriceTerms(Way.LIMIT, 8000, "GBP")
    assert [event for event, _ref, _facts in messages(desk)][-1] == "price_agreed"
    entry = journal_of(desk, number)[-1]
    assert (entry.event, entry.text, entry.audience) == ("price_agreed", "Ada herself, to Robin", "bench")
    with pytest.raises(Refused, match="agreed before"):
        price_terms.agree_terms(desk, technician, number, typed, "counter", "Ada")
    assert_the_journal_rebuilds_the_row(desk, number)


# The limit


def test_work_within_the_limit_goes_ahead_uses_it_up_and_is_told(desk: Desk) -> None:
    number = arrive(desk, "up to a limit", "80")

    ref = price_terms.go_ahead(desk, BENCH, number, work("30")).ref

    (kept,) = asked(desk, number)
    assert (kept.ref, kept.question.state, kept.through) == (ref, State.AGREED, "limit")
    assert store.used_of_limit(asked(desk, number)) == 3000
    assert ticket_of(desk, number).hold is None
    assert [event for event, _ref, _facts in messages(desk)][-1] == "question_answered"
    assert '"through":"limit"' in proofs(desk, number)[-1]
    with pytest.raises(Refused, match=r"only 50\.00 GBP of the customer’s limit are left"):
        price_terms.go_ahead(desk, BENCH, number, work("50.01"))
    price_terms.go_ahead(desk, BENCH, number, work("50"))
    assert_the_journal_rebuilds_the_row(desk, number)


def test_what_is_taken_back_can_be_used_again(desk: Desk) -> None:
    number = arrive(desk, "up to a limit", "80")
    ref = price_terms.go_ahead(desk, BENCH, number, work("80")).ref

    answers.take_back(desk, number, ref, Answer(1, "en"))

    assert store.used_of_limit(asked(desk, number)) == 0
    price_terms.go_ahead(desk, BENCH, number, work("80"))


def test_nothing_goes_ahead_without_a_limit(desk: Desk, number: str) -> None:
    before = everything(desk)

    with pytest.raises(Refused, match="gave no limit"):
        price_terms.go_ahead(desk, BENCH, number, work("1"))

    assert everything(desk) == before


def test_a_choice_is_the_customers(desk: Desk) -> None:
    number = arrive(desk, "up to a limit", "80")
    both = TypedOffer(options=[*work("10").options, *work("20").options])

    with pytest.raises(Unfit, match="A choice is the customer’s"):
        price_terms.go_ahead(desk, BENCH, number, both)


def test_what_the_keeper_looks_at_first_does_not_go_ahead(desk: Desk, technician: By, keeper: By) -> None:
    with_policy(desk, "[approvals]\nsign_off_above = 40\n")
    number = arrive(desk, "up to a limit", "80")

    with pytest.raises(Refused, match="The keeper looks"):
        price_terms.go_ahead(desk, technician, number, work("48.50"))
    price_terms.go_ahead(desk, keeper, number, work("48.50"))


def test_two_at_once_never_pass_the_limit(desk: Desk) -> None:
    number = arrive(desk, "up to a limit", "80")
    start = Barrier(8)

    def run(_each: int) -> bool:
        start.wait()
        try:
            price_terms.go_ahead(desk, BENCH, number, work("30"))
        except (Refused, Stale):
            return False
        return True

    with ThreadPoolExecutor(8) as pool:
        went = sum(pool.map(run, range(8)))

    assert 1 <= went <= 2
    assert store.used_of_limit(asked(desk, number)) == 3000 * went


def test_a_question_that_would_fit_the_limit_may_be_asked_all_the_same(desk: Desk) -> None:
    number = arrive(desk, "up to a limit", "80")

    ref = questions.draft(desk, BENCH, number, work("30"), put_at_once=True).ref

    assert next(kept for kept in asked(desk, number) if kept.ref == ref).question.state is State.PUT
    assert store.used_of_limit(asked(desk, number)) == 0
