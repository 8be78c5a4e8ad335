"""The keeper's words for messages: kept as revisions, refused whole with every fault, and gone back from."""

from __future__ import annotations

import threading

import pytest
from sqlalchemy import Delete, Update, delete, select, update
from sqlalchemy.exc import IntegrityError

from portal.actions.desk import By, Desk, NotFound
from portal.actions.wording import FaultyWords, WordsMoved, go_back, occasion_called, save_words
from portal.rules.refusals import AskFirst
from portal.rules.wording import Part
from portal.rules.wording_occasions import OCCASIONS
from portal.store import purge, wordings
from portal.store.people import change
from portal.store.wording_tables import wordings as table
from portal.store.wordings import Wording

READY = OCCASIONS["ready", "always"]
TEXT = "Good news, {name}!\n\nCode: {code}\n\nTo pay: {to_pay}\n\nChoose here: {choose_link}"
WORDS = {Part.SUBJECT: "{device}: come and get it", Part.TEXT: TEXT}


def kept(desk: Desk, tag: str = "en") -> list[Wording]:
    with desk.reading() as connection:
        return wordings.revisions(connection, *READY.name, tag)


def test_saved_words_tell_who_made_them_and_when(desk: Desk, keeper: By) -> None:
    assert save_words(desk, keeper, READY, "en", WORDS) == 1

    (revision,) = kept(desk)
    assert revision.words == dict.fromkeys(Part, "") | WORDS
    assert (revision.made_by, revision.made_at) == (keeper.staff_id, desk.clock.now())


def test_each_change_is_a_revision_and_the_earlier_ones_stay(desk: Desk, keeper: By) -> None:
    save_words(desk, keeper, READY, "en", WORDS)

    assert save_words(desk, keeper, READY, "en", WORDS | {Part.SUBJECT: "Done: {device}"}) == 2

    assert [each.words[Part.SUBJECT] for each in kept(desk)] == ["Done: {device}", "{device}: come and get it"]


def test_the_same_words_once_more_make_no_revision(desk: Desk, keeper: By) -> None:
    save_words(desk, keeper, READY, "en", WORDS, seen=0)

    assert save_words(desk, keeper, READY, "en", WORDS, seen=0) == 1
    assert len(kept(desk)) == 1


def test_no_words_of_its_own_make_no_first_revision(desk: Desk, keeper: By) -> None:
    assert save_words(desk, keeper, READY, "en", {}) == 0
    assert kept(desk) == []


def test_every_fault_of_every_part_is_told_and_nothing_is_saved(desk: Desk, keeper: By) -> None:
    with pytest.raises(FaultyWords) as refused:
        save_words(desk, keeper, READY, "en", {Part.SUBJECT: "{nmae}", Part.TEXT: TEXT + "}", Part.SMS: "Ready"})

    assert [fault.part for fault in refused.value.faults] == [Part.SUBJECT, Part.TEXT, Part.SMS]
    assert kept(desk) == []


def test_a_text_message_that_makes_several_texts_is_asked_about_first(desk: Desk, keeper: By) -> None:
    words = {Part.SMS: "Your device is ready 😀 {link}"}

    with pytest.raises(AskFirst, match="😀 leaves each of them room for only 70 signs"):
        save_words(desk, keeper, READY, "en", words)
    assert kept(desk) == []

    assert save_words(desk, keeper, READY, "en", words, confirmed=True) == 1


def test_what_the_alphabet_says_the_same_way_costs_no_more(desk: Desk, keeper: By) -> None:
    assert save_words(desk, keeper, READY, "en", {Part.SMS: "It’s ready – come and get it! {link}"}) == 1


def test_words_changed_meanwhile_are_not_written_over(desk: Desk, keeper: By) -> None:
    save_words(desk, keeper, READY, "en", WORDS)

    with pytest.raises(WordsMoved):
        save_words(desk, keeper, READY, "en", {Part.SUBJECT: "Mine"}, seen=0)
    assert len(kept(desk)) == 1


def test_a_language_that_the_shop_does_not_speak_has_no_words(desk: Desk, keeper: By) -> None:
    with pytest.raises(NotFound):
        save_words(desk, keeper, READY, "fr", WORDS)


def test_languages_have_revisions_of_their_own(desk: Desk, keeper: By) -> None:
    save_words(desk, keeper, READY, "en", WORDS)

    assert save_words(desk, keeper, READY, "de", {Part.SUBJECT: "{device}: bitte abholen"}) == 1


def test_going_back_is_a_new_revision(desk: Desk, keeper: By) -> None:
    save_words(desk, keeper, READY, "en", WORDS)
    save_words(desk, keeper, READY, "en", {Part.SUBJECT: "Worse"})

    assert go_back(desk, keeper, READY, "en", 1, seen=2) == 3

    assert [each.words[Part.SUBJECT] for each in kept(desk)] == [WORDS[Part.SUBJECT], "Worse", WORDS[Part.SUBJECT]]


def test_one_can_go_back_to_the_words_of_the_program(desk: Desk, keeper: By) -> None:
    save_words(desk, keeper, READY, "en", WORDS)

    assert go_back(desk, keeper, READY, "en", 0) == 2

    assert not kept(desk)[0].is_own


def test_there_is_no_going_back_to_what_never_was(desk: Desk, keeper: By) -> None:
    with pytest.raises(NotFound):
        go_back(desk, keeper, READY, "en", 7)


def test_there_are_no_words_for_what_is_no_message() -> None:
    assert occasion_called("ready", "always") is READY
    with pytest.raises(NotFound):
        occasion_called("ready", "never")


def test_of_two_who_save_at_once_one_is_told(desk: Desk, keeper: By) -> None:
    ends = threading.Barrier(8)
    told: list[object] = []

    def save(place: int) -> None:
        ends.wait()
        try:
            told.append(save_words(desk, keeper, READY, "en", {Part.SUBJECT: f"Words {place}"}, seen=0))
        except WordsMoved:
            told.append("moved")

    threads = [threading.Thread(target=save, args=(place,)) for place in range(8)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()

    assert sorted(told, key=str) == [1, *["moved"] * 7]
    assert len(kept(desk)) == 1


def test_words_outlive_their_maker_without_the_name(desk: Desk, keeper: By) -> None:
    save_words(desk, keeper, READY, "en", WORDS)
    assert keeper.staff_id is not None
    with desk.writing() as connection:
        change(connection, keeper.staff_id, disabled_at=desk.clock.now())
        purge.staff_member(connection, keeper.staff_id)

        assert connection.execute(select(table.c.subject, table.c.made_by)).all() == [(WORDS[Part.SUBJECT], None)]


@pytest.mark.parametrize("statement", [update(table).values(subject="Forged"), delete(table)], ids=["update", "delete"])
def test_the_database_itself_refuses_to_rewrite_words(desk: Desk, keeper: By, statement: Update | Delete) -> None:
    save_words(desk, keeper, READY, "en", WORDS)

    with pytest.raises(IntegrityError, match="never changed"), desk.writing() as connection:
        connection.execute(statement)

    assert kept(desk)[0].words[Part.SUBJECT] == WORDS[Part.SUBJECT]
