"""Requests about personal data are entered once, answered in time, and what becomes of them is told and kept."""

from __future__ import annotations

from datetime import date, timedelta

import pytest
from sqlalchemy import update

from notifications.instants import FixedClock
from portal.actions import erasure, retention, rights
from portal.actions.desk import By, Desk, NotFound
from portal.actions.handover import return_unrepaired
from portal.actions.rights import Asked
from portal.rules.refusals import Refused, Unfit
from portal.rules.retention import OF_A_VISIT, Kept
from portal.rules.rights import Right, State
from portal.store import journal, keeping, visits
from portal.store import rights as rows
from portal.store.photo_files import PhotoFiles
from portal.store.tables import staff
from tests.actions.aftermath import everything, messages, ticket_of
from tests.conftest import BENCH

KEY = "k" * 32


def entered(desk: Desk, number: str = "", right: str = "access", **more: str) -> str:
    return rights.enter(desk, BENCH, Asked(right, "mail", number=number, **more))


def kept(desk: Desk, ref: str) -> rows.Kept:
    with desk.reading() as connection:
        return rights.of(connection, ref)


def told(desk: Desk) -> list[str]:
    return [facts["what"] for event, _ref, facts in messages(desk) if event == "request_told"]


def test_a_request_is_kept_with_its_day_and_told_to_its_person(desk: Desk, number: str) -> None:
    ref = entered(desk, number, received_on="2026-02-27", words="All that you have of me.")

    request = kept(desk, ref)
    assert (request.request.right, request.request.received_on) == (Right.ACCESS, date(2026, 2, 27))
    assert request.words == "All that you have of me."
    assert told(desk) == ["received"]


def test_without_a_day_it_came_today_by_the_shops_clock(desk: Desk, clock: FixedClock) -> None:
    clock.at = clock.at.replace(month=7, day=1, hour=23, minute=30)  # half past midnight in London

    assert kept(desk, entered(desk)).request.received_on == date(2026, 7, 2)


def test_one_that_knows_no_repair_is_kept_all_the_same(desk: Desk) -> None:
    assert kept(desk, entered(desk)).visit_id is None


@pytest.mark.parametrize(
    ("asked", "field"),
    [
        (Asked("gossip", "mail"), "right"),
        (Asked("access", "pigeon"), "through"),
        (Asked("access", "page"), "through"),  # only its person enters that
        (Asked("access", "mail", received_on="2026-03-03"), "received_on"),  # tomorrow
        (Asked("access", "mail", received_on="2024-03-03"), "received_on"),
        (Asked("access", "mail", received_on="soon"), "received_on"),
        (Asked("access", "mail", words="a" * 4001), "words"),
    ],
)
def test_what_does_not_fit_is_refused_whole(desk: Desk, asked: Asked, field: str) -> None:
    before = everything(desk)
    with pytest.raises(Unfit) as fault:
        rights.enter(desk, BENCH, asked)

    assert fault.value.field == field
    assert everything(desk) == before


def test_a_repair_that_is_not_there_is_said_so(desk: Desk) -> None:
    with pytest.raises((NotFound, Unfit)):
        entered(desk, "99999-9")


def test_the_same_form_twice_enters_one(desk: Desk, number: str) -> None:
    asked = Asked("access", "mail", number=number)
    first = rights.enter(desk, BENCH, asked, deed_key=KEY)
    before = everything(desk)

    assert rights.enter(desk, BENCH, asked, deed_key=KEY) == first
    assert everything(desk) == before


def test_the_journal_tells_the_bench_and_nobody_else(desk: Desk, number: str) -> None:
    ref = entered(desk, number)
    rights.settle(desk, BENCH, ref, "done", "Sent by post.")

    with desk.reading() as connection:
        entries = journal.entries(connection, ticket_of(desk, number).id)
    assert [entry.event for entry in entries][-2:] == ["data_asked", "data_done"]
    assert {entry.audience for entry in entries[-2:]} == {"bench"}


def test_an_answer_is_kept_and_told_and_there_is_but_one(desk: Desk, number: str) -> None:
    ref = entered(desk, number)
    rights.settle(desk, BENCH, ref, "refused", "We cannot tell whose it is.")

    request = kept(desk, ref)
    assert (request.request.state, request.answer) == (State.REFUSED, "We cannot tell whose it is.")
    assert told(desk)[-1] == "refused"
    with pytest.raises(Refused, match="settled already"):
        rights.settle(desk, BENCH, ref, "done", "After all.")


def test_the_same_answer_twice_is_one(desk: Desk, number: str) -> None:
    ref = entered(desk, number)
    rights.settle(desk, BENCH, ref, "done", "Sent.", deed_key=KEY)
    before = everything(desk)

    rights.settle(desk, BENCH, ref, "done", "Sent.", deed_key=KEY)

    assert everything(desk) == before


