"""The purge: what has outlived its purpose goes, nothing else does, and stopping half-way loses nothing."""

from __future__ import annotations

from datetime import timedelta

import pytest

from notifications import outbox
from notifications.instants import FixedClock
from portal.actions import pauses, people, photos, publication, retention
from portal.actions.announce import announce
from portal.actions.desk import COMMAND, Desk, NotFound, find
from portal.actions.handover import return_unrepaired
from portal.actions.intake import NewDevice, NewVisit, take_in
from portal.actions.notes import note
from portal.actions.shop import show_policy
from portal.rules.refusals import Unfit
from portal.rules.retention import REGISTER, Kept
from portal.store import keeping, tickets, visits
from portal.store.keeping import Pause
from portal.store.photo_files import PhotoFiles
from tests.actions.aftermath import ALL_TABLES, everything, ticket_of
from tests.actions.test_announce import FORM, posting  # noqa: F401 (a fixture)
from tests.conftest import BENCH
from tests.pictures.samples import as_bytes, four_corners

WORDS = "Marker words of the bench"


def given_back(desk: Desk, number: str) -> None:
    return_unrepaired(desk, BENCH, number, "The customer wished so.")


def counts(found: list[retention.Due]) -> dict[Kept, int]:
    return {each.kept: each.count for each in found if each.count}


def pass_time(clock: FixedClock, **by: int) -> None:
    clock.at += timedelta(**by)


def whole(desk: Desk) -> str:
    return repr(everything(desk, ALL_TABLES))


def test_nothing_goes_while_a_device_is_here(desk: Desk, files: PhotoFiles, clock: FixedClock, number: str) -> None:
    before = everything(desk)
    pass_time(clock, days=10_000)

    assert counts(retention.due(desk, clock.now())) == {}
    assert counts(retention.apply(desk, files, clock.now())) == {}
    assert everything(desk) == before


def test_the_person_and_the_record_go_when_their_time_is_over_and_not_before(
    desk: Desk, files: PhotoFiles, clock: FixedClock, number: str
) -> None:
    note(desk, BENCH, number, WORDS)
    given_back(desk, number)

    # Given back unrepaired: the page stays for 30 days, and then the contact for 30 more.
    pass_time(clock, days=60)
    assert Kept.CONTACT not in counts(retention.apply(desk, files, clock.now()))
    assert "ada@example.org" in whole(desk)

    pass_time(clock, days=1)
    gone = counts(retention.apply(desk, files, clock.now()))

    assert {Kept.CONTACT, Kept.DEVICE, Kept.RECORD, Kept.PHOTO} <= set(gone)
    left = whole(desk)
    assert [trace for trace in ("Ada", "ada@", "7700900123", "console, blue", "dropped", WORDS) if trace in left] == []


def test_a_yes_to_publication_outlasts_the_photos_and_goes_after_two_years(
    desk: Desk, files: PhotoFiles, clock: FixedClock, number: str
) -> None:
    publication.allow(desk, BENCH, number)
    given_back(desk, number)

    pass_time(clock, days=2 * 365 - 1)
    retention.apply(desk, files, clock.now())
    assert whole(desk).count("The shop may publish") == 1

    pass_time(clock, days=3)
    assert counts(retention.apply(desk, files, clock.now()))[Kept.PUBLICATION] == 1
    assert "The shop may publish" not in whole(desk)


def test_what_proof_hangs_on_stays_as_a_number_with_its_weeks(
    desk: Desk, files: PhotoFiles, clock: FixedClock, number: str
) -> None:
    given_back(desk, number)
    pass_time(clock, days=61)
    retention.apply(desk, files, clock.now())

    shell = ticket_of(desk, number)

    assert (shell.device, shell.fault, shell.kind) == ("", "", "console")
    assert shell.ended_at is not None
    assert {at.weekday() for at in (shell.made_at, shell.stage_since, shell.ended_at)} == {0}
    assert shell.ended_at.hour == 0


