"""Questions about money: asked before it costs, answered once, proven, and never agreed to by silence.

Directive 2011/83/EU Art. 8(2), 22, 27; SI 2013/3134 reg. 40.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from datetime import timedelta
from threading import Barrier

import pytest
from sqlalchemy import Connection, text
from sqlalchemy.exc import IntegrityError

from notifications.instants import FixedClock
from portal.actions import answers, codes, questions
from portal.actions.answers import Answer
from portal.actions.desk import By, Desk, Stale
from portal.actions.handover import return_unrepaired
from portal.actions.intake import NewDevice, NewVisit, take_in
from portal.actions.moves import hold
from portal.rules.gates import Facts
from portal.rules.offers import TypedLine, TypedOffer, TypedOption, from_data
from portal.rules.proof import first_broken
from portal.rules.questions import State
from portal.rules.refusals import Refused, Unfit
from portal.rules.stages import Hold
from portal.store import policies
from portal.store import questions as store
from portal.store.facts import facts
from portal.store.questions import Kept
from tests.actions.aftermath import assert_the_journal_rebuilds_the_row, everything, journal_of, messages, ticket_of
from tests.conftest import BENCH, MONDAY

REPLACE = TypedOption("Replace the charging port", [TypedLine("Port", "1", "18.50"), TypedLine("Work", "1", "30.00")])
SWAP = TypedOption("Swap the board", [TypedLine("Board", "1", "120")])
OFFER = TypedOffer(
    "The charging port is torn off.", "It does not charge.", "It stays as it is.", "It waits.", [REPLACE]
)
YES = Answer(1, "en", "a", "YES")
NO = Answer(1, "en")


@pytest.fixture
def put(desk: Desk, number: str) -> str:
    """A question that was put to the customer; its public id."""
    return questions.draft(desk, BENCH, number, OFFER, put_at_once=True).ref


def kept(desk: Desk, ref: str) -> Kept:
    with desk.reading() as connection:
        found = store.by_ref(connection, ref)
    assert found is not None
    return found


def state(desk: Desk, ref: str) -> State:
    return kept(desk, ref).question.state


def facts_of(desk: Desk, number: str) -> Facts:
    with desk.reading() as connection:
        return facts(connection, ticket_of(desk, number), desk.policy(connection))


def with_policy(desk: Desk, more: str) -> None:
    with desk.writing() as connection:
        document = policies.document(connection, policies.newest(connection))
        policies.add(connection, f"{document}\n{more}\n", desk.clock.now(), None)


def test_a_question_holds_the_ticket_and_tells_the_customer(desk: Desk, number: str, put: str) -> None:
    assert state(desk, put) is State.PUT
    assert ticket_of(desk, number).hold is Hold.APPROVAL
    assert [event for event, _ref, _facts in messages(desk)][-1] == "question_put"
    assert not facts_of(desk, number).extras_settled
    assert_the_journal_rebuilds_the_row(desk, number)


def test_the_total_is_what_the_lines_add_up_to(desk: Desk, put: str) -> None:
    assert kept(desk, put).offer.dearest() == 4850


def test_yes_settles_it_and_lets_the_bench_go_on(desk: Desk, number: str, put: str) -> None:
    answers.answer(desk, number, put, YES)

    assert state(desk, put) is State.AGREED
    assert kept(desk, put).question.chosen == "a"
    assert ticket_of(desk, number).hold is None
    assert facts_of(desk, number).extras_settled
    assert [event for event, _ref, _facts in messages(desk)][-1] == "question_answered"
    assert_the_journal_rebuilds_the_row(desk, number)


def test_no_is_as_good_an_answer(desk: Desk, number: str, put: str) -> None:
    answers.answer(desk, number, put, NO)

    assert state(desk, put) is State.DECLINED
    assert ticket_of(desk, number).hold is None


@pytest.mark.parametrize("word", ["", "y", "yes please", "JA", "NO", "1", "on"])
def test_no_other_word_is_a_yes(desk: Desk, number: str, put: str, word: str) -> None:
    before = everything(desk)

    with pytest.raises(Unfit, match="Please type YES"):
        answers.answer(desk, number, put, Answer(1, "en", "a", word))

    assert everything(desk) == before


def test_the_word_is_in_the_readers_language(desk: Desk, number: str, put: str) -> None:
    answers.answer(desk, number, put, Answer(1, "de", "a", " ja "))

    assert state(desk, put) is State.AGREED


def test_silence_lapses_and_charges_nothing(desk: Desk, number: str, put: str, clock: FixedClock) -> None:
    clock.at = kept(desk, put).question.answer_by - timedelta(seconds=1)
    assert answers.lapse(desk, clock.now()) == (0, 0)
    clock.at += timedelta(seconds=1)

    assert answers.lapse(desk, clock.now()) == (1, 1)
    assert answers.lapse(desk, clock.now()) == (0, 0)

    assert state(desk, put) is State.LAPSED
    assert ticket_of(desk, number).hold is None
    with desk.reading() as connection:
        assert store.agreed(connection, ticket_of(desk, number).id) == []
    with pytest.raises(Refused, match="time to answer has passed"):
        answers.answer(desk, number, put, YES)


def test_a_late_yes_is_refused_even_before_the_clock_came_by(
    desk: Desk, number: str, put: str, clock: FixedClock
) -> None:
    clock.at = kept(desk, put).question.answer_by

    with pytest.raises(Refused, match="time to answer has passed"):
        answers.answer(desk, number, put, YES)


def test_whoever_does_not_answer_is_reminded_once(desk: Desk, put: str, clock: FixedClock) -> None:
    assert answers.remind(desk, clock.now()) == (0, 0)
    clock.at = MONDAY.replace(day=4) - timedelta(seconds=1)  # two working days on, before it opens
    assert answers.remind(desk, clock.now()) == (0, 0)
    clock.at += timedelta(seconds=1)

    assert answers.remind(desk, clock.now()) == (1, 1)
    assert answers.remind(desk, clock.now()) == (0, 0)
    assert [event for event, _ref, _facts in messages(desk)].count("question_reminder") == 1


def test_a_changed_question_is_asked_anew(desk: Desk, number: str, put: str) -> None:
    questions.change(desk, BENCH, number, put, TypedOffer("Worse than thought.", options=[SWAP]))

    with pytest.raises(Refused, match="was changed while you were reading"):
        answers.answer(desk, number, put, YES)
    assert [event for event, _ref, _facts in messages(desk)].count("question_put") == 2
    answers.answer(desk, number, put, Answer(2, "en", "a", "YES"))
    assert kept(desk, put).offer.dearest() == 12_000


def test_alternatives_are_chosen_among_and_nothing_else_can_be(desk: Desk, number: str) -> None:
    ref = questions.draft(desk, BENCH, number, TypedOffer(options=[REPLACE, SWAP]), put_at_once=True).ref

    with pytest.raises(Refused, match="no such answer"):
        answers.answer(desk, number, ref, Answer(1, "en", "c", "YES"))
    answers.answer(desk, number, ref, Answer(1, "en", "b", "YES"))

    assert kept(desk, ref).question.chosen == "b"


def test_a_yes_is_taken_back_until_the_work_begins(desk: Desk, number: str, put: str) -> None:
    answers.answer(desk, number, put, YES)
    answers.take_back(desk, number, put, NO)
    assert state(desk, put) is State.DECLINED

    again = questions.draft(desk, BENCH, number, OFFER, put_at_once=True).ref
    answers.answer(desk, number, again, YES)
    questions.start_work(desk, BENCH, number, again)
    with pytest.raises(Refused, match="has started"):
        answers.take_back(desk, number, again, NO)


def test_work_nobody_agreed_to_does_not_begin(desk: Desk, number: str, put: str) -> None:
    with pytest.raises(Refused):
        questions.start_work(desk, BENCH, number, put)


def test_a_withdrawn_question_cannot_be_answered_and_whoever_was_asked_is_told(
    desk: Desk, number: str, put: str
) -> None:
    questions.withdraw(desk, BENCH, number, put)

    with pytest.raises(Refused, match="has withdrawn"):
        answers.answer(desk, number, put, YES)
    assert ticket_of(desk, number).hold is None
    assert [event for event, _ref, _facts in messages(desk)][-1] == "question_withdrawn"


def test_the_hold_goes_with_the_last_question(desk: Desk, number: str, put: str) -> None:
    other = questions.draft(desk, BENCH, number, OFFER, put_at_once=True).ref
    answers.answer(desk, number, put, YES)
    assert ticket_of(desk, number).hold is Hold.APPROVAL

    answers.answer(desk, number, other, NO)

    assert ticket_of(desk, number).hold is None


def test_another_hold_stays_as_it_is(desk: Desk, number: str) -> None:
    hold(desk, BENCH, number, "part")
    ref = questions.draft(desk, BENCH, number, OFFER, put_at_once=True).ref
    assert ticket_of(desk, number).hold is Hold.PART

    answers.answer(desk, number, ref, YES)

    assert ticket_of(desk, number).hold is Hold.PART


@pytest.fixture
def signing(desk: Desk) -> Desk:
    """A shop whose keeper looks first above 40."""
    with_policy(desk, "[approvals]\nsign_off_above = 40\n")
    return desk


def test_above_the_amount_the_keeper_looks_first(signing: Desk, number: str, technician: By, keeper: By) -> None:
    ref = questions.draft(signing, technician, number, OFFER, put_at_once=True).ref
    assert state(signing, ref) is State.AWAITING
    assert "question_put" not in [event for event, _ref, _facts in messages(signing)]
    with pytest.raises(Refused, match="Only the keeper"):
        questions.sign_off(signing, technician, number, ref, 1)

    questions.sign_off(signing, keeper, number, ref, 1)

    assert state(signing, ref) is State.PUT
    assert [event for event, _ref, _facts in messages(signing)][-1] == "question_put"


def test_the_keeper_sends_it_back_with_a_note(signing: Desk, number: str, technician: By, keeper: By) -> None:
    ref = questions.draft(signing, technician, number, OFFER, put_at_once=True).ref

    questions.return_to_bench(signing, keeper, number, ref, "Ask for the port alone.")

    assert (state(signing, ref), kept(signing, ref).returned_with) == (State.DRAFTED, "Ask for the port alone.")
    assert ticket_of(signing, number).hold is None
    assert journal_of(signing, number)[-2].audience == "bench"


def test_the_keeper_signs_off_what_they_read(signing: Desk, number: str, technician: By, keeper: By) -> None:
    ref = questions.draft(signing, technician, number, OFFER, put_at_once=True).ref
    questions.change(signing, technician, number, ref, TypedOffer("x", options=[SWAP]))

    with pytest.raises(Refused, match="was changed while you were reading"):
        questions.sign_off(signing, keeper, number, ref, 1)


def test_the_keeper_changes_the_price_and_sends_it_in_one_deed(
    signing: Desk, number: str, technician: By, keeper: By
) -> None:
    ref = questions.draft(signing, technician, number, OFFER, put_at_once=True).ref
    before = everything(signing)
    with pytest.raises(Unfit):
        questions.sign_off(signing, keeper, number, ref, 1, changed=TypedOffer(options=[TypedOption("Nothing")]))
    assert everything(signing) == before

    questions.sign_off(signing, keeper, number, ref, 1, changed=TypedOffer(options=[SWAP]))

    signed = kept(signing, ref)
    assert (signed.question.state, signed.question.version, signed.offer.dearest()) == (State.PUT, 2, 12_000)
    with pytest.raises(Refused, match="was changed while you were reading"):
        answers.answer(signing, number, ref, YES)


def test_nobody_signs_off_to_oneself_and_small_sums_go_straight_on(
    signing: Desk, number: str, technician: By, keeper: By
) -> None:
    own = questions.draft(signing, keeper, number, OFFER, put_at_once=True).ref
    small = TypedOffer(options=[TypedOption("Clean", [TypedLine("Cleaning", "1", "10")])])
    cheap = questions.draft(signing, technician, number, small, put_at_once=True).ref

    assert (state(signing, own), state(signing, cheap)) == (State.PUT, State.PUT)


def test_an_answer_by_telephone_names_who_said_it_and_the_customer_is_told(
    desk: Desk, number: str, put: str, technician: By
) -> None:
    with pytest.raises(Unfit, match="Who said it"):
        answers.record(desk, technician, number, put, "a", "telephone", "")

    answers.record(desk, technician, number, put, "a", "telephone", "Ada Marsh herself")

    assert state(desk, put) is State.AGREED
    entry = next(each for each in journal_of(desk, number) if each.event == "agreed")
    assert (entry.text, entry.audience, entry.by) == ("Ada Marsh herself", "bench", "Robin")
    assert [event for event, _ref, _facts in messages(desk)][-1] == "question_answered"


def test_an_answer_is_written_down_with_the_time_at_which_it_was_given(
    desk: Desk, number: str, put: str, clock: FixedClock
) -> None:
    asked_at = clock.now()
    clock.at += timedelta(hours=3)
    for wrong in (asked_at - timedelta(minutes=1), clock.now() + timedelta(minutes=1)):
        with pytest.raises(Unfit) as refused:
            answers.record(desk, BENCH, number, put, "a", "counter", "Ada", said_at=wrong)
        assert refused.value.field == "said_at"

    said_at = asked_at + timedelta(hours=1)
    answers.record(desk, BENCH, number, put, "a", "counter", "Ada", said_at=said_at)

    with desk.reading() as connection:
        proof = store.newest_proof(connection, put)
    assert proof is not None
    assert f'"said_at":"{said_at.isoformat()}"' in proof.document
    assert kept(desk, put).through == "counter"


def test_nobody_answers_once_the_device_has_left(desk: Desk, number: str, put: str, clock: FixedClock) -> None:
    return_unrepaired(desk, BENCH, number, "Beyond repair.")

    with pytest.raises(Refused, match="has ended"):
        answers.answer(desk, number, put, YES)
    clock.at = kept(desk, put).question.answer_by
    assert answers.lapse(desk, clock.now()) == (1, 1)

    assert state(desk, put) is State.LAPSED
    assert "question_lapsed" not in [event for event, _ref, _facts in messages(desk)]
    assert_the_journal_rebuilds_the_row(desk, number)


@pytest.mark.parametrize(
    ("tax", "wanted"), [("", (4850, 808)), ("20", (4850, 808)), ("0", (4850, 0)), ("7,7 %", (4850, 347)), ("25", None)]
)
def test_a_line_has_one_of_the_shops_rates(desk: Desk, number: str, tax: str, wanted: tuple[int, int] | None) -> None:
    with desk.writing() as connection:
        document = policies.document(connection, 1)
        assert document is not None
        document = document.replace("# tax_percent = 20 ", "tax_percent = 20 #")
        policies.add(connection, f"{document}\n[approvals]\nother_tax_percents = [7.7, 0]\n", MONDAY, None)
    offer = TypedOffer(options=[TypedOption("Port", [TypedLine("Port", "1", "48.50", tax)])])

    if wanted is None:
        with pytest.raises(Unfit, match="no tax rate “25”"):
            questions.draft(desk, BENCH, number, offer)
        return
    drafted = kept(desk, questions.draft(desk, BENCH, number, offer).ref).offer
    amounts = drafted.total(drafted.options[0]).amounts
    assert (amounts.gross, amounts.tax) == wanted


def test_a_shop_without_tax_has_no_tax_to_type(desk: Desk, number: str) -> None:
    offer = TypedOffer(options=[TypedOption("Port", [TypedLine("Port", "1", "48.50", "20")])])

    with pytest.raises(Unfit, match="charges no tax"):
        questions.draft(desk, BENCH, number, offer)


def test_the_same_form_twice_asks_once(desk: Desk, number: str) -> None:
    key = "0" * 32
    first = questions.draft(desk, BENCH, number, OFFER, put_at_once=True, deed_key=key)
    second = questions.draft(desk, BENCH, number, OFFER, put_at_once=True, deed_key=key)

    assert first.ref == second.ref
    with desk.reading() as connection:
        assert len(store.of_ticket(connection, ticket_of(desk, number).id)) == 1


# Proof


def test_every_answer_is_proven_and_chained(desk: Desk, number: str, put: str) -> None:
    answers.answer(desk, number, put, Answer(1, "en", "a", "YES", "question link", "page 1"))
    answers.take_back(desk, number, put, NO)

    with desk.reading() as connection:
        chain = store.chain(connection, ticket_of(desk, number).id)
    assert len(chain) == 2
    assert first_broken(chain) is None
    document = chain[0].document
    assert all(
        part in document for part in ("torn off", "Replace the charging port", "4850", "question link", "page 1")
    )
    assert [trace for trace in ("Ada", "ada@", "7700900123") if trace in document] == []


@pytest.mark.parametrize(("tag", "word"), [("en", "YES"), ("de", "JA")])
def test_a_proof_holds_all_that_was_shown_and_how_it_was_answered(
    desk: Desk, number: str, put: str, tag: str, word: str
) -> None:
    answers.answer(desk, number, put, Answer(1, tag, "a", word, "docket link and code", "page 1"))

    with desk.reading() as connection:
        proof = store.newest_proof(connection, put)
    assert proof is not None
    told = json.loads(proof.document)
    assert {key: told[key] for key in ("language", "word", "through", "template", "version", "option", "answer")} == {
        "language": tag,
        "word": word,
        "through": "docket link and code",
        "template": "page 1",
        "version": 1,
        "option": "a",
        "answer": "agreed",
    }
    assert told["at"] == desk.clock.now().isoformat()
    assert (told["total_minor"], told["currency"]) == (4850, "GBP")
    assert from_data(told["offer"]) == kept(desk, put).offer
    assert proof.digest == hashlib.sha256(f"{'0' * 64}\n{proof.document}".encode()).hexdigest()


def unguard(connection: Connection) -> None:
    """What somebody who has the database itself in their hands can do."""
    if connection.dialect.name == "sqlite":
        connection.execute(text("DROP TRIGGER proofs_are_not_rewritten"))
    else:
        connection.execute(text("SET LOCAL session_replication_role = replica"))


@pytest.mark.parametrize("column", ["document", "digest", "previous"])
def test_one_changed_byte_breaks_the_proof(desk: Desk, number: str, put: str, column: str) -> None:
    answers.answer(desk, number, put, YES)
    change = text(f"UPDATE proofs SET {column} = 'x' || substr({column}, 2)")
    with pytest.raises(IntegrityError, match="a proof is never changed"), desk.writing() as connection:
        connection.execute(change)
    with desk.writing() as connection:
        unguard(connection)
        connection.execute(change)

    with desk.reading() as connection:
        chain = store.chain(connection, ticket_of(desk, number).id)

    assert first_broken(chain) == 0


# Codes


def sent_code(desk: Desk, ref: str) -> str:
    with desk.reading() as connection:
        challenge = store.CODES.newest(connection, kept(desk, ref).id)
    assert challenge is not None
    return codes.code_of(desk.links.secret, challenge.ref)


def test_a_code_is_six_digits_is_used_once_and_lies_nowhere(desk: Desk, number: str, put: str) -> None:
    answers.send_code(desk, number, put)
    code = sent_code(desk, put)
    assert len(code) == 6
    assert code not in repr(everything(desk))

    challenge = answers.try_code(desk, put, f" {code[:3]} {code[3:]} ")
    with pytest.raises(Unfit, match="Please type YES"):
        answers.answer(desk, number, put, replace(YES, word="", challenge=challenge))
    challenge = answers.try_code(desk, put, code)  # a slip in the word has not used it up
    answers.answer(desk, number, put, replace(YES, challenge=challenge))

    with pytest.raises(Unfit, match="not the code"):
        answers.try_code(desk, put, code)


def test_five_tries_and_no_more(desk: Desk, number: str, put: str) -> None:
    answers.send_code(desk, number, put)
    code = sent_code(desk, put)
    wrong = f"{(int(code) + 1) % 1_000_000:06}"
    for _try in range(codes.MOST_TRIES):
        with pytest.raises(Unfit):
            answers.try_code(desk, put, wrong)

    with pytest.raises(Unfit):
        answers.try_code(desk, put, code)


def test_nobody_is_sent_codes_without_end(desk: Desk, number: str, put: str, clock: FixedClock) -> None:
    for _each in range(codes.MOST_CODES):
        answers.send_code(desk, number, put)
        with pytest.raises(Refused, match="a moment ago"):
            answers.send_code(desk, number, put)
        clock.at += timedelta(minutes=2)

    with pytest.raises(Refused, match="Too many codes"):
        answers.send_code(desk, number, put)
    clock.at += timedelta(days=1)
    answers.send_code(desk, number, put)


def test_a_code_is_over_after_a_quarter_of_an_hour(desk: Desk, number: str, put: str, clock: FixedClock) -> None:
    answers.send_code(desk, number, put)
    clock.at += codes.LASTS + timedelta(seconds=1)

    with pytest.raises(Unfit):
        answers.try_code(desk, put, sent_code(desk, put))


def test_another_questions_code_opens_nothing(desk: Desk, number: str, put: str) -> None:
    other = questions.draft(desk, BENCH, number, OFFER, put_at_once=True).ref
    answers.send_code(desk, number, other)

    with pytest.raises(Unfit):
        answers.try_code(desk, put, sent_code(desk, other))


def test_a_code_of_another_ticket_opens_nothing(desk: Desk, number: str, put: str) -> None:
    other = take_in(desk, BENCH, NewVisit([NewDevice("Clock", "Stands")], email="bo@example.org")).numbers[0]
    theirs = questions.draft(desk, BENCH, other, OFFER, put_at_once=True).ref
    answers.send_code(desk, other, theirs)
    answers.send_code(desk, number, put)
    code = sent_code(desk, theirs)
    assert code != sent_code(desk, put)

    with pytest.raises(Unfit, match="not the code"):
        answers.try_code(desk, put, code)
    assert answers.try_code(desk, theirs, code)


# Races


def race(deeds: list[Callable[[], object]]) -> list[object]:
    """Do all at once, and tell what came of each: its result, or what it raised."""
    start = Barrier(min(len(deeds), 16))

    def run(deed: Callable[[], object]) -> object:
        if deeds.index(deed) < start.parties:
            start.wait()
        try:
            return deed()
        except (Refused, Stale) as refused:
            return refused

    with ThreadPoolExecutor(16) as pool:
        return list(pool.map(run, deeds))


@pytest.mark.parametrize("many", [1000])
def test_of_many_answers_at_once_one_wins_and_the_rest_are_told(desk: Desk, number: str, put: str, many: int) -> None:
    def answering(given: Answer) -> Callable[[], object]:
        return lambda: answers.answer(desk, number, put, given)

    came = race([answering(YES if each % 2 else NO) for each in range(many)])

    won = [each for each in came if not isinstance(each, Exception)]
    assert len(won) == 1
    assert all("already" in str(each) for each in came if isinstance(each, Exception))
    with desk.reading() as connection:
        assert len(store.chain(connection, ticket_of(desk, number).id)) == 1


@pytest.mark.parametrize("many", [1, 20])
def test_withdrawing_while_agreeing_has_one_outcome(desk: Desk, number: str, put: str, many: int) -> None:
    def both() -> list[Callable[[], object]]:
        return [
            lambda: questions.withdraw(desk, BENCH, number, put),
            lambda: answers.answer(desk, number, put, YES),
        ]

    came = race([deed for _each in range(many) for deed in both()])

    assert sum(not isinstance(each, Exception) for each in came) == 1
    assert state(desk, put) in (State.AGREED, State.WITHDRAWN)
    assert ticket_of(desk, number).hold is None
    with desk.reading() as connection:
        assert len(store.chain(connection, ticket_of(desk, number).id)) == (state(desk, put) is State.AGREED)


@pytest.mark.parametrize("price", ["-1", "1e3", "10000000000000", "1.2.3", "twelve", "1,23,4"])
def test_absurd_prices_are_refused_at_their_field(desk: Desk, number: str, price: str) -> None:
    offer = TypedOffer(options=[TypedOption("Something", [TypedLine("Work", "1", price)])])
    before = everything(desk)

    with pytest.raises(Unfit) as refused:
        questions.draft(desk, BENCH, number, offer, put_at_once=True)

    assert refused.value.field == "price"
    assert everything(desk) == before


@pytest.mark.parametrize(
    ("price", "minor"), [("48.50", 4850), ("48,50", 4850), ("1,234.50", 123_450), ("1.234,50", 123_450), ("0", 0)]
)
def test_prices_are_read_as_people_write_them(desk: Desk, number: str, price: str, minor: int) -> None:
    offer = TypedOffer(options=[TypedOption("Something", [TypedLine("Work", "1", price)])])

    ref = questions.draft(desk, BENCH, number, offer).ref

    assert kept(desk, ref).offer.dearest() == minor
