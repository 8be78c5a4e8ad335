"""Giving a device up or having its data destroyed: an express wish in writing, taken back until it is done."""

from __future__ import annotations

import pytest

from portal.actions import people
from portal.actions.desk import COMMAND, CUSTOMER, By, Desk
from portal.actions.giving_up import destroy_data, give_up, take_back, wish_on_page, wish_on_paper
from portal.actions.handover import undo
from portal.actions.moves import hold
from portal.actions.ownership import question
from portal.rules.giving_up import How
from portal.rules.refusals import Refused, Unfit
from portal.rules.stages import Ending, Standing
from portal.store import visits, wishes
from portal.store.wishes import Kept
from tests.actions.aftermath import (
    assert_the_journal_rebuilds_the_row,
    everything,
    journal_of,
    messages,
    ticket_of,
)
from tests.conftest import BENCH


def wish_of(desk: Desk, number: str) -> Kept | None:
    with desk.reading() as connection:
        return wishes.standing(connection, ticket_of(desk, number).id)


@pytest.fixture
def given_up(desk: Desk, number: str) -> str:
    """The number of a ticket whose owner gives the device up and wants its data destroyed."""
    wish_on_page(desk, number, True, "destroy", "give up", "en")
    return number


def test_a_wish_on_the_page_is_kept_with_the_words_that_were_read(desk: Desk, given_up: str) -> None:
    kept = wish_of(desk, given_up)

    assert kept is not None
    assert (kept.wish.gives_up, kept.wish.data, kept.how, kept.typed) == (True, "destroy", How.PAGE, "give up")
    assert "The device is given up." in kept.shown
    assert "What carries data is destroyed." in kept.shown
    last = journal_of(desk, given_up)[-1]
    assert (last.event, last.by_kind, last.data) == ("wish_given", "customer", {"wish": "give up and destroy"})


def test_a_wish_in_german_is_typed_and_kept_in_german(desk: Desk, number: str) -> None:
    wish_on_page(desk, number, False, "destroy", " vernichten ", "de")

    kept = wish_of(desk, number)
    assert kept is not None
    assert (kept.language, kept.typed, kept.wish.name) == ("de", "vernichten", "destroy")
    assert kept.shown.startswith("Das Gerät selbst wird zurückgegeben.")


@pytest.mark.parametrize(
    ("gives_up", "data", "word", "field"),
    [
        (True, "destroy", "", "word"),
        (True, "destroy", "yes", "word"),
        (True, "destroy", "DESTROY", "word"),
        (False, "destroy", "GIVE UP", "word"),
        (True, "", "GIVE UP", "data"),
        (True, "whatever", "GIVE UP", "data"),
        (False, "give back", "GIVE UP", "gives_up"),
        (False, "none inside", "GIVE UP", "gives_up"),
    ],
)
def test_without_an_express_word_and_an_answer_about_the_data_there_is_no_wish(
    desk: Desk, number: str, gives_up: bool, data: str, word: str, field: str
) -> None:
    before = everything(desk)

    with pytest.raises(Unfit) as refused:
        wish_on_page(desk, number, gives_up, data, word, "en")
    assert refused.value.field == field
    assert everything(desk) == before


def test_what_was_only_said_is_no_wish_and_paper_has_a_place(desk: Desk, number: str, technician: By) -> None:
    for how, where, field in (("telephone", "He rang.", "how"), ("page", "x", "how"), ("letter", " ", "where")):
        with pytest.raises(Unfit) as refused:
            wish_on_paper(desk, technician, number, True, "none inside", how, where)
        assert refused.value.field == field

    wish_on_paper(desk, technician, number, True, "none inside", "letter", "Letter of 1 March, folder 3")

    kept = wish_of(desk, number)
    assert kept is not None
    assert (kept.how, kept.shown) == (How.LETTER, "Letter of 1 March, folder 3")