def test_after_six_years_nothing_is_left_but_the_number(
    desk: Desk, files: PhotoFiles, clock: FixedClock, number: str
) -> None:
    given_back(desk, number)
    pass_time(clock, days=6 * 366)
    retention.apply(desk, files, clock.now())

    with desk.reading() as connection, pytest.raises(NotFound):
        find(connection, number)
    left = {name for name, rows in everything(desk).items() if rows}
    assert left == {"numbers", "policies", "purges"}


def test_the_same_moment_twice_does_nothing_the_second_time(
    desk: Desk, files: PhotoFiles, clock: FixedClock, number: str
) -> None:
    given_back(desk, number)
    pass_time(clock, days=61)
    retention.apply(desk, files, clock.now())
    before = everything(desk)

    assert counts(retention.apply(desk, files, clock.now())) == {}
    assert everything(desk) == before


def test_a_clock_set_back_lets_nothing_go_and_brings_nothing_back(
    desk: Desk, files: PhotoFiles, clock: FixedClock, number: str
) -> None:
    given_back(desk, number)
    pass_time(clock, days=61)
    retention.apply(desk, files, clock.now())
    before = everything(desk)

    pass_time(clock, days=-400)

    assert counts(retention.apply(desk, files, clock.now())) == {}
    assert everything(desk) == before


def test_shorter_periods_say_how_much_would_go_before_it_does(
    desk: Desk, files: PhotoFiles, clock: FixedClock, number: str
) -> None:
    given_back(desk, number)
    pass_time(clock, days=40)  # the page ended after 30, so the contact has 20 days left
    before = everything(desk)
    text = show_policy(desk)
    shorter = (
        text
        + "\n[retention]\n"
        + "".join(
            f'{kept.value} = "{"5 days" if kept is Kept.CONTACT else entry.usual}"\n'
            for kept, entry in REGISTER.items()
        )
    )

    assert counts(retention.would_go(desk, shorter, clock.now())) == {Kept.CONTACT: 1}
    assert counts(retention.would_go(desk, text, clock.now())) == {}
    assert everything(desk) == before


def test_what_was_due_is_what_goes_and_is_written_down_as_counts(
    desk: Desk, files: PhotoFiles, clock: FixedClock, number: str
) -> None:
    given_back(desk, number)
    pass_time(clock, days=61)
    due = counts(retention.due(desk, clock.now()))

    gone = counts(retention.apply(desk, files, clock.now()))

    with desk.reading() as connection:
        written = {each.kept: each.count for each in keeping.purged(connection)}
    assert due == gone == written


def test_photos_go_with_their_files(desk: Desk, files: PhotoFiles, clock: FixedClock, number: str) -> None:
    photos.add(desk, files, BENCH, number, as_bytes(four_corners()), moment="before")
    assert list(files.all())
    given_back(desk, number)
    pass_time(clock, days=61)

    retention.apply(desk, files, clock.now())

    assert list(files.all()) == []


def test_a_device_that_comes_back_stops_the_clock(
    desk: Desk, files: PhotoFiles, clock: FixedClock, number: str
) -> None:
    given_back(desk, number)
    with desk.writing() as connection:
        visits.end_link_at(connection, ticket_of(desk, number).visit_id, None)
    pass_time(clock, days=10_000)

    assert counts(retention.apply(desk, files, clock.now())) == {}


def test_a_visit_ends_with_its_last_device(desk: Desk, files: PhotoFiles, clock: FixedClock) -> None:
    first, second = take_in(desk, BENCH, NewVisit([NewDevice("Radio", ""), NewDevice("Amplifier", "")])).numbers
    given_back(desk, first)
    pass_time(clock, days=10_000)
    assert counts(retention.due(desk, clock.now())) == {}

    given_back(desk, second)

    pass_time(clock, days=61)
    assert counts(retention.due(desk, clock.now()))[Kept.CONTACT] == 1


