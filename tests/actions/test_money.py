"""Money: taken, reversed, given back, let off, stated; the handover asks for it, and a statement says how it stands."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from contextlib import suppress
from datetime import date, timedelta
from threading import Barrier

import pytest
from sqlalchemy import delete, select, text, update
from sqlalchemy.exc import DatabaseError

from notifications.instants import FixedClock
from portal.actions import balance, charges, payments, price_terms, questions
from portal.actions.answers import Answer, record, take_back
from portal.actions.desk import By, Desk, Stale
from portal.actions.handover import Handed, hand_over, return_unrepaired, undo
from portal.actions.intake import NewDevice, NewVisit, take_in
from portal.actions.payments import Typed
from portal.actions.price_terms import TypedTerms
from portal.actions.terms import accept_terms
from portal.rules.account import Account
from portal.rules.offers import TypedLine, TypedOffer, TypedOption
from portal.rules.payments import How, Kind
from portal.rules.refusals import AskFirst, Refused, Unfit
from portal.rules.stages import Ending
from portal.rules.statements import Part
from portal.store import money, refunds
from portal.store.money import Statement
from portal.store.money_tables import adjustments, statements
from portal.store.money_tables import payments as payments_table
from portal.store.question_tables import questions as questions_table
from portal.store.refunds import RefundDue
from portal.store.tables import tickets
from tests.actions.aftermath import assert_the_journal_rebuilds_the_row, everything, journal_of, refused, ticket_of
from tests.actions.bench import WITHOUT_CODE, bring_to
from tests.actions.test_questions import with_policy
from tests.conftest import BENCH

IN_CASH = Typed("48.50", "cash")


@pytest.fixture
def agreed(desk: Desk) -> str:
    """The number of a ticket for which a fixed price of 48.50 was agreed."""
    return arrive(desk, "fixed price", "48.50")


@pytest.fixture
def ready(desk: Desk, agreed: str) -> str:
    """The same, and its device is ready."""
    bring_to(desk, agreed, "ready")
    return agreed


def arrive(desk: Desk, way: str = "", amount: str = "") -> str:
    device = NewDevice("Radio", "Hums", price=TypedTerms(way, amount, "New capacitors" if amount else ""))
    return take_in(desk, BENCH, NewVisit([device], name="Ada", email="ada@example.org")).numbers[0]


def account_of(desk: Desk, number: str) -> Account:
    with desk.reading() as connection:
        return balance.of(connection, ticket_of(desk, number), desk.policy(connection))


def statements_of(desk: Desk, number: str) -> list[Statement]:
    with desk.reading() as connection:
        return money.statements_of(connection, ticket_of(desk, number).id)


def test_what_was_agreed_at_intake_is_charged_and_open(desk: Desk, agreed: str) -> None:
    assert account_of(desk, agreed).open_minor == 4850


def test_a_deposit_before_it_is_ready_and_the_rest_as_a_payment(desk: Desk, agreed: str, technician: By) -> None:
    payments.take(desk, technician, agreed, Typed("20", "bank transfer", "received 3/26"))
    bring_to(desk, agreed, "ready")
    payments.take(desk, technician, agreed, Typed("28,50", "cash"))

    account = account_of(desk, agreed)
    assert [(each.kind, each.amount_minor, each.how, each.by) for each in account.moved] == [
        (Kind.DEPOSIT, 2000, How.TRANSFER, "Robin"),
        (Kind.PAYMENT, 2850, How.CASH, "Robin"),
    ]
    assert account.moved[0].reference == "received 3/26"
    assert (account.open_minor, account.credit_minor) == (0, 0)
    assert_the_journal_rebuilds_the_row(desk, agreed)


@pytest.mark.parametrize(
    ("typed", "field"),
    [
        (Typed("", "cash"), "amount"),
        (Typed("-5", "cash"), "amount"),
        (Typed("0", "cash"), "amount"),
        (Typed(str(10**12), "cash"), "amount"),
        (Typed("5", "cheque"), "how"),
        (Typed("5", "cash", "4111 1111 1111 1111"), "reference"),
        (Typed("5", "cash", on="2026-03-03"), "on"),
        (Typed("5", "cash", on="yesterday"), "on"),
    ],
)
def test_what_does_not_fit_is_refused_by_its_field(desk: Desk, agreed: str, typed: Typed, field: str) -> None:
    with pytest.raises(Unfit) as why:
        payments.take(desk, BENCH, agreed, typed)
    assert why.value.field == field
    assert account_of(desk, agreed).moved == []


def test_more_than_is_open_is_asked_about_first(desk: Desk, ready: str) -> None:
    refused(desk, lambda: payments.take(desk, BENCH, ready, Typed("60", "cash")), AskFirst)

    payments.take(desk, BENCH, ready, Typed("60", "cash"), confirmed=True)
    assert account_of(desk, ready).credit_minor == 1150


def test_a_form_sent_twice_takes_the_money_once(desk: Desk, ready: str) -> None:
    payments.take(desk, BENCH, ready, IN_CASH, deed_key="form")
    assert payments.take(desk, BENCH, ready, IN_CASH, deed_key="form").repeated

    assert account_of(desk, ready).paid_minor == 4850


def test_a_mistake_is_reversed_once_with_its_reason_for_the_bench(desk: Desk, ready: str) -> None:
    payments.take(desk, BENCH, ready, IN_CASH)
    ref = account_of(desk, ready).moved[0].ref

    payments.reverse(desk, BENCH, ready, ref, "Typed on the wrong repair")

    account = account_of(desk, ready)
    assert (account.open_minor, account.moved[0].undone) == (4850, "Typed on the wrong repair")
    assert journal_of(desk, ready)[-1].audience == "bench"
    assert "reversed already" in refused(desk, lambda: payments.reverse(desk, BENCH, ready, ref, "Again"))
    assert "no such payment" in refused(desk, lambda: payments.reverse(desk, BENCH, ready, "0000000000", "What"))


def test_only_what_is_owed_back_is_given_back(desk: Desk, agreed: str) -> None:
    payments.take(desk, BENCH, agreed, Typed("60", "cash"))

    assert "Only 11.50 GBP are owed back" in refused(
        desk, lambda: payments.give_back(desk, BENCH, agreed, Typed("11.51", "cash"))
    )
    payments.give_back(desk, BENCH, agreed, Typed("11.50", "bank transfer", "R-1"))

    account = account_of(desk, agreed)
    assert (account.open_minor, account.credit_minor, account.moved[-1].kind) == (0, 0, Kind.REFUND)


def test_two_who_give_back_at_once_give_it_back_once(desk: Desk, agreed: str) -> None:
    payments.take(desk, BENCH, agreed, Typed("60", "cash"))
    start = Barrier(2)

    def give_back(_place: int) -> bool:
        start.wait()
        try:
            payments.give_back(desk, BENCH, agreed, Typed("11.50", "cash"))
        except (Refused, Stale):
            return False
        return True

    with ThreadPoolExecutor(2) as pool:
        done = list(pool.map(give_back, range(2)))

    assert sorted(done) == [False, True]
    assert account_of(desk, agreed).paid_minor == 4850


def test_a_yes_taken_back_makes_a_deposit_owed_back(desk: Desk, number: str, keeper: By) -> None:
    offer = TypedOffer(options=[TypedOption("New fan", [TypedLine("Fan", "1", "48.50")])])
    asked = questions.draft(desk, keeper, number, offer, put_at_once=True).ref
    assert account_of(desk, number).is_empty
    record(desk, keeper, number, asked, "a", "telephone", "Ada, to Kim")
    payments.take(desk, keeper, number, Typed("20", "cash"))
    take_back(desk, number, asked, Answer(1, "en"))

    assert account_of(desk, number).credit_minor == 2000


def test_a_device_that_goes_unpaid_needs_the_keepers_word(desk: Desk, ready: str, technician: By) -> None:
    with_policy(desk, "[handover]\nbench_without_code = true")
    handed = Handed(why="Known here", checked=["number", "device"])

    assert "48.50 is still to be paid" in refused(desk, lambda: hand_over(desk, technician, ready, handed))
    payments.take(desk, technician, ready, IN_CASH)
    hand_over(desk, technician, ready, handed)

    assert ticket_of(desk, ready).ending is Ending.COLLECTED


def test_when_it_leaves_a_statement_says_how_it_stands(desk: Desk, ready: str) -> None:
    payments.take(desk, BENCH, ready, IN_CASH)
    hand_over(desk, BENCH, ready, WITHOUT_CODE)

    [made] = statements_of(desk, ready)
    assert (made.number, made.stands, made.at) == (1, True, desk.clock.now())
    assert [(each.part, each.text, each.amount_minor) for each in made.document.entries] == [
        (Part.WORK, "New capacitors", 4850),
        (Part.RECEIVED, "payment", 4850),
    ]
    assert made.document.open_minor == 0


def test_where_no_money_was_spoken_of_there_is_no_statement(desk: Desk, number: str) -> None:
    bring_to(desk, number, "ready")
    hand_over(desk, BENCH, number, WITHOUT_CODE)

    assert statements_of(desk, number) == []
    assert "nothing to state" in refused(desk, lambda: charges.state(desk, BENCH, number))


def test_a_handover_undone_reverses_its_statement_and_the_next_has_a_number_of_its_own(desk: Desk, ready: str) -> None:
    payments.take(desk, BENCH, ready, IN_CASH)
    hand_over(desk, BENCH, ready, WITHOUT_CODE)
    undo(desk, BENCH, ready, "The wrong radio")

    assert [(each.number, each.reverses, each.reversed_by) for each in statements_of(desk, ready)] == [
        (1, None, 2),
        (2, 1, None),
    ]
    assert account_of(desk, ready).paid_minor == 4850

    hand_over(desk, BENCH, ready, WITHOUT_CODE)
    assert [each.number for each in statements_of(desk, ready) if each.stands] == [3]


def test_money_that_comes_later_makes_the_statement_anew(desk: Desk, ready: str) -> None:
    handed = Handed(why="Known here", unsettled="Pays by transfer")
    hand_over(desk, BENCH, ready, handed)
    assert statements_of(desk, ready)[0].document.open_minor == 4850

    payments.take(desk, BENCH, ready, Typed("48.50", "bank transfer"))

    assert [each.number for each in statements_of(desk, ready)] == [1, 2, 3]
    assert statements_of(desk, ready)[-1].document.open_minor == 0


def test_a_statement_is_made_on_request_and_not_twice_of_the_same(desk: Desk, agreed: str) -> None:
    charges.state(desk, BENCH, agreed)
    assert "Statement 1 says just that" in refused(desk, lambda: charges.state(desk, BENCH, agreed))

    payments.take(desk, BENCH, agreed, Typed("5", "cash"))
    charges.state(desk, BENCH, agreed)

    assert [each.number for each in statements_of(desk, agreed) if each.stands] == [3]


def test_a_device_that_goes_back_as_it_came_costs_only_looking(desk: Desk, technician: By) -> None:
    number = arrive(desk, "look first", "25")
    price_terms_offer = TypedOffer(options=[TypedOption("New fan", [TypedLine("Fan", "1", "48.50")])])
    asked = questions.draft(desk, BENCH, number, price_terms_offer, put_at_once=True).ref
    record(desk, BENCH, number, asked, "a", "telephone", "Ada, to Kim")
    assert account_of(desk, number).open_minor == 7350

    why = "The fan is made no more."
    assert "£25.00 is still to be paid" in refused(desk, lambda: return_unrepaired(desk, technician, number, why))
    assert "Take it first?" in refused(desk, lambda: return_unrepaired(desk, BENCH, number, why), AskFirst)
    return_unrepaired(desk, BENCH, number, why, confirmed=True)

    assert account_of(desk, number).open_minor == 2500
    assert statements_of(desk, number)[0].document.amounts.gross == 2500


def test_the_keeper_lets_off_and_nobody_else(desk: Desk, ready: str, technician: By, keeper: By) -> None:
    assert "Only the keeper" in refused(desk, lambda: charges.let_off(desk, technician, ready, "10", "Late"))
    assert "No more than that" in refused(desk, lambda: charges.let_off(desk, keeper, ready, "48.51", "Late"))

    charges.let_off(desk, keeper, ready, "10", "It took too long")
    account = account_of(desk, ready)
    assert (account.open_minor, account.let_off[0].why) == (3850, "It took too long")

    charges.take_back(desk, keeper, ready, account.let_off[0].ref)
    assert account_of(desk, ready).open_minor == 4850
    assert "taken back already" in refused(desk, lambda: charges.take_back(desk, keeper, ready, account.let_off[0].ref))


STORAGE = '[collection]\nstorage = { per_day = 1, after_days = 28, at_most = 30, terms_point = "uncollected" }'


def test_storage_is_charged_only_once_the_keeper_states_it(desk: Desk, clock: FixedClock, keeper: By) -> None:
    with_policy(desk, STORAGE)
    device = NewDevice("Radio", "Hums", price=TypedTerms("fixed price", "48.50"))
    taken = take_in(desk, BENCH, NewVisit([device], email="ada@example.org"))
    number = taken.numbers[0]
    accept_terms(desk, BENCH, taken.visit_ref, "draft-1", "tick")
    bring_to(desk, number, "ready")
    assert "costs nothing" in refused(desk, lambda: charges.state_storage(desk, keeper, number))

    clock.at += timedelta(days=30)
    assert account_of(desk, number).open_minor == 4850
    assert "at most 2.00 GBP" in refused(desk, lambda: charges.state_storage(desk, keeper, number, "2.01"), Unfit)
    charges.state_storage(desk, keeper, number)
    assert account_of(desk, number).open_minor == 5050

    clock.at += timedelta(days=100)
    charges.state_storage(desk, keeper, number)
    account = account_of(desk, number)
    assert account.open_minor == 7850
    assert account.storage is not None
    charges.take_back(desk, keeper, number, account.storage.ref)
    assert account_of(desk, number).open_minor == 4850


def test_storage_is_not_charged_without_accepted_terms_that_say_so(
    desk: Desk, clock: FixedClock, keeper: By, technician: By
) -> None:
    before = take_in(desk, BENCH, NewVisit([NewDevice("Radio", "Hums")]))
    accept_terms(desk, BENCH, before.visit_ref, "draft-1", "tick")  # the shop charged nothing for storage then
    with_policy(desk, STORAGE)
    never = take_in(desk, BENCH, NewVisit([NewDevice("Radio", "Hums")]))
    for taken in (before, never):
        bring_to(desk, taken.numbers[0], "ready")
    clock.at += timedelta(days=60)

    assert "no accepted terms" in refused(desk, lambda: charges.state_storage(desk, keeper, before.numbers[0]))
    assert "no accepted terms" in refused(desk, lambda: charges.state_storage(desk, keeper, never.numbers[0]))
    assert "Only the keeper" in refused(desk, lambda: charges.state_storage(desk, technician, never.numbers[0]))


def test_numbers_of_statements_have_no_gap_whoever_is_faster(desk: Desk) -> None:
    numbers = [arrive(desk, "fixed price", "48.50") for _place in range(8)]
    start = Barrier(8)

    def state(number: str) -> None:
        start.wait()
        charges.state(desk, BENCH, number)

    with ThreadPoolExecutor(8) as pool:
        list(pool.map(state, numbers))

    made = [statements_of(desk, number)[0].number for number in numbers]
    assert sorted(made) == list(range(1, 9))


def test_a_statement_that_was_not_committed_leaves_no_gap(desk: Desk, agreed: str) -> None:
    with desk.writing() as connection, suppress(ZeroDivisionError), connection.begin_nested():
        money.next_number(connection, "statement")
        raise ZeroDivisionError

    charges.state(desk, BENCH, agreed)
    assert statements_of(desk, agreed)[0].number == 1


@pytest.mark.parametrize("table", [payments_table, adjustments, statements], ids=lambda table: table.name)
def test_the_database_refuses_to_change_or_delete_money_while_the_device_is_here(
    desk: Desk, ready: str, keeper: By, table
) -> None:
    payments.take(desk, BENCH, ready, IN_CASH)
    charges.let_off(desk, keeper, ready, "1", "Late")
    charges.state(desk, BENCH, ready)
    before = everything(desk)

    for statement in (update(table).values(ticket_id=table.c.ticket_id), delete(table)):
        with pytest.raises(DatabaseError, match="never changed"), desk.writing() as connection:
            connection.execute(statement)
    assert everything(desk) == before


def test_of_a_device_announced_no_money_is_taken(desk: Desk, agreed: str) -> None:
    with desk.writing() as connection:
        connection.execute(text("UPDATE tickets SET stage = NULL"))

    assert "not arrived" in refused(desk, lambda: payments.take(desk, BENCH, agreed, IN_CASH))


def test_nothing_that_was_agreed_is_charged_twice_within_a_limit(desk: Desk) -> None:
    number = arrive(desk, "up to a limit", "80")
    offer = TypedOffer(options=[TypedOption("New fan", [TypedLine("Fan", "1", "48.50")])])
    price_terms.go_ahead(desk, BENCH, number, offer)

    assert account_of(desk, number).open_minor == 4850


def test_a_payment_has_the_day_on_which_it_came(desk: Desk, clock: FixedClock, ready: str) -> None:
    clock.at += timedelta(days=3)
    payments.take(desk, BENCH, ready, Typed("48.50", "bank transfer", on="2026-03-04"))

    assert account_of(desk, ready).moved[0].on == date(2026, 3, 4)


def test_what_is_ready_and_charged_what_left_unpaid_and_what_goes_back_is_found(
    desk: Desk, ready: str, number: str
) -> None:
    bring_to(desk, number, "ready")  # nothing was agreed for this one

    with desk.reading() as connection:
        assert money.ready_and_charged(connection, "ready") == [ticket_of(desk, ready).id]
        assert money.left_unpaid(connection) == []

    hand_over(desk, BENCH, ready, Handed(why="Known here", unsettled="Pays by transfer"))
    with desk.reading() as connection:
        [left] = money.left_unpaid(connection)
    assert (left.number, left.open_minor) == (ready, 4850)

    payments.take(desk, BENCH, ready, Typed("50", "bank transfer"), confirmed=True)
    with desk.reading() as connection:
        assert money.left_unpaid(connection) == []
        [(number, _device, owed)] = refunds.everywhere(connection)
    assert (number, owed) == (ready, RefundDue(150, date(2026, 3, 16)))

    payments.give_back(desk, BENCH, ready, Typed("1.50", "bank transfer"))
    with desk.reading() as connection:
        assert refunds.everywhere(connection) == []


def unnamed(desk: Desk, fault: str) -> str:
    """The number of a device for which a price was agreed without a word of the shop's on what for."""
    device = NewDevice("Radio of Aunt May", fault, price=TypedTerms("fixed price", "48.50"))
    return take_in(desk, BENCH, NewVisit([device], email="ada@example.org")).numbers[0]