def test_the_keeper_ends_what_was_given_up_and_the_owner_is_told(desk: Desk, given_up: str, keeper: By) -> None:
    give_up(desk, keeper, given_up, "Drive shredded by Kim, 2 March.", "Licensed recycler of the town")

    ticket = ticket_of(desk, given_up)
    assert ticket.standing == Standing("received", None, Ending.GIVEN_UP)
    assert messages(desk)[-1] == ("ended", ticket.ref, {"ending": "given up by its owner"})
    with desk.reading() as connection:
        assert visits.by_id(connection, ticket.visit_id).link_ends_at is not None
    assert_the_journal_rebuilds_the_row(desk, given_up)


def test_silence_is_no_wish(desk: Desk, number: str, keeper: By) -> None:
    with pytest.raises(Refused, match="Silence is no wish"):
        give_up(desk, keeper, number, "Nothing inside.")

    wish_on_page(desk, number, False, "destroy", "DESTROY", "en")
    with pytest.raises(Refused, match="Silence is no wish"):
        give_up(desk, keeper, number, "Nothing inside.")


def test_nobody_but_the_keeper_ends_it(desk: Desk, given_up: str, technician: By) -> None:
    for deed in (give_up, destroy_data):
        with pytest.raises(Refused, match="Only the keeper"):
            deed(desk, technician, given_up, "Shredded.")


def test_a_keeper_who_has_left_ends_nothing(desk: Desk, given_up: str, keeper: By, add_staff) -> None:
    add_staff("Lee", "keeper")
    people.disable(desk, COMMAND, "Kim")

    with pytest.raises(Refused, match="Only the keeper"):
        give_up(desk, keeper, given_up, "Shredded.")


def test_it_is_said_what_became_of_the_data(desk: Desk, given_up: str, keeper: By) -> None:
    with pytest.raises(Unfit) as refused:
        give_up(desk, keeper, given_up)
    assert refused.value.field == "data_done"


def test_data_is_destroyed_only_where_that_was_wished(desk: Desk, number: str, keeper: By) -> None:
    wish_on_page(desk, number, True, "give back", "GIVE UP", "en")
    with pytest.raises(Refused, match="Nothing is destroyed"):
        destroy_data(desk, keeper, number, "Shredded.")

    take_back(desk, CUSTOMER, number)
    wish_on_page(desk, number, False, "destroy", "DESTROY", "en")
    destroy_data(desk, keeper, number, "Drive shredded by Kim.")

    last = journal_of(desk, number)[-1]
    assert (last.event, last.text, last.audience) == ("data_destroyed", "Drive shredded by Kim.", "customer")
    assert ticket_of(desk, number).ending is None


def test_a_wish_that_was_taken_back_counts_no_more(desk: Desk, given_up: str, keeper: By) -> None:
    take_back(desk, CUSTOMER, given_up)

    assert wish_of(desk, given_up) is None
    with pytest.raises(Refused, match="Silence is no wish"):
        give_up(desk, keeper, given_up, "Shredded.")
    with pytest.raises(Refused, match="no wish"):
        take_back(desk, CUSTOMER, given_up)


def test_one_wish_stands_at_a_time(desk: Desk, given_up: str) -> None:
    with pytest.raises(Refused, match="stands already"):
        wish_on_page(desk, given_up, True, "none inside", "GIVE UP", "en")


def test_what_is_in_dispute_or_claimed_is_neither_given_up_nor_destroyed(desk: Desk, given_up: str, keeper: By) -> None:
    hold(desk, BENCH, given_up, "dispute")
    with pytest.raises(Refused, match="in dispute"):
        give_up(desk, keeper, given_up, "Shredded.")
    question(desk, BENCH, given_up, "Somebody says it is hers.")
    for deed in (give_up, destroy_data):
        with pytest.raises(Refused, match="Somebody else says"):
            deed(desk, keeper, given_up, "Shredded.")
    take_back(desk, CUSTOMER, given_up)
    with pytest.raises(Refused, match="settled first"):
        wish_on_page(desk, given_up, True, "destroy", "GIVE UP", "en")


def test_the_wish_still_stands_once_a_mistake_was_undone(desk: Desk, given_up: str, keeper: By) -> None:
    give_up(desk, keeper, given_up, "Shredded.")
    undo(desk, keeper, given_up, "That was another one.")

    assert wish_of(desk, given_up) is not None