def test_a_dispute_pauses_what_it_names_until_its_day_and_never_for_ever(
    desk: Desk, files: PhotoFiles, clock: FixedClock, number: str
) -> None:
    given_back(desk, number)
    pass_time(clock, days=61)
    review = clock.now().date() + timedelta(days=90)
    with desk.writing() as connection:
        visit_id = ticket_of(desk, number).visit_id
        keeping.pause(connection, visit_id, Pause(Kept.RECORD, "Claim", review), None, clock.now())

    gone = counts(retention.apply(desk, files, clock.now()))
    assert Kept.CONTACT in gone
    assert Kept.RECORD not in gone

    pass_time(clock, days=90)
    assert Kept.RECORD in counts(retention.apply(desk, files, clock.now()))


def test_a_pause_ends_after_today_by_the_shops_clock(desk: Desk, clock: FixedClock, number: str) -> None:
    clock.at = clock.at.replace(month=7, day=1, hour=23, minute=30)  # half past midnight in London

    with pytest.raises(Unfit, match="within a year"):
        pauses.pause(desk, BENCH, number, [Kept.RECORD], "Claim", "2026-07-02")
    pauses.pause(desk, BENCH, number, [Kept.RECORD], "Claim", "2026-07-03")
    pauses.pause(desk, BENCH, number, [Kept.RECORD], "Claim", "2027-07-02")


def test_a_message_is_reduced_to_having_been_sent(
    desk: Desk, files: PhotoFiles, clock: FixedClock, number: str
) -> None:
    note(desk, BENCH, number, WORDS, audience="customer")
    with desk.writing() as connection:
        outbox.withdraw(connection, clock.now(), "a reason", reference=ticket_of(desk, number).ref)

    pass_time(clock, days=31)
    gone = counts(retention.apply(desk, files, clock.now()))

    assert gone[Kept.MESSAGE] == 1
    with desk.reading() as connection:
        (trace,) = outbox.about(connection, [ticket_of(desk, number).ref])
    assert (trace.event, trace.state, trace.outcome) == ("noted", "withdrawn", "")


def test_a_parcel_that_never_came_is_forgotten(
    posting: Desk,  # noqa: F811
    files: PhotoFiles,
    clock: FixedClock,
) -> None:
    (number,) = announce(posting, FORM, "somewhere").numbers
    pass_time(clock, days=30)
    assert Kept.ANNOUNCED not in counts(retention.due(posting, clock.now()))

    pass_time(clock, days=1)
    retention.apply(posting, files, clock.now())

    assert [
        trace for trace in ("Console, white", "No picture", "Ada", "1 Example Road") if trace in whole(posting)
    ] == []
    with posting.reading() as connection:
        assert tickets.by_number(connection, number) is None


def test_a_former_staff_member_is_forgotten_after_a_month(desk: Desk, files: PhotoFiles, clock: FixedClock) -> None:
    people.add_staff(desk, COMMAND, "Kim", "violet anvil fjord marmalade", "keeper")
    people.add_staff(desk, COMMAND, "Robin", "violet anvil fjord marmalade", "bench")
    people.disable(desk, COMMAND, "Robin")
    pass_time(clock, days=31)

    retention.apply(desk, files, clock.now())

    assert [person.name for person in people.everybody(desk) if not person.disabled_at] == ["Kim"]
    assert "Robin" not in whole(desk)


def test_a_purge_cut_short_goes_on_where_it_stopped(desk: Desk, files: PhotoFiles, clock: FixedClock) -> None:
    for _each in range(3):
        given_back(desk, take_in(desk, BENCH, NewVisit([NewDevice("Radio", "")], name="Ada")).numbers[0])
    pass_time(clock, days=61)

    first = counts(retention.apply(desk, files, clock.now(), most=2))[Kept.CONTACT]
    second = counts(retention.apply(desk, files, clock.now(), most=2))[Kept.CONTACT]

    assert (first, second) == (2, 1)
    assert "Ada" not in whole(desk)
