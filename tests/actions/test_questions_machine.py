"""Whatever is done in whatever order: nothing is charged without an express yes, and every answer is proven."""

from __future__ import annotations

from collections.abc import Callable
from datetime import timedelta

import pytest
from hypothesis import HealthCheck, Phase, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, rule, run_state_machine_as_test

from portal.actions import answers, balance, price_terms, questions
from portal.actions.answers import Answer
from portal.actions.desk import By, Desk, Stale
from portal.actions.intake import NewDevice, NewVisit, take_in
from portal.actions.price_terms import TypedTerms
from portal.rules.offers import TypedLine, TypedOffer, TypedOption
from portal.rules.price_terms import Way
from portal.rules.proof import first_broken
from portal.rules.questions import OPEN, State
from portal.rules.refusals import Refused
from portal.rules.stages import Hold
from portal.store import questions as store
from portal.store.question_tables import asked, proofs
from portal.store.question_tables import questions as questions_table
from portal.store.questions import Kept
from portal.store.tables import journal, tickets
from tests.actions.aftermath import (
    assert_the_balance_is_that_of_the_account,
    assert_the_journal_rebuilds_the_row,
    everything,
    ticket_of,
)
from tests.actions.test_questions import with_policy
from tests.conftest import BENCH

WRITTEN = (tickets, journal, questions_table, asked, proofs)
WHICH = st.sampled_from([0, 0, 0, 1, 2])
PRICES = st.sampled_from(["0", "12.34", "40", "48.50", "79.99", "80"])
OPTIONS = st.sampled_from([None, "a", "b", "c"])
Yes = tuple[str, str, int]  # the question, the option and its total, as they were shown to whoever said yes


def offer(prices: list[str]) -> TypedOffer:
    return TypedOffer(options=[TypedOption(f"For {each}", [TypedLine("Work", "1", each)]) for each in prices])


