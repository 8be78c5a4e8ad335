"""The account adds up, charges only what was agreed to, and every other deed can only make it less."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, invariant, rule

from portal.rules import questions
from portal.rules.account import (
    CHARGED_AS_IT_CAME,
    Account,
    Agreed,
    Fate,
    LetOff,
    Storage,
    account,
    charge,
    due,
    fate,
    may_let_off,
)
from portal.rules.money import NOTHING, Line, Rounding
from portal.rules.payments import How, Kind, Moved
from portal.rules.price_terms import PriceTerms, Way
from portal.rules.questions import Offer, Option, Question, State, Terms
from portal.rules.refusals import Refused
from portal.rules.statements import Part, document, from_data, to_data

NOW = datetime(2026, 3, 2, 9, tzinfo=UTC)
BY = NOW + timedelta(days=3)
TWENTY = Decimal(20)
NO_FIX = PriceTerms(Way.NO_FIX_NO_FEE, None, "GBP")


def offer(*lines: Line, rounding: Rounding = Rounding.PER_LINE, with_tax: bool = True, currency: str = "GBP") -> Offer:
    return Offer("", "", "", "", (Option("a", "Work", lines),), BY, Terms(currency, rounding, with_tax))


def agreed(*lines: Line, kind: str = "extra", begun: bool = False, ref: str = "Q", **more: object) -> Agreed:
    question = Question(State.AGREED, 1, BY, "a", work_started=begun)
    return Agreed(ref, kind, question, offer(*lines, **more), begun)  # type: ignore[arg-type]


def work(unit: int, rate: Decimal | None = TWENTY, quantity: str = "1") -> Line:
    return Line("Work", Decimal(quantity), unit, rate)


def received(minor: int, kind: Kind = Kind.PAYMENT, undone: str | None = None) -> Moved:
    return Moved(f"P{minor}", kind, minor, "GBP", How.CASH, "", date(2026, 3, 2), "", undone)


def of(*found: Agreed, off: int = 0, storage: Storage | None = None, moved: tuple[Moved, ...] = ()) -> Account:
    less = [LetOff("L", off, "GBP", "Sorry")] if off else []
    return account("GBP", [charge(each) for each in found], storage, less, moved)


@pytest.mark.parametrize("state", [state for state in State if state is not State.AGREED])
def test_what_was_not_agreed_to_cannot_be_billed(state: State) -> None:
    asked = agreed(work(4850))
    asked = replace(asked, question=replace(asked.question, state=state))

    with pytest.raises(Refused, match="has not agreed"):
        charge(asked)
    assert due([asked], None, unrepaired=False) == []


def test_what_was_agreed_is_charged_paid_and_then_nothing_is_open() -> None:
    found = of(agreed(work(4850)), agreed(work(1000)), moved=(received(2000, Kind.DEPOSIT), received(3850)))

    assert (found.amounts.gross, found.paid_minor, found.open_minor, found.credit_minor) == (5850, 5850, 0, 0)


def test_what_was_paid_too_much_is_owed_back_until_it_was_given_back() -> None:
    paid = (received(6000, Kind.DEPOSIT),)

    assert of(agreed(work(4850)), moved=paid).credit_minor == 1150
    assert of(agreed(work(4850)), moved=(*paid, received(1150, Kind.REFUND))).credit_minor == 0


def test_a_reversed_payment_does_not_count() -> None:
    assert of(agreed(work(4850)), moved=(received(4850, undone="Typed twice"),)).open_minor == 4850


def test_no_fix_no_fee_charges_nothing_for_a_device_that_goes_back_as_it_came() -> None:
    begun = agreed(work(4850), begun=True)

    assert due([begun], NO_FIX, unrepaired=True) == []
    assert [each.amounts.gross for each in due([begun], NO_FIX, unrepaired=False)] == [4850]


def test_a_device_that_goes_back_as_it_came_costs_looking_and_what_was_begun() -> None:
    looking = agreed(work(2500), kind="looking", ref="L")
    begun, not_begun = agreed(work(4850), begun=True, ref="B"), agreed(work(9900), ref="N")

    charged = due([looking, begun, not_begun], None, unrepaired=True)

    assert [each.ref for each in charged] == ["L", "B"]


def test_an_account_without_tax_has_no_rate_and_one_of_nought_percent_has() -> None:
    assert list(of(agreed(work(4850, None))).by_rate) == [None]
    assert document(of(agreed(work(4850, None))), []).by_rate == {}
    assert to_data(document(of(agreed(work(4850, None))), []))["tax_minor"] is None
    assert document(of(agreed(work(4850, Decimal(0)))), []).by_rate.keys() == {Decimal(0)}


@pytest.mark.parametrize("rounding", Rounding)
def test_a_statement_with_tax_says_how_it_was_rounded(rounding: Rounding) -> None:
    assert document(of(agreed(work(4850), rounding=rounding)), []).rounding is rounding
    assert document(of(agreed(work(4850, None), rounding=rounding)), []).rounding_words is None


def test_what_is_let_off_comes_off_every_rate_in_its_share() -> None:
    found = of(agreed(work(12000), work(10700, Decimal(7))), off=2270)

    assert found.amounts.gross == 20430
    assert {rate: each.gross for rate, each in found.by_rate.items()} == {TWENTY: 10800, Decimal(7): 9630}
    assert found.by_rate[TWENTY].tax == 1800


def test_all_that_was_charged_can_be_let_off_and_no_more() -> None:
    found = of(agreed(work(4850)), off=4850, moved=(received(4850),))

    assert (found.amounts, found.credit_minor) == (NOTHING, 4850)
    with pytest.raises(Refused, match=r"Only 0\.00 GBP are charged"):
        may_let_off(found, 1)


def test_what_was_let_off_shrinks_with_what_is_charged() -> None:
    """A yes taken back after it was let off leaves nothing to owe."""
    found = account("GBP", [], None, [LetOff("L", 500, "GBP", "Sorry")], [])

    assert (found.let_off_minor, found.open_minor, found.credit_minor) == (0, 0, 0)


def test_prices_in_a_currency_that_the_shop_gave_up_are_told_apart() -> None:
    in_euro = Moved("E", Kind.DEPOSIT, 200, "EUR", How.CASH, "", date(2026, 3, 2))
    found = of(agreed(work(4850)), agreed(work(900), currency="EUR"), moved=(in_euro, received(850)))

    assert (found.amounts.gross, found.open_minor) == (4850, 4000)
    assert [str(price) for price in found.elsewhere] == ["7.00 EUR"]
    paid_off = replace(in_euro, amount_minor=900)
    assert of(agreed(work(900), currency="EUR"), moved=(paid_off,)).elsewhere == []


def test_a_statement_tells_each_line_as_it_was_shown_with_what_was_free_and_paid() -> None:
    found = of(
        agreed(work(1200, quantity="1.5")),
        off=300,
        storage=Storage("S", 600, "GBP", TWENTY),
        moved=(received(1000), received(50, undone="Wrong")),
    )

    made = document(found, ["Cleaned the fan"])

    assert [(each.part, each.amount_minor) for each in made.entries] == [
        (Part.WORK, 1800),
        (Part.FREE, 0),
        (Part.STORAGE, 600),
        (Part.LET_OFF, -300),
        (Part.RECEIVED, 1000),
    ]
    assert (made.amounts.gross, made.open_minor) == (2100, 1100)
    assert from_data(to_data(made)) == made


LINES = st.lists(
    st.builds(
        work,
        st.integers(0, 10**7),
        st.sampled_from([None, Decimal(0), Decimal("7.7"), TWENTY, Decimal(25)]),
        st.sampled_from(["1", "0.333", "2", "12.5"]),
    ),
    min_size=1,
    max_size=4,
)
CHARGES = st.lists(
    st.builds(
        lambda lines, rounding, with_tax: agreed(*lines, rounding=rounding, with_tax=with_tax),
        LINES,
        st.sampled_from(Rounding),
        st.booleans(),
    ),
    max_size=4,
)


@given(found=CHARGES, off=st.integers(0, 10**8), stored=st.none() | st.integers(1, 10**5), paid=st.integers(1, 10**8))
def test_sums_hold_whatever_was_agreed_let_off_and_paid(
    found: list[Agreed], off: int, stored: int | None, paid: int
) -> None:
    storage = Storage("S", stored, "GBP", TWENTY) if stored else None
    held = of(*found, off=off, storage=storage, moved=(received(paid),))
    made = document(held, ["Free"])

    for amounts in (held.amounts, *held.by_rate.values()):
        assert amounts.net + amounts.tax == amounts.gross
        assert min(amounts.net, amounts.tax, amounts.gross) >= 0
    whole = sum(charge(each).amounts.gross for each in found) + (stored or 0)
    assert held.amounts.gross == whole - min(off, whole)
    assert held.open_minor - held.credit_minor == held.amounts.gross - paid
    charged = sum(each.amount_minor for each in made.charged)
    assert charged == (made.amounts.gross if made.prices_include_tax else made.amounts.net)
    assert sum(each.amount_minor for each in made.payments) == made.paid_minor


class Deeds(RuleBasedStateMachine):
    """Questions are put, answered and taken back in any order; beside the rules stands what was really said yes to."""

    def __init__(self) -> None:
        super().__init__()
        self.asked: list[Agreed] = []
        self.yes: dict[str, int] = {}

    def _try(self, place: int, deed: Callable[[Question], Question]) -> Agreed | None:
        if not self.asked:
            return None
        place %= len(self.asked)
        before = self.asked[place]
        try:
            question = deed(before.question)
        except Refused:
            return None
        self.asked[place] = replace(before, question=question, begun=question.work_started)
        return self.asked[place]

    @rule(unit=st.integers(0, 10**6))
    def draft(self, unit: int) -> None:
        ref = str(len(self.asked))
        self.asked.append(Agreed(ref, "extra", Question(State.DRAFTED, 1, BY), offer(work(unit)), False))

    @rule(place=st.integers(0, 9), needs=st.booleans())
    def put(self, place: int, needs: bool) -> None:
        self._try(place, lambda each: questions.put(each, needs_sign_off=needs))

    @rule(place=st.integers(0, 9))
    def sign_off(self, place: int) -> None:
        self._try(place, lambda each: questions.sign_off(each, each.version))

    @rule(place=st.integers(0, 9), word=st.sampled_from(["YES", "yes", "no", ""]), late=st.booleans())
    def answer(self, place: int, word: str, late: bool) -> None:
        at = BY if late else NOW
        found = self._try(place, lambda each: questions.agree(each, "a", each.version, word, "en", at))
        if found:
            self.yes[found.ref] = charge(found).amounts.gross

    @rule(place=st.integers(0, 9))
    def decline(self, place: int) -> None:
        self._try(place, lambda each: questions.decline(each, each.version, NOW))

    @rule(place=st.integers(0, 9))
    def lapse(self, place: int) -> None:
        self._try(place, lambda each: questions.lapse(each, BY) or each)

    @rule(place=st.integers(0, 9))
    def start(self, place: int) -> None:
        self._try(place, questions.start_work)

    @rule(place=st.integers(0, 9))
    def take_back(self, place: int) -> None:
        found = self._try(place, questions.take_back)
        if found:
            self.yes.pop(found.ref)

    @invariant()
    def nothing_is_billed_without_its_yes(self) -> None:
        for unrepaired in (False, True):
            charged = {each.ref: each.amounts.gross for each in due(self.asked, None, unrepaired=unrepaired)}
            assert charged.items() <= self.yes.items()
        assert of(*[each for each in self.asked if each.ref in self.yes]).amounts.gross == sum(self.yes.values())


TestDeeds = Deeds.TestCase


@pytest.mark.parametrize(
    ("kind", "begun", "owed", "way", "what"),
    [
        ("looking", False, None, Way.LOOK_FIRST, Fate.LOOKING),
        ("extra", True, None, Way.LOOK_FIRST, Fate.BEGUN),
        ("extra", False, None, Way.LOOK_FIRST, Fate.NOT_BEGUN),
        ("estimate", False, None, Way.FIXED, Fate.NOT_BEGUN),
        ("extra", True, 40, Way.FIXED, Fate.CANCELLED),
        ("extra", True, None, Way.NO_FIX_NO_FEE, Fate.NO_FIX),
        ("extra", False, 40, Way.NO_FIX_NO_FEE, Fate.NO_FIX),
    ],
)
def test_what_becomes_of_it_as_it_came_is_one_rule(
    kind: str, begun: bool, owed: int | None, way: Way, what: Fate
) -> None:
    found = replace(agreed(work(4850)), kind=kind, begun=begun, owed_percent=owed)
    terms = PriceTerms(way, None, "GBP")

    assert fate(found, terms) is what
    assert bool(due([found], terms, unrepaired=True)) is (what in CHARGED_AS_IT_CAME)
