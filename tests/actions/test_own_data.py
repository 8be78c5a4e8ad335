"""What a person does about their own data: after a code to the contact on file, and not without it."""

from __future__ import annotations

from datetime import timedelta

import pytest

from notifications.instants import FixedClock
from portal.actions import codes, own_data, rights
from portal.actions.desk import Desk
from portal.actions.handover import return_unrepaired
from portal.actions.intake import NewDevice, NewVisit, take_in
from portal.rules.refusals import AskFirst, Refused, Unfit
from portal.rules.retention import Kept
from portal.rules.rights import Right, State
from portal.store import rights as rows
from portal.store import visits
from portal.store.photo_files import PhotoFiles
from portal.store.visits import Visit
from tests.actions.aftermath import everything, journal_of, messages, ticket_of
from tests.conftest import BENCH


@pytest.fixture
def visit(desk: Desk, number: str) -> Visit:
    with desk.reading() as connection:
        return visits.by_id(connection, ticket_of(desk, number).visit_id)


def digits(desk: Desk, visit: Visit) -> str:
    with desk.reading() as connection:
        newest = rows.CODES.newest(connection, visit.id)
    assert newest is not None
    return codes.code_of(desk.links.secret, newest.ref)


def proven(desk: Desk, visit: Visit) -> str:
    own_data.send_code(desk, visit)
    return own_data.prove(desk, visit, digits(desk, visit))


def requests(desk: Desk, visit: Visit) -> list[tuple[Right, State]]:
    with desk.reading() as connection:
        return [(kept.request.right, kept.request.state) for kept in rows.of_visit(connection, visit.id)]


def test_the_code_goes_to_the_owner_on_file_and_opens_the_page(desk: Desk, visit: Visit) -> None:
    own_data.send_code(desk, visit)

    assert [event for event, *_rest in messages(desk)][-1] == "own_data_code"
    own_data.must_be_proven(desk, visit, own_data.prove(desk, visit, digits(desk, visit)))


def test_without_an_address_there_is_no_code(desk: Desk) -> None:
    taken = take_in(desk, BENCH, NewVisit(devices=[NewDevice("Radio", "", "console")]))
    with desk.reading() as connection:
        visit = visits.by_id(connection, ticket_of(desk, taken.numbers[0]).visit_id)

    with pytest.raises(Refused, match="nobody on file"):
        own_data.send_code(desk, visit)


@pytest.mark.parametrize("typed", ["", "12345", "abcdef", "０００００００", "9" * 400])
def test_a_wrong_code_opens_nothing(desk: Desk, visit: Visit, typed: str) -> None:
    own_data.send_code(desk, visit)

    with pytest.raises(Unfit) as fault:
        own_data.prove(desk, visit, typed)
    assert fault.value.field == "code"


def test_a_code_opens_the_page_once(desk: Desk, visit: Visit) -> None:
    proven(desk, visit)

    with pytest.raises(Unfit):
        own_data.prove(desk, visit, digits(desk, visit))


def test_after_five_tries_the_right_code_is_none_either(desk: Desk, visit: Visit) -> None:
    own_data.send_code(desk, visit)
    right = digits(desk, visit)
    for _try in range(codes.MOST_TRIES):
        with pytest.raises(Unfit):
            own_data.prove(desk, visit, f"{(int(right) + 1) % 1_000_000:06}")

    with pytest.raises(Unfit):
        own_data.prove(desk, visit, right)


def test_the_pass_holds_a_quarter_of_an_hour(desk: Desk, visit: Visit, clock: FixedClock) -> None:
    passed = proven(desk, visit)
    clock.at += codes.LASTS
    own_data.must_be_proven(desk, visit, passed)
    clock.at += timedelta(seconds=1)

    with pytest.raises(Unfit, match="time of your code is over"):
        own_data.must_be_proven(desk, visit, passed)


@pytest.mark.parametrize("passed", ["", "0" * 64, "ümlaut"])
def test_a_made_up_pass_is_none(desk: Desk, visit: Visit, passed: str) -> None:
    proven(desk, visit)

    with pytest.raises(Unfit):
        own_data.must_be_proven(desk, visit, passed)


def test_the_pass_of_one_visit_does_not_open_another(desk: Desk, visit: Visit) -> None:
    taken = take_in(desk, BENCH, NewVisit(devices=[NewDevice("Radio", "", "console")], email="bo@example.org"))
    with desk.reading() as connection:
        other = visits.by_id(connection, ticket_of(desk, taken.numbers[0]).visit_id)
    passed = proven(desk, visit)
    proven(desk, other)

    with pytest.raises(Unfit):
        own_data.must_be_proven(desk, other, passed)


