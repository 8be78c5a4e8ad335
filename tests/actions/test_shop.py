"""The keeper's deeds: the policy is loaded whole or not at all, and never out from under an open ticket."""

from __future__ import annotations

from collections.abc import Iterator
from random import Random

import pytest
from sqlalchemy.exc import OperationalError

from notifications.instants import FixedClock
from portal import resources
from portal.actions.desk import COMMAND, By, Change, Desk, NoPolicy, NotFound, change_ticket
from portal.actions.intake import NewVisit, take_in
from portal.actions.moves import move
from portal.actions.shop import PolicyMoved, load_policy, show_policy
from portal.actions.terms import accept_terms
from portal.links import Links
from portal.rules import stages
from portal.rules.gates import Facts
from portal.rules.numbers import spoken
from portal.rules.policy_edit import edit_stage, remove_stage
from portal.rules.refusals import Refused
from portal.store import policies, tickets
from portal.store.engine import open_engine
from tests.conftest import BASE_URL, BENCH, SECRET, load_default_policy

DEFAULT = resources.default_policy().read_text(encoding="utf-8")
RENAMED = DEFAULT.replace('name = "A small repair shop"', 'name = "The bench"')
WITHOUT_RECEIVED = remove_stage(DEFAULT, "received")


@pytest.fixture
def postgres_desk(postgres_database: str, clock: FixedClock, chooser: Random) -> Iterator[Desk]:
    """A desk on PostgreSQL, where two may write at once."""
    engine = open_engine(postgres_database)
    desk = Desk(engine, clock, Links(BASE_URL, SECRET), chooser)
    load_default_policy(desk)
    yield desk
    engine.dispose()


@pytest.fixture
def postgres_number(postgres_desk: Desk, arrival: NewVisit) -> str:
    """The number of a ticket that was just taken in there."""
    return take_in(postgres_desk, BENCH, arrival).numbers[0]


def revisions(desk: Desk) -> list[int]:
    with desk.reading() as connection:
        return [revision.revision for revision in policies.revisions(connection)]


def test_a_loaded_policy_is_in_force_and_tells_who_made_it_and_when(desk: Desk, keeper: By):
    assert load_policy(desk, keeper, RENAMED) == 2

    with desk.reading() as connection:
        assert desk.policy(connection).shop.name == "The bench"
        newest = policies.revisions(connection)[0]
    assert (newest.made_by, newest.made_at) == (keeper.staff_id, desk.clock.now())


def test_a_broken_policy_is_refused_with_every_fault_and_changes_nothing(desk: Desk):
    broken = DEFAULT.replace('zone = "Europe/London"', 'zone = "London"').replace('country = "GB" ', 'country = "UK" ')

    with pytest.raises(Refused) as refused:
        load_policy(desk, COMMAND, broken)

    assert [str(reason).split(":")[0] for reason in refused.value.reasons] == ["shop.country", "shop.zone"]
    assert revisions(desk) == [1]


def test_the_same_text_twice_makes_no_second_revision(desk: Desk):
    assert load_policy(desk, COMMAND, RENAMED) == 2
    assert load_policy(desk, COMMAND, RENAMED) == 2
    assert revisions(desk) == [2, 1]


def test_a_policy_without_the_stage_of_an_open_ticket_is_refused_and_names_the_ticket(desk: Desk, number: str):
    with pytest.raises(Refused, match=spoken(number)):
        load_policy(desk, COMMAND, WITHOUT_RECEIVED)

    assert revisions(desk) == [1]


def test_once_the_ticket_has_moved_the_stage_may_go(desk: Desk, number: str):
    move(desk, BENCH, number, "cleaning")

    assert load_policy(desk, COMMAND, WITHOUT_RECEIVED) == 2


def test_a_form_made_from_an_older_revision_is_refused(desk: Desk):
    load_policy(desk, COMMAND, RENAMED)
    edited = edit_stage(DEFAULT, "ready", flags={"tell": False})

    with pytest.raises(PolicyMoved, match="revision 2 is in force") as moved:
        load_policy(desk, COMMAND, edited, seen_revision=1)

    assert moved.value.revision == 2
    assert revisions(desk) == [2, 1]


def test_a_form_sent_twice_saves_once(desk: Desk):
    assert load_policy(desk, COMMAND, RENAMED, seen_revision=1) == 2
    assert load_policy(desk, COMMAND, RENAMED, seen_revision=1) == 2


def test_a_policy_is_shown_as_it_was_written_and_can_be_loaded_again(desk: Desk):
    load_policy(desk, COMMAND, RENAMED)

    assert show_policy(desk) == RENAMED
    assert show_policy(desk, 1) == DEFAULT
    assert load_policy(desk, COMMAND, show_policy(desk, 1)) == 3


def test_a_revision_that_never_was_is_not_found(desk: Desk):
    with pytest.raises(NotFound, match="no revision 7 of the policy; the newest is 1"):
        show_policy(desk, 7)


def test_before_the_first_policy_there_is_none_to_show(desk: Desk):
    with desk.writing() as connection:
        connection.exec_driver_sql("DELETE FROM policies")

    with pytest.raises(NoPolicy):
        show_policy(desk)
    assert load_policy(desk, COMMAND, DEFAULT) == 1


def test_terms_in_force_keep_their_words_under_their_version(desk: Desk):
    reworded = DEFAULT.replace("We look at your device and tell you", "We look at it and tell you")

    with pytest.raises(Refused, match="Give them a new version"):
        load_policy(desk, COMMAND, reworded)
    assert load_policy(desk, COMMAND, reworded.replace('"draft-1"', '"draft-2"')) == 2


def test_terms_that_somebody_accepted_keep_their_words_for_ever(desk: Desk, taken_in):
    accept_terms(desk, COMMAND, taken_in.visit_ref, "draft-1", "tick")
    reworded = DEFAULT.replace("We look at your device and tell you", "We look at it and tell you")
    load_policy(desk, COMMAND, reworded.replace('"draft-1"', '"draft-2"'))

    with pytest.raises(Refused, match="revision 1 and the same version, draft-1"):
        load_policy(desk, COMMAND, reworded)


def test_a_move_decided_by_a_policy_that_is_replaced_meanwhile_is_refused(postgres_desk: Desk, postgres_number: str):
    """A policy can be loaded between a deed's decision and its change. SQLite lets nobody write in between."""
    desk = postgres_desk

    def decide(_connection, ticket, policy):
        load_policy(desk, COMMAND, remove_stage(DEFAULT, "cleaning"))
        return Change(stages.move(ticket.standing, "cleaning", policy.stages, Facts(fault_described=True)))

    with pytest.raises(Refused, match="changed at this very moment"):
        change_ticket(desk, BENCH, postgres_number, decide)

    with desk.reading() as connection:
        assert stages.stranded(tickets.open_standings(connection), desk.policy(connection).stages) == []


def test_a_policy_waits_for_a_deed_that_has_changed_a_ticket_already(postgres_desk: Desk, postgres_number: str):
    desk = postgres_desk

    def then(_connection, _ticket, _now):
        with desk.engine.connect() as other, other.begin():
            other.exec_driver_sql("SET LOCAL lock_timeout = '1ms'")
            with pytest.raises(OperationalError):
                policies.lock(other)

    def decide(_connection, ticket, policy):
        return Change(stages.move(ticket.standing, "cleaning", policy.stages, Facts(fault_described=True)))

    change_ticket(desk, BENCH, postgres_number, decide, then=then)

    with pytest.raises(Refused, match=spoken(postgres_number)):
        load_policy(desk, COMMAND, remove_stage(DEFAULT, "cleaning"))
