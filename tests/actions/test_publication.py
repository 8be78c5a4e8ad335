"""Nothing is published without a yes of its own, which can be taken back at any time."""

from __future__ import annotations

import pytest

from portal.actions import conversation
from portal.actions import publication as deeds
from portal.actions.desk import CUSTOMER, Desk
from portal.rules.refusals import Refused
from portal.store import journal, publication
from tests.actions.aftermath import assert_the_journal_rebuilds_the_row, ticket_of
from tests.conftest import BENCH


def standing(desk: Desk, number: str) -> publication.Consent | None:
    with desk.reading() as connection:
        return publication.standing(connection, ticket_of(desk, number).id)


def events(desk: Desk, number: str) -> list[str]:
    with desk.reading() as connection:
        return [entry.event for entry in journal.entries(connection, ticket_of(desk, number).id)]


def test_silence_is_a_no(desk: Desk, number: str) -> None:
    assert standing(desk, number) is None


@pytest.mark.parametrize("by", [BENCH, CUSTOMER], ids=["at the counter", "on their page"])
def test_a_yes_stands_with_the_words_that_were_read(desk: Desk, number: str, by) -> None:
    deeds.allow(desk, by, number, "de")

    consent = standing(desk, number)
    assert consent
    assert (consent.language, consent.by_kind, consent.given_at) == ("de", by.kind, desk.clock.now())
    assert "veröffentlichen" in consent.shown
    assert events(desk, number)[-1] == "publication_allowed"


def test_a_yes_is_taken_back_and_given_again(desk: Desk, number: str) -> None:
    deeds.allow(desk, BENCH, number)
    deeds.take_back(desk, BENCH, number)
    assert standing(desk, number) is None
    assert events(desk, number)[-1] == "publication_refused"

    deeds.allow(desk, BENCH, number)
    assert standing(desk, number)


def test_there_is_one_yes_at_most_and_nothing_to_take_back_without_one(desk: Desk, number: str) -> None:
    with pytest.raises(Refused, match="nothing to take back"):
        deeds.take_back(desk, CUSTOMER, number)
    deeds.allow(desk, CUSTOMER, number)
    with pytest.raises(Refused, match="already"):
        deeds.allow(desk, CUSTOMER, number)


def test_the_bench_reads_that_a_customer_took_it_back(desk: Desk, number: str) -> None:
    deeds.allow(desk, CUSTOMER, number)
    assert ticket_of(desk, number).unread_since is None

    deeds.take_back(desk, CUSTOMER, number)

    assert ticket_of(desk, number).unread_since == desk.clock.now()
    assert_the_journal_rebuilds_the_row(desk, number)
    conversation.read(desk, BENCH, number)
    assert_the_journal_rebuilds_the_row(desk, number)


def test_what_the_bench_notes_itself_waits_for_nobody(desk: Desk, number: str) -> None:
    deeds.allow(desk, BENCH, number)
    deeds.take_back(desk, BENCH, number)

    assert ticket_of(desk, number).unread_since is None


def test_it_is_forgotten_with_the_visit(desk: Desk, number: str) -> None:
    deeds.allow(desk, BENCH, number)
    with desk.writing() as connection:
        publication.forget(connection, ticket_of(desk, number).visit_id)

    assert standing(desk, number) is None