def test_what_is_taken_along_is_written_down_and_told(desk: Desk, visit: Visit, number: str) -> None:
    own_data.taken_along(desk, number)

    assert requests(desk, visit) == [(Right.ACCESS, State.DONE)]
    assert messages(desk)[-1][2]["what"] == "done"


def test_a_corrected_address_gets_a_link_of_its_own(desk: Desk, visit: Visit, number: str) -> None:
    own_data.correct(desk, number, "Ada Marsh-Lee", "ada@example.net", "07700 900124")

    with desk.reading() as connection:
        owner = visits.contacts_of(connection, visit.id)[0]
    assert (owner.name, owner.email, owner.phone) == ("Ada Marsh-Lee", "ada@example.net", "+447700900124")
    assert owner.link_version == 2
    assert [event for event, *_rest in messages(desk)][-1] == "link_again"
    assert requests(desk, visit) == [(Right.RECTIFICATION, State.DONE)]


def test_a_correction_that_does_not_fit_changes_nothing(desk: Desk, visit: Visit, number: str) -> None:
    before = everything(desk)
    with pytest.raises(Unfit):
        own_data.correct(desk, number, "Ada Marsh", "no address", "")

    assert everything(desk) == before


def test_a_statement_stands_in_the_record_for_both_to_read(desk: Desk, visit: Visit, number: str) -> None:
    return_unrepaired(desk, BENCH, number, "Beyond repair.")
    own_data.state(desk, number, "The scratch was there before.")

    entry = journal_of(desk, number)[-1]
    assert (entry.event, entry.text, entry.audience) == ("stated", "The scratch was there before.", "customer")
    assert requests(desk, visit) == [(Right.RECTIFICATION, State.DONE)]


def test_a_statement_with_a_card_number_is_asked_about(desk: Desk, number: str) -> None:
    with pytest.raises(AskFirst):
        own_data.state(desk, number, "I paid with 4111 1111 1111 1111.")


def test_erased_once_the_device_has_left_and_what_stays_has_a_ground_and_an_end(
    desk: Desk, files: PhotoFiles, visit: Visit, number: str
) -> None:
    return_unrepaired(desk, BENCH, number, "Beyond repair.")
    erased = own_data.erase(desk, files, number)

    assert erased is not None
    assert Kept.CONTACT in erased.gone
    assert {stays.kept for stays in erased.stays} == {Kept.APPROVAL, Kept.MONEY}
    assert all(str(stays.why) and stays.until > visit.made_at.date() for stays in erased.stays)
    assert "ada@example.org" not in repr(everything(desk))
    assert requests(desk, visit) == [(Right.ERASURE, State.DONE)]


def test_while_the_device_is_here_the_keeper_is_asked(desk: Desk, files: PhotoFiles, visit: Visit, number: str) -> None:
    """Art. 17(1)(a) GDPR: it is still needed for the repair."""
    assert own_data.erase(desk, files, number) is None

    assert requests(desk, visit) == [(Right.ERASURE, State.OPEN)]
    assert "ada@example.org" in repr(everything(desk))


def test_restricted_at_once(desk: Desk, visit: Visit, number: str) -> None:
    own_data.restrict(desk, number)

    assert requests(desk, visit) == [(Right.RESTRICTION, State.DONE)]
    with desk.reading() as connection:
        assert visits.by_id(connection, visit.id).restricted_at is not None


def test_an_objection_takes_effect_at_once_and_the_keeper_answers_the_rest(
    desk: Desk, visit: Visit, number: str
) -> None:
    ref = own_data.objects(desk, number, "No reminders, please.")

    with desk.reading() as connection:
        owner = visits.contacts_of(connection, visit.id)[0]
        assert rights.of(connection, ref).words == "No reminders, please."
    assert owner.no_reminders
    assert requests(desk, visit) == [(Right.OBJECTION, State.OPEN)]


@pytest.mark.parametrize("deed", ["state", "restrict", "objects", "correct"])
def test_the_same_form_twice_counts_once(desk: Desk, number: str, deed: str) -> None:
    arguments = {
        "state": ("The scratch was there.",),
        "objects": ("No.",),
        "correct": ("Ada", "ada@example.org", "07700 900123"),
    }.get(deed, ())
    do = getattr(own_data, deed)
    do(desk, number, *arguments, deed_key="k" * 32)
    before = everything(desk)

    do(desk, number, *arguments, deed_key="k" * 32)

    assert everything(desk) == before
