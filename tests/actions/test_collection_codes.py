"""Who may have a device: the code, whose it is, when it is no code any more, and what happens without one."""

from __future__ import annotations

from datetime import timedelta

import pytest
from sqlalchemy import update

from notifications.instants import FixedClock
from portal.actions import collection_codes, links
from portal.actions.contacts import ContactTyped, change_contact
from portal.actions.desk import By, Desk, find
from portal.actions.handover import Handed, hand_over, undo
from portal.actions.intake import NewDevice, NewVisit, Second, TakenIn, take_in
from portal.rules.collection_code import MOST_TRIES
from portal.rules.handing_over import WRONG_CODE, Proof
from portal.rules.refusals import Refused, Unfit
from portal.store import handovers, visits
from portal.store.tables import contacts, policies
from portal.store.visits import Contact
from tests.actions.aftermath import everything, journal_of, messages, ticket_of
from tests.actions.bench import WITHOUT_CODE, bring_to, with_code
from tests.conftest import BENCH

CHECKED = Handed(why="Left the telephone at home.", checked=("device", "name"))


@pytest.fixture
def ready(desk: Desk, number: str) -> str:
    """The number of a ticket whose device is ready."""
    bring_to(desk, number, "ready")
    return number


def contacts_of(desk: Desk, number: str) -> list[Contact]:
    with desk.reading() as connection:
        return visits.contacts_of(connection, find(connection, number).visit_id)


def code_of(desk: Desk, number: str, role: str = "owner", used: int = 0) -> str:
    """The code that one contact was sent."""
    contact = next(each for each in contacts_of(desk, number) if each.role == role)
    return collection_codes.of_contact(desk.links.secret, contact, ticket_of(desk, number).ref, used)


def refuses(desk: Desk, number: str, code: str) -> None:
    """This code opens nothing, whatever is said beside it, and nothing but the count of tries changes."""
    before = everything(desk)
    with pytest.raises(Unfit) as refused:
        hand_over(desk, BENCH, number, Handed(code=code, why="They seem to be nice.", checked=("device", "name")))
    after = everything(desk)
    assert (refused.value.field, refused.value.reasons) == ("code", (WRONG_CODE,))
    assert {table for table in before if before[table] != after[table]} == {"throttles"}


def test_the_owner_has_the_device_for_the_code(desk: Desk, ready: str, technician: By) -> None:
    hand_over(desk, technician, ready, Handed(code=code_of(desk, ready).lower()))

    last = journal_of(desk, ready)[-1]
    assert (last.event, last.data) == ("ended", {"ending": "collected", "proof": "code"})
    assert messages(desk)[-1][0] == "ended"


def test_a_second_person_who_may_collect_has_a_code_of_their_own_and_another_has_none(desk: Desk) -> None:
    for may_collect in (True, False):
        second = Second("Ben", "ben@example.org", may_be_told=True, may_collect=may_collect)
        number = take_in(desk, BENCH, NewVisit([NewDevice("Phone", "Dark")], name="Ada", second=second)).numbers[0]
        bring_to(desk, number, "ready")
        code = code_of(desk, number, "second")

        assert code != code_of(desk, number)
        if may_collect:
            hand_over(desk, BENCH, number, Handed(code=code))
        else:
            refuses(desk, number, code)


def test_wrong_codes_of_every_kind_are_refused_alike(desk: Desk, arrival: NewVisit, ready: str) -> None:
    other = take_in(desk, BENCH, arrival).numbers[0]
    bring_to(desk, other, "ready")
    renewed = code_of(desk, ready)
    links.renew_contact(desk, BENCH, ready, contacts_of(desk, ready)[0].ref)

    refuses(desk, ready, "000-000")
    refuses(desk, ready, code_of(desk, other))
    refuses(desk, ready, renewed)
    hand_over(desk, BENCH, ready, Handed(code=code_of(desk, ready)))
    refuses(desk, ready, code_of(desk, ready))


def test_of_two_devices_of_one_visit_each_has_its_own_code(desk: Desk) -> None:
    visit = NewVisit([NewDevice("Phone", "Dark"), NewDevice("Laptop", "Loud")], email="ada@example.org")
    phone, laptop = take_in(desk, BENCH, visit).numbers
    bring_to(desk, phone, "ready")
    bring_to(desk, laptop, "ready")

    refuses(desk, laptop, code_of(desk, phone))


def test_a_code_that_was_used_opens_nothing_once_its_handover_was_undone(desk: Desk, ready: str) -> None:
    used = code_of(desk, ready)
    hand_over(desk, BENCH, ready, Handed(code=used))
    undo(desk, BENCH, ready, "The fan is loud again.")

    refuses(desk, ready, used)
    hand_over(desk, BENCH, ready, Handed(code=code_of(desk, ready, used=1)))


def test_a_code_that_nobody_used_still_opens_after_a_mistake_was_undone(desk: Desk, ready: str) -> None:
    hand_over(desk, BENCH, ready, WITHOUT_CODE)
    undo(desk, BENCH, ready, "The wrong ticket.")

    hand_over(desk, BENCH, ready, Handed(code=code_of(desk, ready)))


