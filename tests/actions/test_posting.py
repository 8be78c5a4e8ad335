"""Posting a device back: packed by a list, to the confirmed address; arrived, or here again."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta

import pytest

from notifications.instants import FixedClock
from portal.actions.desk import CUSTOMER, By, Desk
from portal.actions.handover import undo
from portal.actions.intake import NewDevice, NewVisit, take_in
from portal.actions.moves import hold
from portal.actions.ownership import question, settle
from portal.actions.posting import Packed, arrived, came_back, post_back
from portal.actions.price_terms import TypedTerms
from portal.actions.record import record
from portal.actions.return_ways import Wanted, choose
from portal.rules.intake_record import Record
from portal.rules.posting import PACKING
from portal.rules.refusals import Refused, Unfit
from portal.rules.stages import Ending, Standing
from portal.store import handovers, visits
from portal.store.handovers import Choice, Parcel
from tests.actions.aftermath import assert_the_journal_rebuilds_the_row, everything, messages, ticket_of
from tests.actions.bench import bring_to
from tests.conftest import BENCH

TODAY = "2026-03-02"
PACKED = Packed("The town’s carrier", "QH 0042", TODAY, tuple(PACKING))


@pytest.fixture
def to_post(desk: Desk, number: str) -> str:
    """The number of a ticket whose device is ready, and whose owner has confirmed an address."""
    bring_to(desk, number, "ready")
    choose(desk, CUSTOMER, number, Wanted("post", address="12 Harbour Rise\nQuayhaven", confirmed=True))
    return number


def parcel_of(desk: Desk, number: str) -> Parcel:
    with desk.reading() as connection:
        found = handovers.parcel(connection, ticket_of(desk, number).id)
    assert found is not None
    return found


def choice_of(desk: Desk, number: str) -> Choice:
    with desk.reading() as connection:
        found = handovers.choice(connection, ticket_of(desk, number).id)
    assert found is not None
    return found


def link_ends(desk: Desk, number: str) -> datetime | None:
    with desk.reading() as connection:
        return visits.by_id(connection, ticket_of(desk, number).visit_id).link_ends_at


def test_a_parcel_goes_and_the_owner_is_told(desk: Desk, to_post: str) -> None:
    post_back(desk, BENCH, to_post, PACKED)

    ticket = ticket_of(desk, to_post)
    assert (ticket.standing, ticket.ended_at) == (Standing("ready", None, Ending.POSTED), desk.clock.now())
    went = parcel_of(desk, to_post)
    assert (went.carrier, went.reference, went.posted_on) == ("The town’s carrier", "QH 0042", date(2026, 3, 2))
    assert messages(desk)[-1] == ("posted", ticket.ref, {"ending": "posted back"})
    assert link_ends(desk, to_post) == datetime(2026, 6, 2, 23, tzinfo=UTC)  # midnight in London, summer time
    assert_the_journal_rebuilds_the_row(desk, to_post)


@pytest.mark.parametrize(
    ("packed", "field"),
    [
        (replace(PACKED, carrier=" "), "carrier"),
        (replace(PACKED, carrier="x" * 61), "carrier"),
        (replace(PACKED, reference="x" * 61), "reference"),
        (replace(PACKED, posted_on=""), "posted_on"),
        (replace(PACKED, posted_on="yesterday"), "posted_on"),
        (replace(PACKED, posted_on="2026-03-01"), "posted_on"),
        (replace(PACKED, posted_on="2026-03-03"), "posted_on"),
        (replace(PACKED, ticked=()), "packed"),
        (replace(PACKED, ticked=tuple(PACKING)[1:]), "packed"),
        (replace(PACKED, ticked=(*tuple(PACKING)[1:], "bow")), "packed"),
    ],
)
def test_what_does_not_fit_is_refused_by_its_field_and_nothing_goes(
    desk: Desk, to_post: str, packed: Packed, field: str
) -> None:
    before = everything(desk)

    with pytest.raises(Unfit) as refused:
        post_back(desk, BENCH, to_post, packed)
    assert refused.value.field == field
    assert everything(desk) == before


def test_nothing_is_posted_without_a_confirmed_address(desk: Desk, number: str) -> None:
    bring_to(desk, number, "ready")
    with pytest.raises(Refused, match="confirmed no address"):
        post_back(desk, BENCH, number, PACKED)

    choose(desk, CUSTOMER, number, Wanted("collect", "2026-03-05"))
    with pytest.raises(Refused, match="confirmed no address"):
        post_back(desk, BENCH, number, PACKED)


def test_what_is_not_paid_is_posted_on_the_keepers_word_alone(desk: Desk, technician: By, keeper: By) -> None:
    device = NewDevice("Radio", "Hums", price=TypedTerms("fixed price", "48.50"))
    number = take_in(desk, BENCH, NewVisit([device], email="ada@example.org")).numbers[0]
    bring_to(desk, number, "ready")
    choose(desk, CUSTOMER, number, Wanted("post", address="12 Harbour Rise\nQuayhaven", confirmed=True))
    before = everything(desk)
    for by, packed in ((technician, PACKED), (technician, replace(PACKED, unsettled="Pays later")), (keeper, PACKED)):
        with pytest.raises(Refused, match=r"48\.50"):
            post_back(desk, by, number, packed)
    assert everything(desk) == before

    post_back(desk, keeper, number, replace(PACKED, unsettled="Pays by transfer"))

    assert ticket_of(desk, number).ending is Ending.POSTED


def test_a_battery_found_damaged_after_the_choice_is_not_posted(desk: Desk, to_post: str) -> None:
    record(desk, BENCH, to_post, Record(battery=("hot",)))
    hold(desk, BENCH, to_post, "none")

    with pytest.raises(Refused, match="damaged"):
        post_back(desk, BENCH, to_post, PACKED)


def test_what_somebody_else_claims_is_not_posted(desk: Desk, to_post: str) -> None:
    question(desk, BENCH, to_post, "A caller says that it was stolen from her.")
    with pytest.raises(Refused, match="Somebody else says"):
        post_back(desk, BENCH, to_post, PACKED)

    settle(desk, BENCH, to_post, "She found hers.")
    post_back(desk, BENCH, to_post, PACKED)


def test_the_warranty_runs_from_the_day_on_which_it_arrived(desk: Desk, clock: FixedClock, to_post: str) -> None:
    post_back(desk, BENCH, to_post, PACKED)
    clock.at += timedelta(days=4)

    arrived(desk, BENCH, to_post, "2026-03-05")

    assert ticket_of(desk, to_post).delivered_on == date(2026, 3, 5)
    assert link_ends(desk, to_post) == datetime(2026, 6, 5, 23, tzinfo=UTC)


def test_a_parcel_that_comes_back_opens_the_ticket_again_where_it_was(
    desk: Desk, clock: FixedClock, to_post: str
) -> None:
    post_back(desk, BENCH, to_post, PACKED)
    clock.at += timedelta(days=9)

    came_back(desk, BENCH, to_post, "2026-03-11", "Nobody was at home.")

    ticket = ticket_of(desk, to_post)
    assert (ticket.standing, ticket.ended_at) == (Standing("ready"), None)
    assert ticket.stage_since == clock.now()  # reminders count from now
    assert link_ends(desk, to_post) is None
    assert (choice_of(desk, to_post).way, choice_of(desk, to_post).address) == (None, "")
    assert messages(desk)[-1][0] == "parcel_came_back"
    assert_the_journal_rebuilds_the_row(desk, to_post)


def test_it_goes_once_more_to_an_address_that_is_confirmed_anew(desk: Desk, to_post: str) -> None:
    post_back(desk, BENCH, to_post, PACKED)
    came_back(desk, BENCH, to_post, TODAY)
    with pytest.raises(Refused, match="confirmed no address"):
        post_back(desk, BENCH, to_post, PACKED)

    choose(desk, CUSTOMER, to_post, Wanted("post", address="At work", confirmed=True))
    post_back(desk, BENCH, to_post, replace(PACKED, reference="QH 0043"))

    assert parcel_of(desk, to_post).reference == "QH 0043"


def test_what_became_of_a_parcel_is_said_once(desk: Desk, to_post: str) -> None:
    with pytest.raises(Refused, match="not posted"):
        arrived(desk, BENCH, to_post, TODAY)
    post_back(desk, BENCH, to_post, PACKED)
    arrived(desk, BENCH, to_post, TODAY)

    for again in (arrived, came_back):
        with pytest.raises(Refused, match="already"):
            again(desk, BENCH, to_post, TODAY)


@pytest.mark.parametrize("day", ["", "soon", "2026-03-01", "2026-03-03"])
def test_it_arrives_and_comes_back_between_its_posting_and_today(desk: Desk, to_post: str, day: str) -> None:
    post_back(desk, BENCH, to_post, PACKED)

    for end in (arrived, came_back):
        with pytest.raises(Unfit) as refused:
            end(desk, BENCH, to_post, day)
        assert refused.value.field == "day"


def test_a_parcel_that_was_noted_by_mistake_is_undone_like_any_handover(desk: Desk, to_post: str) -> None:
    post_back(desk, BENCH, to_post, PACKED)
    arrived(desk, BENCH, to_post, TODAY)
    undo(desk, BENCH, to_post, "It still lies here.")

    assert (ticket_of(desk, to_post).ending, ticket_of(desk, to_post).delivered_on) == (None, None)
    post_back(desk, BENCH, to_post, PACKED)
