"""Tickets in the database: a number is given once, and of two deeds at once on one ticket one wins."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from random import Random
from threading import Barrier

import pytest
from sqlalchemy import func, insert, select
from sqlalchemy.exc import IntegrityError

from portal.actions.desk import COMMAND, Desk, Outcome, Stale
from portal.actions.intake import NewDevice, NewVisit, TakenIn, take_in
from portal.actions.moves import move
from portal.actions.notes import note
from portal.rules.numbers import parse_number, with_check
from portal.rules.stages import Hold, Standing
from portal.store import journal, tickets
from portal.store.tables import numbers


class Stubborn(Random):
    """A chooser that always chooses the least."""

    def randrange(self, start: int, stop: int | None = None, step: int = 1) -> int:
        return start


def test_a_new_number_is_a_number(desk: Desk) -> None:
    with desk.writing() as connection:
        number = tickets.new_number(connection, desk.chooser)

    assert parse_number(number) == number
    assert len(number) == 5


def test_a_number_that_was_given_once_is_never_given_again(desk: Desk) -> None:
    with desk.writing() as connection:
        given = [tickets.new_number(connection, Stubborn()) for _ in range(3)]

    assert given == [with_check("1000"), with_check("10000"), with_check("100000")]


def test_two_hundred_numbers_differ(desk: Desk) -> None:
    with desk.writing() as connection:
        given = {tickets.new_number(connection, desk.chooser) for _ in range(200)}
        stored = connection.execute(select(func.count()).select_from(numbers)).scalar()

    assert len(given) == stored == 200


def test_a_number_looked_for_is_found_or_is_none(desk: Desk, number: str) -> None:
    with desk.reading() as connection:
        assert tickets.by_number(connection, number).number == number
        assert tickets.by_number(connection, "5724") is None


def test_open_tickets_are_listed_longest_in_their_stage_first(desk: Desk, taken_in: TakenIn, number: str) -> None:
    desk.clock.at = desk.clock.at.replace(hour=10)
    later = take_in(desk, COMMAND, NewVisit([NewDevice("Phone", "Broken")], name="Bo")).numbers[0]
    desk.clock.at = desk.clock.at.replace(hour=11)
    move(desk, COMMAND, number, "cleaning")

    with desk.reading() as connection:
        listed = tickets.open_tickets(connection)
        assert [(each.ticket.number, each.owner) for each in listed] == [(later, "Bo"), (number, "Ada Marsh")]
        assert listed[1].visit_ref == taken_in.visit_ref
        assert tickets.count_open(connection) == 2
        assert tickets.open_standings(connection) == {later: Standing("received"), number: Standing("cleaning")}


def test_a_change_on_a_state_that_is_no_more_changes_nothing(desk: Desk, number: str) -> None:
    with desk.writing() as connection:
        ticket = tickets.by_number(connection, number)
        first = tickets.change(connection, ticket, 2, {"hold": Hold.PART.value, "hold_since": desk.clock.now()})
        second = tickets.change(connection, ticket, 2, {"place": "B2"})
        after = tickets.by_number(connection, number)

    assert (first, second) == (True, False)
    assert (after.hold, after.place, after.revision) == (Hold.PART, "", 2)


def test_of_two_who_move_a_ticket_at_once_one_wins_and_the_other_hears_what_happened(desk: Desk, number: str) -> None:
    together = Barrier(2)

    def try_to_move(stage: str) -> Outcome | Stale:
        together.wait()
        try:
            return move(desk, COMMAND, number, stage, seen=1)
        except Stale as stale:
            return stale

    with ThreadPoolExecutor(2) as pool:
        answers = list(pool.map(try_to_move, ["cleaning", "board_work"]))

    won = [answer for answer in answers if isinstance(answer, Outcome)]
    lost = [answer for answer in answers if isinstance(answer, Stale)]
    assert [outcome.revision for outcome in won] == [2]
    assert [[entry.event for entry in stale.since] for stale in lost] == [["moved"]]
    with desk.reading() as connection:
        ticket = tickets.by_number(connection, number)
        assert [entry.event for entry in journal.entries(connection, ticket.id)] == ["arrived", "moved"]
        assert lost[0].ticket == ticket


def test_the_race_is_decided_even_when_both_have_read_before_either_writes(
    desk: Desk, number: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """PostgreSQL lets both read; on SQLite the second waits to begin. Either way the guarded update decides."""
    both_have_read = Barrier(1 if desk.engine.dialect.name == "sqlite" else 2)
    real = tickets.change

    def change_once_both_have_read(*call) -> bool:
        both_have_read.wait(timeout=30)
        return real(*call)

    monkeypatch.setattr(tickets, "change", change_once_both_have_read)

    def try_to_note(words: str) -> Outcome | Stale:
        try:
            return note(desk, COMMAND, number, words, seen=1)
        except Stale as stale:
            return stale

    with ThreadPoolExecutor(2) as pool:
        answers = list(pool.map(try_to_note, ["first", "second"]))

    assert sorted(type(answer).__name__ for answer in answers) == ["Outcome", "Stale"]
    lost = next(answer for answer in answers if isinstance(answer, Stale))
    assert [entry.text for entry in lost.since] in (["first"], ["second"])


def test_four_who_take_in_at_once_get_numbers_of_their_own(desk: Desk) -> None:
    together = Barrier(4)

    def try_to_take_in(place: int) -> list[str]:
        together.wait()
        return [take_in(desk, COMMAND, NewVisit([NewDevice(f"Phone {place}", "Broken")])).numbers[0] for _ in range(10)]

    with ThreadPoolExecutor(4) as pool:
        given = [number for numbers_of_one in pool.map(try_to_take_in, range(4)) for number in numbers_of_one]

    assert len(set(given)) == 40


def test_a_number_is_stored_once(desk: Desk) -> None:
    with pytest.raises(IntegrityError), desk.writing() as connection:
        connection.execute(insert(numbers), [{"number": "5724"}, {"number": "5724"}])
