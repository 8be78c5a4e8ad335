"""Agreed at a distance: told of the right to cancel, asked when to begin, proven word for word, and waited for."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import date, timedelta

import pytest

from portal.actions import answers, price_terms, questions
from portal.actions.announce import Announced, announce, receive
from portal.actions.answers import Answer
from portal.actions.cancelling import told
from portal.actions.desk import Desk
from portal.actions.intake import NewDevice, NewVisit
from portal.actions.price_terms import TypedTerms
from portal.rules.cancellation import Told, of_document
from portal.rules.intake_record import Item
from portal.rules.offers import TypedLine, TypedOffer, TypedOption
from portal.rules.proof import first_broken
from portal.rules.questions import State
from portal.rules.refusals import Refused, Unfit
from portal.store import policies
from portal.store import questions as store
from portal.store.questions import Kept
from tests.actions.aftermath import assert_the_journal_rebuilds_the_row, everything, ticket_of
from tests.conftest import BENCH

OFFER = TypedOffer(
    "The port is torn off.", options=[TypedOption("Replace the port", [TypedLine("Port", "1", "48.50")])]
)
UNTIL = date(2026, 3, 16)  # fourteen days after Monday the 2nd
BY_TELEPHONE = ("telephone", "Ada to Kim")


def change_policy(desk: Desk, old: str, new: str) -> None:
    with desk.writing() as connection:
        document = policies.document(connection, policies.newest(connection))
        assert document is not None
        assert old in document
        policies.add(connection, document.replace(old, new), desk.clock.now(), None)


@pytest.fixture
def by_post(desk: Desk) -> str:
    """The number of a device that came by post."""
    change_policy(desk, "announcing = false", "announcing = true")
    form = Announced(
        NewVisit(name="Ada Marsh", email="ada@example.org", language="en"),
        NewDevice("Console, white", "No picture.", "console"),
        "Ada Marsh\n1 Example Road\nExampleton",
        [Item("console")],
        None,
    )
    (number,) = announce(desk, form, "198.51.100.7").numbers
    receive(desk, BENCH, number, [Item("console")])
    return number


def put(desk: Desk, number: str, **how: object) -> str:
    return questions.draft(desk, BENCH, number, OFFER, put_at_once=True, **how).ref


def kept(desk: Desk, ref: str) -> Kept:
    with desk.reading() as connection:
        found = store.by_ref(connection, ref)
    assert found is not None
    return found


def shown(desk: Desk, tag: str = "en") -> Told:
    with desk.reading() as connection:
        words = told(desk.policy(connection), tag, at_distance=True)
    assert words is not None
    return words


def yes(desk: Desk, begin: str, tag: str = "en") -> Answer:
    word = "JA" if tag == "de" else "YES"
    return Answer(1, tag, "a", word, begin=begin, told=shown(desk, tag).mark)


def test_nobody_is_asked_at_the_counter(desk: Desk, number: str) -> None:
    ref = put(desk, number)

    answers.answer(desk, number, ref, Answer(1, "en", "a", "YES"))

    assert (kept(desk, ref).at_distance, kept(desk, ref).cancel_until, kept(desk, ref).begin_early) == (
        False,
        None,
        None,
    )
    questions.start_work(desk, BENCH, number, ref)


@pytest.mark.parametrize("begin", ["", "now", "EARLY"])
def test_a_yes_at_a_distance_counts_only_with_a_choice_of_when_to_begin(desk: Desk, by_post: str, begin: str) -> None:
    ref = put(desk, by_post)
    before = everything(desk)

    with pytest.raises(Unfit, match="choose when we may begin") as refused:
        answers.answer(desk, by_post, ref, yes(desk, begin))

    assert refused.value.field == "begin"
    assert everything(desk) == before


def test_a_no_needs_no_choice(desk: Desk, by_post: str) -> None:
    ref = put(desk, by_post)

    answers.answer(desk, by_post, ref, Answer(1, "en"))

    assert kept(desk, ref).question.state is State.DECLINED
    assert kept(desk, ref).cancel_until is None


def test_who_asks_for_it_has_the_work_begun_at_once(desk: Desk, by_post: str) -> None:
    ref = put(desk, by_post)
    answers.answer(desk, by_post, ref, yes(desk, "early"))

    assert (kept(desk, ref).cancel_until, kept(desk, ref).begin_early) == (UNTIL, True)
    questions.start_work(desk, BENCH, by_post, ref)
    assert kept(desk, ref).question.work_started
    assert_the_journal_rebuilds_the_row(desk, by_post)


def test_who_does_not_ask_for_it_is_waited_for(desk: Desk, by_post: str) -> None:
    ref = put(desk, by_post)
    answers.answer(desk, by_post, ref, yes(desk, "later"))

    for days in (0, 14):
        desk.clock.at += timedelta(days=days)
        with pytest.raises(Refused, match="can be cancelled until"):
            questions.start_work(desk, BENCH, by_post, ref)
    desk.clock.at += timedelta(days=1)
    questions.start_work(desk, BENCH, by_post, ref)


@pytest.mark.parametrize(("tag", "word"), [("en", "right to cancel"), ("de", "widerrufen")])
def test_the_proof_holds_the_exact_words_that_were_read(desk: Desk, by_post: str, tag: str, word: str) -> None:
    ref = put(desk, by_post)
    answers.answer(desk, by_post, ref, yes(desk, "early", tag))

    with desk.reading() as connection:
        chain = store.chain(connection, ticket_of(desk, by_post).id)
    settled = of_document(chain[-1].document)
    assert settled is not None
    assert settled.told == shown(desk, tag)
    assert word in settled.told.right
    assert (settled.is_early, settled.until) == (True, UNTIL)
    assert first_broken(chain) is None
    changed = json.loads(chain[-1].document) | {"cancelling": None}
    assert first_broken([*chain[:-1], replace(chain[-1], document=json.dumps(changed))]) == len(chain) - 1


def test_words_that_the_shop_changed_meanwhile_are_not_agreed_to(desk: Desk, by_post: str) -> None:
    ref = put(desk, by_post)
    given = yes(desk, "early")
    change_policy(desk, "days = 14\nright", "days = 30\nright")

    with pytest.raises(Refused, match="changed while you were reading"):
        answers.answer(desk, by_post, ref, given)
    assert kept(desk, ref).question.state is State.PUT


def test_a_shop_whose_policy_says_nothing_of_it_asks_nothing(desk: Desk, by_post: str) -> None:
    with desk.writing() as connection:
        document = policies.document(connection, policies.newest(connection))
        assert document is not None
        start = document.index("[cancellation]")
        end = document.index("# How to pay, in your words")
        policies.add(connection, document[:start] + document[end:], desk.clock.now(), None)
    ref = put(desk, by_post)

    answers.answer(desk, by_post, ref, Answer(1, "en", "a", "YES"))

    assert kept(desk, ref).cancel_until is None


def test_a_yes_by_telephone_needs_the_choice_and_one_at_the_counter_does_not(desk: Desk, by_post: str) -> None:
    ref, other = put(desk, by_post), put(desk, by_post)

    with pytest.raises(Unfit, match="choose when we may begin"):
        answers.record(desk, BENCH, by_post, ref, "a", *BY_TELEPHONE)
    answers.record(desk, BENCH, by_post, ref, "a", *BY_TELEPHONE, begin="later")
    answers.record(desk, BENCH, by_post, other, "a", "counter", "Ada to Kim")

    assert (kept(desk, ref).cancel_until, kept(desk, ref).begin_early) == (UNTIL, False)
    assert kept(desk, other).cancel_until is None


def test_the_bench_can_say_that_somebody_agrees_without_coming(desk: Desk, number: str) -> None:
    ref = put(desk, number, at_distance=True)

    with pytest.raises(Unfit, match="choose when we may begin"):
        answers.answer(desk, number, ref, Answer(1, "en", "a", "YES", told=shown(desk).mark))


def test_a_yes_taken_back_has_no_time_to_cancel_any_more(desk: Desk, by_post: str) -> None:
    ref = put(desk, by_post)
    answers.answer(desk, by_post, ref, yes(desk, "early"))

    answers.take_back(desk, by_post, ref, Answer(1, "en"))

    assert (kept(desk, ref).cancel_until, kept(desk, ref).begin_early) == (None, None)


# Agreed about the price by telephone


def test_a_price_agreed_by_telephone_needs_the_choice(desk: Desk, by_post: str) -> None:
    fixed = TypedTerms("fixed price", "48.50")
    with pytest.raises(Unfit, match="choose when we may begin"):
        price_terms.agree_terms(desk, BENCH, by_post, fixed, *BY_TELEPHONE)

    price_terms.agree_terms(desk, BENCH, by_post, fixed, *BY_TELEPHONE, begin="later")

    with desk.reading() as connection:
        (agreed,) = store.agreed(connection, ticket_of(desk, by_post).id)
        assert store.may_begin(connection, ticket_of(desk, by_post).id) == (UNTIL, False)
        chain = store.chain(connection, ticket_of(desk, by_post).id)
    assert [of_document(proof.document) is not None for proof in chain] == [True, True]
    with pytest.raises(Refused, match="can be cancelled until"):
        questions.start_work(desk, BENCH, by_post, agreed.ref)
    assert_the_journal_rebuilds_the_row(desk, by_post)


def test_nothing_is_gone_ahead_with_while_the_limit_can_be_cancelled(desk: Desk, by_post: str) -> None:
    price_terms.agree_terms(desk, BENCH, by_post, TypedTerms("up to a limit", "100"), *BY_TELEPHONE, begin="later")

    with pytest.raises(Refused, match="can be cancelled until"):
        price_terms.go_ahead(desk, BENCH, by_post, OFFER)
    desk.clock.at += timedelta(days=15)
    price_terms.go_ahead(desk, BENCH, by_post, OFFER)


def test_a_price_agreed_at_the_counter_needs_no_choice(desk: Desk, by_post: str, number: str) -> None:
    for device in (by_post, number):
        price_terms.agree_terms(desk, BENCH, device, TypedTerms("fixed price", "48.50"), "counter", "Ada to Kim")

        with desk.reading() as connection:
            assert store.may_begin(connection, ticket_of(desk, device).id) == (None, None)


def test_by_the_law_of_the_union_the_time_runs_on_to_a_working_day_and_the_proof_says_so(
    desk: Desk, by_post: str
) -> None:
    change_policy(desk, "days = 14\n", 'days = 14\nlaw = "eu"\n')
    change_policy(desk, 'public_holidays = "GB-ENG"', 'public_holidays = "DE"')
    desk.clock.at = desk.clock.at.replace(day=20)  # two weeks before Good Friday, a Friday
    ref = put(desk, by_post)

    answers.answer(desk, by_post, ref, yes(desk, "later"))

    assert kept(desk, ref).cancel_until == date(2026, 4, 7)  # the Tuesday after Easter
    with desk.reading() as connection:
        proof = store.newest_proof(connection, ref)
    assert proof is not None
    found = of_document(proof.document)
    assert found is not None
    assert found.told.right.endswith("it runs to the end of the next working day.")
    desk.clock.at = desk.clock.at.replace(month=4, day=7)
    with pytest.raises(Refused, match="can be cancelled until 2026-04-07"):
        questions.start_work(desk, BENCH, by_post, ref)
    desk.clock.at = desk.clock.at.replace(day=8)
    questions.start_work(desk, BENCH, by_post, ref)


@pytest.mark.parametrize("law", ["", 'law = "uk"\n'])
def test_elsewhere_the_days_are_just_counted(desk: Desk, by_post: str, law: str) -> None:
    change_policy(desk, "days = 14\n", f"days = 14\n{law}")
    desk.clock.at = desk.clock.at.replace(day=7)
    ref = put(desk, by_post)

    answers.answer(desk, by_post, ref, yes(desk, "later"))

    assert kept(desk, ref).cancel_until == date(2026, 3, 21)  # a Saturday
    assert "working day" not in shown(desk).right