class Money(RuleBasedStateMachine):
    """One device, a technician and a keeper; what was agreed to is written down beside the program."""

    desk: Desk
    technician: By
    keeper: By

    @initialize(way=st.sampled_from(["", *Way]))
    def a_device_arrives(self, way: str) -> None:
        amount = "80" if way in (Way.FIXED, Way.LIMIT, Way.LOOK_FIRST) else ""
        device = NewDevice("Phone", "Broken", price=TypedTerms(way, amount))
        self.number = take_in(self.desk, BENCH, NewVisit([device], email="ada@example.org")).numbers[0]
        self.yes: set[Yes] = {(kept.ref, "a", 8000) for kept in self.found()}
        self.allowed = 8000 if way == Way.LIMIT else 0
        questions.draft(self.desk, self.keeper, self.number, offer(["48.50"]), put_at_once=True)

    def found(self) -> list[Kept]:
        with self.desk.reading() as connection:
            return store.of_ticket(connection, ticket_of(self.desk, self.number).id)

    def _do(self, deed: Callable[[], object]) -> bool:
        """Do a deed. A refused one says why and changes nothing."""
        before = everything(self.desk, WRITTEN)
        try:
            deed()
        except (Refused, Stale):
            assert everything(self.desk, WRITTEN) == before, "a refused deed changed something"
            return False
        return True

    def _with(self, which: int, deed: Callable[[Kept], object]) -> Kept | None:
        """Do a deed with one of the questions; what it was before, if it was done."""
        found = self.found()
        kept = found[-1 - which % len(found)]  # the newest ones mostly, on which there is something to do
        return kept if self._do(lambda: deed(kept)) else None

    @rule(prices=st.lists(PRICES, min_size=1, max_size=2), by_keeper=st.booleans(), at_once=st.booleans())
    def draft(self, prices: list[str], by_keeper: bool, at_once: bool) -> None:
        by = self.keeper if by_keeper else self.technician
        self._do(lambda: questions.draft(self.desk, by, self.number, offer(prices), put_at_once=at_once))

    @rule(prices=st.lists(PRICES, min_size=1, max_size=2))
    def ask(self, prices: list[str]) -> None:
        """A question that reaches the customer, so that there is something to answer."""
        self._do(lambda: questions.draft(self.desk, self.keeper, self.number, offer(prices), put_at_once=True))

    @rule(which=WHICH)
    def put(self, which: int) -> None:
        self._with(which, lambda kept: questions.put(self.desk, self.technician, self.number, kept.ref))

    @rule(which=WHICH, late=st.booleans(), prices=st.none() | st.lists(PRICES, min_size=1, max_size=2))
    def sign_off(self, which: int, late: bool, prices: list[str] | None) -> None:
        changed = offer(prices) if prices else None

        def deed(kept: Kept) -> object:
            version = kept.question.version - late
            return questions.sign_off(self.desk, self.keeper, self.number, kept.ref, version, changed=changed)

        self._with(which, deed)

    @rule(which=WHICH)
    def return_to_bench(self, which: int) -> None:
        self._with(which, lambda kept: questions.return_to_bench(self.desk, self.keeper, self.number, kept.ref, "No."))

    @rule(which=WHICH, prices=st.lists(PRICES, min_size=1, max_size=2))
    def change(self, which: int, prices: list[str]) -> None:
        def deed(kept: Kept) -> object:
            return questions.change(self.desk, self.technician, self.number, kept.ref, offer(prices))

        self._with(which, deed)

    @rule(which=WHICH)
    def withdraw(self, which: int) -> None:
        self._with(which, lambda kept: questions.withdraw(self.desk, self.technician, self.number, kept.ref))

    @rule(which=WHICH, option=OPTIONS, late=st.booleans(), word=st.sampled_from(["YES", "yes", "", "no", "JA"]))
    def answer(self, which: int, option: str | None, late: bool, word: str) -> None:
        if self._answer(which, option, word, late) and option:
            assert word.upper() == "YES"

    @rule(which=WHICH, late=st.booleans())
    def agree(self, which: int, late: bool) -> None:
        """An answer that is mostly taken unless it is to an earlier version, so that something gets agreed to."""
        self._answer(which, "a", "YES", late)

    def _answer(self, which: int, option: str | None, word: str, late: bool) -> bool:
        def deed(kept: Kept) -> object:
            given = Answer(kept.question.version - late, "en", option, word)
            return answers.answer(self.desk, self.number, kept.ref, given)

        done = self._with(which, deed)
        assert not (done and late), "an answer to what was shown before was taken"
        if done and option:
            self.yes.add(self._seen(done, option))
        return done is not None

    @rule(which=WHICH, option=OPTIONS)
    def record(self, which: int, option: str | None) -> None:
        done = self._with(
            which,
            lambda kept: answers.record(self.desk, self.technician, self.number, kept.ref, option, "telephone", "Ada"),
        )
        if done and option:
            self.yes.add(self._seen(done, option))

    @rule(which=WHICH)
    def take_back(self, which: int) -> None:
        done = self._with(which, lambda kept: answers.take_back(self.desk, self.number, kept.ref, Answer(1, "en")))
        if done:
            assert done.started_at is None
            self.yes = {yes for yes in self.yes if yes[0] != done.ref}

    @rule(which=WHICH)
    def begin(self, which: int) -> None:
        done = self._with(which, lambda kept: questions.start_work(self.desk, self.technician, self.number, kept.ref))
        assert done is None or any(yes[0] == done.ref for yes in self.yes)

    @rule(price=PRICES)
    def go_ahead(self, price: str) -> None:
        before = {kept.ref for kept in self.found()}
        if self._do(lambda: price_terms.go_ahead(self.desk, self.keeper, self.number, offer([price]))):
            (new,) = (kept for kept in self.found() if kept.ref not in before)
            self.yes.add(self._seen(new, "a"))

    @rule(days=st.integers(1, 9))
    def time_passes(self, days: int) -> None:
        self.desk.clock.at += timedelta(days=days)
        answers.remind(self.desk, self.desk.clock.now())
        answers.lapse(self.desk, self.desk.clock.now())

    @staticmethod
    def _seen(kept: Kept, option: str) -> Yes:
        return kept.ref, option, kept.offer.total(kept.offer.option(option)).amounts.gross

    @invariant()
    def nothing_is_charged_without_its_yes(self) -> None:
        with self.desk.reading() as connection:
            ticket = ticket_of(self.desk, self.number)
            charged = store.agreed(connection, ticket.id)
            account = balance.of(connection, ticket, self.desk.policy(connection))
        assert {self._seen(kept, kept.question.chosen or "") for kept in charged} == self.yes
        assert account.amounts.gross == sum(total for _ref, _option, total in self.yes)

    @invariant()
    def the_limit_is_never_passed(self) -> None:
        assert store.used_of_limit(self.found()) <= self.allowed

    @invariant()
    def every_answer_is_proven(self) -> None:
        with self.desk.reading() as connection:
            chain = store.chain(connection, ticket_of(self.desk, self.number).id)
            proven = {kept.ref: store.newest_proof(connection, kept.ref) for kept in self.found()}
        assert first_broken(chain) is None
        for kept in self.found():
            proof = proven[kept.ref]
            if kept.question.state in (State.AGREED, State.DECLINED, State.LAPSED):
                assert proof is not None
            if kept.question.state is State.AGREED and proof:
                total = self._seen(kept, kept.question.chosen or "")[2]
                assert f'"total_minor":{total}' in proof.document

    @invariant()
    def the_device_waits_exactly_while_somebody_is_asked(self) -> None:
        states = [kept.question.state for kept in self.found()]
        waits = any(state in (State.AWAITING, State.PUT) for state in states)
        assert (ticket_of(self.desk, self.number).hold is Hold.APPROVAL) == waits
        with self.desk.reading() as connection:
            settled = store.settled(connection, ticket_of(self.desk, self.number).id)
        assert settled is not any(state in OPEN for state in states)

    @invariant()
    def the_journal_rebuilds_the_row(self) -> None:
        assert_the_journal_rebuilds_the_row(self.desk, self.number)

    @invariant()
    def the_customers_page_reads_what_the_account_comes_to(self) -> None:
        assert_the_balance_is_that_of_the_account(self.desk, self.number)


@pytest.mark.slow
def test_no_sequence_of_deeds_charges_what_nobody_agreed_to(desk: Desk, technician: By, keeper: By) -> None:
    with_policy(desk, "[approvals]\nsign_off_above = 45\n")

    class ThisShop(Money):
        def __init__(self) -> None:
            super().__init__()
            self.desk, self.technician, self.keeper = desk, technician, keeper

    few = settings(
        max_examples=60,
        stateful_step_count=14,
        deadline=None,
        suppress_health_check=list(HealthCheck),
        phases=[Phase.reuse, Phase.generate],
    )
    run_state_machine_as_test(ThisShop, settings=few)