def work_on_statement(desk: Desk, number: str) -> list[str]:
    """What the lines for work say on the statement of how it stands."""
    charges.state(desk, BENCH, number)
    stated = next(each for each in statements_of(desk, number) if each.stands)
    return [str(each.words()) for each in stated.document.entries if each.part is Part.WORK]


@pytest.mark.parametrize("today", ["It hums, says Aunt May", "It hisses, says Uncle Tom", ""])
def test_a_statement_leaves_out_the_words_in_which_it_was_agreed_whatever_the_fault_says_today(
    desk: Desk, today: str
) -> None:
    number = unnamed(desk, "It hums,\nsays Aunt May")
    with desk.writing() as connection:
        connection.execute(update(tickets).where(tickets.c.number == number).values(fault=today))

    assert work_on_statement(desk, number) == ["The repair, as agreed"]


def test_a_price_that_is_called_by_the_device_is_not_on_the_statement(desk: Desk) -> None:
    assert work_on_statement(desk, unnamed(desk, "")) == ["The repair, as agreed"]


def test_the_shops_own_words_stay_though_the_fault_comes_to_read_like_them(desk: Desk, keeper: By) -> None:
    number = unnamed(desk, "It hums")
    offer = TypedOffer(options=[TypedOption("A new fan", [TypedLine("A new fan", "1", "10")])])
    ref = questions.draft(desk, keeper, number, offer, put_at_once=True).ref
    record(desk, BENCH, number, ref, "a", "telephone", "Ada, to Kim")
    with desk.writing() as connection:
        connection.execute(update(tickets).where(tickets.c.number == number).values(fault="A new fan"))

    assert work_on_statement(desk, number) == ["The repair, as agreed", "A new fan"]


def test_what_was_agreed_before_this_was_written_down_is_known_by_the_fault(desk: Desk) -> None:
    number = unnamed(desk, "It hums")
    with desk.writing() as connection:
        row = connection.execute(select(questions_table.c.id, questions_table.c.offer)).one()
        older = {key: value for key, value in row.offer.items() if key != "named_by_customer"}
        connection.execute(update(questions_table).where(questions_table.c.id == row.id).values(offer=older))

    assert work_on_statement(desk, number) == ["The repair, as agreed"]