def test_tries_are_few_and_a_right_code_comes_too_late_then(desk: Desk, clock: FixedClock, ready: str) -> None:
    for _try in range(MOST_TRIES):
        refuses(desk, ready, "000-000")

    with pytest.raises(Unfit, match="Too many wrong codes"):
        hand_over(desk, BENCH, ready, with_code(desk, ready))
    clock.at += timedelta(days=1)
    hand_over(desk, BENCH, ready, with_code(desk, ready))


def test_tries_for_one_device_do_not_count_for_another(desk: Desk, arrival: NewVisit, ready: str) -> None:
    other = take_in(desk, BENCH, arrival).numbers[0]
    bring_to(desk, other, "ready")
    for _try in range(MOST_TRIES):
        refuses(desk, ready, "000-000")

    hand_over(desk, BENCH, other, with_code(desk, other))


def test_who_has_no_contact_has_the_code_on_paper_until_they_leave_one(desk: Desk) -> None:
    visit = NewVisit([NewDevice("Phone", "Dark")], phone="07700 900123", phone_is_on_bench=True)
    taken: TakenIn = take_in(desk, BENCH, visit)
    number = taken.numbers[0]
    bring_to(desk, number, "ready")
    with desk.reading() as connection:
        found = visits.by_ref(connection, taken.visit_ref)
        assert found is not None
        stub = collection_codes.of_stub(desk.links.secret, found, ticket_of(desk, number).ref, 0)

    change_contact(desk, BENCH, number, "owner", ContactTyped(email="ada@example.org"))
    refuses(desk, number, stub)
    change_contact(desk, BENCH, number, "owner", ContactTyped())
    hand_over(desk, BENCH, number, Handed(code=stub))

    with desk.reading() as connection:
        went = handovers.newest(connection, ticket_of(desk, number).id)
    assert went is not None
    assert went.proof is Proof.STUB


def test_a_renewed_docket_has_a_new_code_on_its_stub(desk: Desk) -> None:
    taken = take_in(desk, BENCH, NewVisit([NewDevice("Phone", "Dark")]))
    number = taken.numbers[0]
    bring_to(desk, number, "ready")
    old = with_code(desk, number).code

    links.renew_docket(desk, BENCH, number)

    refuses(desk, number, old)


# Without a code


def let_the_bench(desk: Desk) -> None:
    """The policy lets the bench hand over without a code."""
    with desk.writing() as connection:
        document = connection.execute(policies.select()).one().document
        text = f"{document}\n[handover]\nbench_without_code = true\n"
        connection.execute(update(policies).values(document=text))
    desk.shelf._parsed.clear()


def test_without_a_code_the_keeper_looks_at_other_things_and_the_owner_hears_of_it_at_once(
    desk: Desk, clock: FixedClock, ready: str, keeper: By
) -> None:
    clock.at = clock.at.replace(hour=23)

    hand_over(desk, keeper, ready, CHECKED)

    last = journal_of(desk, ready)[-1]
    assert (last.event, last.data["proof"], last.text) == ("ended", "without code", CHECKED.why)
    assert last.audience == "bench"
    assert messages(desk)[-1] == ("handed_over_without_code", ticket_of(desk, ready).ref, {})


def test_the_bench_hands_over_without_a_code_only_where_the_policy_lets_it(
    desk: Desk, ready: str, technician: By
) -> None:
    with pytest.raises(Refused, match="only the keeper"):
        hand_over(desk, technician, ready, CHECKED)

    let_the_bench(desk)
    hand_over(desk, technician, ready, CHECKED)


@pytest.mark.parametrize(
    ("handed", "field"),
    [
        (Handed(), "code"),
        (Handed(code="   "), "code"),
        (Handed(why="Known here."), "checked"),
        (Handed(why="Known here.", checked=("device",)), "checked"),
        (Handed(why="Known here.", checked=("device", "device")), "checked"),
        (Handed(why="Known here.", checked=("device", "horoscope")), "checked"),
        (Handed(checked=("device", "name")), "why"),
        (Handed(why=" \n ", checked=("device", "name")), "why"),
        (Handed(why="x" * 401, checked=("device", "name")), "why"),
    ],
)
def test_without_a_code_neither_list_nor_reason_may_be_missing(
    desk: Desk, ready: str, keeper: By, handed: Handed, field: str
) -> None:
    before = everything(desk)

    with pytest.raises(Unfit) as refused:
        hand_over(desk, keeper, ready, handed)
    assert refused.value.field == field
    assert everything(desk) == before


def test_the_owner_who_wants_no_messages_still_hears_that_the_code_was_not_shown(
    desk: Desk, ready: str, keeper: By
) -> None:
    with desk.writing() as connection:
        connection.execute(update(contacts).values(wants="none"))

    hand_over(desk, keeper, ready, CHECKED)

    assert messages(desk)[-1][0] == "handed_over_without_code"
