"""Putting a contact right: who is told and who is found follows it, and a link sent astray dies."""

from __future__ import annotations

import pytest

from portal.actions.contacts import ContactTyped, change_contact
from portal.actions.desk import Desk, NotFound
from portal.actions.intake import TakenIn
from portal.actions.links import Renewed, resolve
from portal.rules.refusals import Refused, Unfit
from portal.rules.tokens import LinkKind
from portal.store import search, visits
from portal.store.visits import Contact
from tests.actions.aftermath import everything, messages, ticket_of
from tests.conftest import BENCH

ADA = ContactTyped("Ada Marsh", "ada@example.org", "07700 900123")


def contacts(desk: Desk, number: str) -> list[Contact]:
    with desk.reading() as connection:
        return visits.contacts_of(connection, ticket_of(desk, number).visit_id)


def found(desk: Desk, asked: str) -> list[str]:
    with desk.reading() as connection:
        return [line.ticket.number for line in search.find(connection, asked)]


def own_token(desk: Desk, contact: Contact) -> str:
    return desk.links.customer(LinkKind.CONTACT, contact.ref, contact.link_version).rsplit("/", 1)[1]


def test_a_ticket_is_found_by_the_new_name_and_phone_and_no_longer_by_the_old(desk: Desk, number: str) -> None:
    change_contact(desk, BENCH, number, "owner", ContactTyped("Ida Fenn", "ada@example.org", "07700 900456"))

    assert found(desk, "fenn") == found(desk, "0456") == [number]
    assert found(desk, "marsh") == found(desk, "0123") == []


def test_the_link_that_went_to_a_wrong_address_dies_and_the_right_one_gets_its_own(desk: Desk, number: str) -> None:
    astray = own_token(desk, contacts(desk, number)[0])

    change_contact(desk, BENCH, number, "owner", ContactTyped("Ada Marsh", "right@example.org", "07700 900123"))

    with pytest.raises(Renewed), desk.reading() as connection:
        resolve(desk, connection, astray)
    assert [event for event, *_rest in messages(desk)] == ["taken_in", "link_again"]


def test_a_new_phone_leaves_the_link_and_sends_nothing(desk: Desk, number: str) -> None:
    before = contacts(desk, number)[0]

    change_contact(desk, BENCH, number, "owner", ContactTyped("Ada Marsh", "ada@example.org", "07700 900456"))

    assert contacts(desk, number)[0].link_version == before.link_version
    assert [event for event, *_rest in messages(desk)] == ["taken_in"]


def test_the_docket_stays_good_whatever_changes_in_the_contact(desk: Desk, taken_in: TakenIn) -> None:
    change_contact(desk, BENCH, taken_in.numbers[0], "owner", ContactTyped("Ida Fenn", "right@example.org"))

    with desk.reading() as connection:
        resolve(desk, connection, taken_in.link.rsplit("/", 1)[1])


def test_a_second_person_is_named_afterwards_with_what_they_may_do(desk: Desk, number: str) -> None:
    change_contact(desk, BENCH, number, "second", ContactTyped("Bo Marsh", phone="07700 900456", may_collect=True))

    owner, second = contacts(desk, number)
    assert owner.name == "Ada Marsh"
    assert (second.name, second.may_be_told, second.may_agree, second.may_collect) == ("Bo Marsh", False, False, True)


def test_the_owner_may_do_all_whatever_the_form_says(desk: Desk, number: str) -> None:
    change_contact(desk, BENCH, number, "owner", ContactTyped("Ida Fenn"))

    owner = contacts(desk, number)[0]
    assert (owner.may_be_told, owner.may_agree, owner.may_collect) == (True, True, True)


@pytest.mark.parametrize(
    ("role", "typed", "fault"),
    [
        ("owner", ContactTyped("n" * 10_000), Unfit),
        ("owner", ContactTyped(email="nobody"), Unfit),
        ("owner", ContactTyped(phone="12"), Unfit),
        ("second", ContactTyped(email="bo@example.org"), Unfit),
        ("owner", ADA, Refused),
        ("third", ADA, NotFound),
    ],
)
def test_what_does_not_fit_or_changes_nothing_is_refused_and_nothing_is_written(
    desk: Desk, number: str, role: str, typed: ContactTyped, fault: type[Exception]
) -> None:
    before = everything(desk)

    with pytest.raises(fault):
        change_contact(desk, BENCH, number, role, typed)

    assert everything(desk) == before
