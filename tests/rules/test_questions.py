"""A question about money is answered once, expressly, and for exactly what was shown; silence is never a yes."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from decimal import Decimal

import pytest
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, invariant, rule

from portal.rules import questions
from portal.rules.money import Line, Rounding
from portal.rules.questions import Offer, Option, Question, State, Terms
from portal.rules.refusals import Refused, Unfit

NOW = datetime(2026, 3, 2, 9, tzinfo=UTC)
BY = NOW + timedelta(days=3)
PUT = Question(State.PUT, version=2, answer_by=BY)
BOARD = Option("board", "Repair the board", (Line("Board work", Decimal(1), 4850),))
OFFER = Offer(
    "A cracked joint",
    "It fails when warm",
    "It will fail again",
    "It waits",
    (BOARD,),
    BY,
    Terms("GBP", Rounding.PER_LINE, True),
)


def test_a_yes_is_bound_to_the_version_that_was_shown() -> None:
    with pytest.raises(Refused, match="changed while you were reading"):
        questions.agree(PUT, "board", 1, "YES", "en", NOW)

    assert questions.agree(PUT, "board", 2, "YES", "en", NOW).state is State.AGREED


@pytest.mark.parametrize(("word", "language"), [("", "en"), ("NO", "en"), ("YES", "de"), ("JA", "en"), ("Y", "en")])
def test_agreeing_takes_the_typed_word_of_the_page(word: str, language: str) -> None:
    with pytest.raises(Unfit, match="Nothing was agreed yet"):
        questions.agree(PUT, "board", 2, word, language, NOW)


@pytest.mark.parametrize(("word", "language"), [(" yes ", "en"), ("ja", "de"), ("Ja", "de-CH")])
def test_the_word_may_be_typed_as_people_type(word: str, language: str) -> None:
    assert questions.agree(PUT, "board", 2, word, language, NOW).chosen == "board"


def test_an_answer_after_the_time_is_no_answer() -> None:
    with pytest.raises(Refused, match="nothing is charged"):
        questions.agree(PUT, "board", 2, "YES", "en", BY)


def test_an_unanswered_question_lapses_at_its_time_and_not_before() -> None:
    assert questions.lapse(PUT, BY - timedelta(seconds=1)) is None
    assert questions.lapse(PUT, BY) == replace(PUT, state=State.LAPSED)


def test_a_yes_can_be_taken_back_until_the_work_starts() -> None:
    agreed = questions.agree(PUT, "board", 2, "YES", "en", NOW)

    assert questions.take_back(agreed).state is State.DECLINED
    with pytest.raises(Refused, match="has started"):
        questions.take_back(questions.start_work(agreed))


@pytest.mark.parametrize("state", [state for state in State if state is not State.AGREED])
def test_work_that_nobody_agreed_to_cannot_start(state: State) -> None:
    with pytest.raises(Refused):
        questions.start_work(replace(PUT, state=state))


@pytest.mark.parametrize("state", [State.AGREED, State.DECLINED, State.LAPSED, State.WITHDRAWN])
def test_an_answered_question_cannot_be_answered_again(state: State) -> None:
    decided = replace(PUT, state=state)

    with pytest.raises(Refused):
        questions.agree(decided, "board", 2, "YES", "en", NOW)
    with pytest.raises(Refused):
        questions.decline(decided, 2, NOW)


@pytest.mark.parametrize(
    ("above", "by_keeper", "staff", "wanted"),
    [
        (None, False, 3, False),
        (4850, False, 3, False),
        (4849, False, 3, True),
        (4849, True, 3, False),
        (0, False, 1, False),
    ],
)
def test_the_keeper_looks_first_only_above_the_limit_and_never_at_their_own(
    above: int | None, by_keeper: bool, staff: int, wanted: bool
) -> None:
    asked = questions.needs_sign_off(OFFER.dearest(), above, drafted_by_keeper=by_keeper, keepers=1, staff=staff)

    assert asked is wanted


@pytest.mark.parametrize(
    ("offer", "field"),
    [
        (replace(OFFER, options=()), "options"),
        (replace(OFFER, options=(BOARD,) * 5), "options"),
        (replace(OFFER, options=(replace(BOARD, proposal=""),)), "proposal"),
        (replace(OFFER, options=(replace(BOARD, lines=()),)), "lines"),
        (replace(OFFER, answer_by=NOW), "answer_by"),
    ],
)
def test_an_offer_that_could_not_be_put_to_anybody_names_its_part(offer: Offer, field: str) -> None:
    with pytest.raises(Unfit) as refused:
        questions.check_offer(offer, NOW)

    assert refused.value.field == field


class AnyDeeds(RuleBasedStateMachine):
    """Whatever anybody does in whatever order: agreed means that a yes was typed to the version that stands."""

    def __init__(self) -> None:
        super().__init__()
        self.question = Question(State.DRAFTED, 1, BY)
        self.now = NOW
        self.yes_to: int | None = None

    @rule(hours=st.integers(0, 30))
    def time_passes(self, hours: int) -> None:
        self.now += timedelta(hours=hours)
        self.question = questions.lapse(self.question, self.now) or self.question

    @rule(signed=st.booleans())
    def the_shop_puts_it(self, signed: bool) -> None:
        self._try(lambda: questions.put(self.question, needs_sign_off=signed))

    @rule(version=st.integers(1, 4))
    def the_keeper_signs(self, version: int) -> None:
        self._try(lambda: questions.sign_off(self.question, version))

    @rule()
    def the_shop_changes_it(self) -> None:
        self._try(lambda: questions.change(self.question, self.now + timedelta(days=1)))

    @rule()
    def the_shop_withdraws_it(self) -> None:
        self._try(lambda: questions.withdraw(self.question))

    @rule(version=st.integers(1, 4), word=st.sampled_from(["YES", "", "OK"]))
    def the_customer_agrees(self, version: int, word: str) -> None:
        if self._try(lambda: questions.agree(self.question, "board", version, word, "en", self.now)):
            assert word == "YES"
            self.yes_to = version

    @rule(version=st.integers(1, 4))
    def the_customer_declines(self, version: int) -> None:
        self._try(lambda: questions.decline(self.question, version, self.now))

    @rule()
    def the_customer_takes_it_back(self) -> None:
        self._try(lambda: questions.take_back(self.question))

    @rule()
    def the_bench_starts(self) -> None:
        self._try(lambda: questions.start_work(self.question))

    @invariant()
    def agreed_means_a_yes_to_what_stands(self) -> None:
        if self.question.state is State.AGREED:
            assert self.yes_to == self.question.version
            assert self.question.chosen == "board"
        else:
            assert not self.question.work_started

    def _try(self, deed: Callable[[], Question]) -> bool:
        try:
            self.question = deed()
        except Refused:
            return False
        return True


TestAnyDeeds = AnyDeeds.TestCase