@pytest.mark.parametrize(("state", "answer"), [("done", ""), ("refused", " "), ("open", "x"), ("", "x")])
def test_an_answer_has_words(desk: Desk, number: str, state: str, answer: str) -> None:
    ref = entered(desk, number)

    with pytest.raises(Unfit):
        rights.settle(desk, BENCH, ref, state, answer)


def test_an_extension_has_a_reason_that_the_person_reads(desk: Desk, number: str) -> None:
    ref = entered(desk, number)
    with pytest.raises(Unfit):
        rights.extend(desk, BENCH, ref, "")

    rights.extend(desk, BENCH, ref, "Many requests at once.")

    assert kept(desk, ref).request.extended_on == date(2026, 3, 2)
    assert told(desk) == ["received", "extended"]


def test_the_clock_stands_still_until_the_answer_comes(desk: Desk, number: str, clock: FixedClock) -> None:
    ref = entered(desk, number)
    rights.stop_clock(desk, BENCH, ref)
    clock.at += timedelta(days=9)
    rights.go_on(desk, BENCH, ref)

    assert kept(desk, ref).request.paused_days == 9
    assert told(desk) == ["received", "stopped"]


def test_a_restriction_stores_the_data_and_uses_it_for_nothing_until_it_is_lifted(
    desk: Desk, files: PhotoFiles, number: str, clock: FixedClock
) -> None:
    """Art. 18(2) and (3) GDPR."""
    ref = entered(desk, number, "restriction")
    rights.settle(desk, BENCH, ref, "done", "Until the claim is settled.")
    visit_id = ticket_of(desk, number).visit_id
    return_unrepaired(desk, BENCH, number, "Beyond repair.")
    clock.at += timedelta(days=200)

    with desk.reading() as connection:
        assert visits.by_id(connection, visit_id).restricted_at is not None
        assert {pause.kept for pause in keeping.pauses_of(connection, visit_id)} == set(OF_A_VISIT)
    assert not any(each.count for each in retention.apply(desk, files, clock.now()) if each.kept in OF_A_VISIT)

    rights.lift(desk, BENCH, ref, "By telephone today.")

    with desk.reading() as connection:
        assert visits.by_id(connection, visit_id).restricted_at is None
    assert any(each.count for each in retention.apply(desk, files, clock.now()) if each.kept is Kept.CONTACT)
    with pytest.raises(Refused, match="no restriction in force"):
        rights.lift(desk, BENCH, ref, "Once more.")


def test_an_objection_ends_reminders_and_news(desk: Desk, number: str) -> None:
    rights.settle(desk, BENCH, entered(desk, number, "objection"), "done", "No reminders any more.")

    with desk.reading() as connection:
        owner = visits.contacts_of(connection, ticket_of(desk, number).visit_id)[0]
    assert (owner.wants, owner.no_reminders) == ("few", True)


def test_the_keeper_hears_once_when_it_comes_and_once_when_it_is_due(
    desk: Desk, number: str, clock: FixedClock, keeper: By
) -> None:
    with desk.writing() as connection:
        connection.execute(update(staff).where(staff.c.id == keeper.staff_id).values(email="kim@example.org"))
    entered(desk, number)  # on 2 March: due on 2 April

    for day in (24, 25, 26, 27, 28):
        clock.at = clock.at.replace(month=3, day=day)
        rights.remind(desk, clock.now())
    heard = [event for event, *_rest in messages(desk) if event == "request_waits"]
    assert len(heard) == 2


def test_reminding_twice_at_the_same_moment_does_nothing_the_second_time(desk: Desk, clock: FixedClock) -> None:
    entered(desk)
    clock.at += timedelta(days=28)

    assert rights.remind(desk, clock.now()) == (1, 1)
    assert rights.remind(desk, clock.now()) == (1, 0)


def test_the_request_outlives_its_visit_without_the_persons_words_and_then_goes_too(
    desk: Desk, files: PhotoFiles, number: str, clock: FixedClock
) -> None:
    ref = entered(desk, number, "erasure", words="Erase what you have of Ada Marsh.")
    return_unrepaired(desk, BENCH, number, "Beyond repair.")
    erasure.erase(desk, files, BENCH, number, "Asked for by mail.")
    rights.settle(desk, BENCH, ref, "done", "Erased but for the proof of what was agreed.")

    assert kept(desk, ref).words == ""
    assert kept(desk, ref).number == ticket_of(desk, number).number

    clock.at += timedelta(days=3 * 365)
    retention.apply(desk, files, clock.now())
    assert kept(desk, ref).answer
    clock.at += timedelta(days=2)
    retention.apply(desk, files, clock.now())
    with pytest.raises(NotFound):
        kept(desk, ref)


def test_what_is_open_never_goes_by_itself(desk: Desk, files: PhotoFiles, clock: FixedClock) -> None:
    ref = entered(desk)
    clock.at += timedelta(days=10_000)
    retention.apply(desk, files, clock.now())

    assert kept(desk, ref).request.state is State.OPEN
