"""What the data protection law lists beside notices and deadlines, each by its article. GDPR, (EU) 2016/679.

What is counted elsewhere: Art. 12 and 12A in `test_rights` and `test_deadlines`; Art. 13 and 30 in `test_privacy`; Art.
15, 16, 20 in `test_own_data_pages`; Art. 17, 18, 19, 21 in `test_right_grounds`; Art. 28 and 32 in
`test_record_of_processing`; Art. 33 and 34 in `test_breach_pages`.
"""

from __future__ import annotations

from datetime import timedelta

import pytest
from sqlalchemy import select

from notifications.instants import FixedClock
from portal.actions import erasure, own_data, retention
from portal.actions.desk import Desk
from portal.actions.handover import return_unrepaired
from portal.actions.intake import TakenIn
from portal.main import Installation
from portal.rules.numbers import spoken
from portal.rules.refusals import Refused
from portal.rules.retention import REGISTER, Basis, Kept
from portal.store import keeping, publication, visits
from portal.store.keeping_tables import purges
from portal.store.tables import contacts, tickets
from tests.actions.aftermath import everything, ticket_of
from tests.conftest import BENCH
from tests.web.browser import Browser, hidden_fields
from tests.web.test_customer_docket import path_of


@pytest.mark.parametrize("kept", Kept)
def test_each_kind_of_data_keeps_to_the_principles(kept: Kept) -> None:
    """Art. 5(1): (a) a lawful basis that people read, (b) a purpose, (c) no more than it, (e) an end; recital 39."""
    entry = REGISTER[kept]

    assert entry.basis in Basis
    assert str(entry.purpose)
    assert str(entry.ground)
    assert entry.usual.number > 0
    assert not entry.usual.longer_than(entry.longest)


def test_a_person_corrects_what_is_wrong_without_asking_anybody(desk: Desk, number: str) -> None:
    """Art. 5(1)(d): accurate and up to date."""
    own_data.correct(desk, number, "Ada Marsh-Low", "ada@example.org", "07700 900123")

    with desk.reading() as connection:
        (owner,) = visits.contacts_of(connection, ticket_of(desk, number).visit_id)
    assert owner.name == "Ada Marsh-Low"


def test_every_erasure_leaves_a_row_that_says_how_much_and_nothing_of_the_person(
    installation: Installation, number: str
) -> None:
    """Art. 5(2): the controller can show it."""
    desk = installation.desk
    return_unrepaired(desk, BENCH, number, "Beyond repair.")
    told = erasure.erase(desk, installation.photo_files, BENCH, number, "Asked for by mail.")

    with desk.reading() as connection:
        rows = connection.execute(select(purges)).mappings().all()
    assert sorted(row["kept"] for row in rows) == sorted(told.gone)
    assert {name for row in rows for name in row} == {"id", "at", "kept", "count", "policy_revision"}
    assert "Ada" not in repr(rows)


def test_six_bases_of_which_four_are_used_each_for_what_it_fits() -> None:
    """Art. 6(1)(a) to (f): contract for messages, legal duty for the books, consent for publication and notices."""
    assert {basis.value for basis in Basis} <= set("abcdef")
    assert REGISTER[Kept.MESSAGE].basis is REGISTER[Kept.CONTACT].basis is Basis.CONTRACT
    assert REGISTER[Kept.MONEY].basis is Basis.LEGAL_DUTY
    assert {kept for kept, entry in REGISTER.items() if entry.basis is Basis.CONSENT} == {Kept.PUBLICATION, Kept.PUSH}


def test_consent_is_taken_back_on_the_page_on_which_it_is_given_by_one_press_each(
    client: Browser, desk: Desk, taken_in: TakenIn
) -> None:
    """Art. 7(3): as easy to withdraw as to give."""
    page, number = path_of(taken_in.link) + "/photos", taken_in.numbers[0]
    form, presses = f"{page}/{spoken(number)}/publication", []
    for may in ("yes", "no"):
        fields = hidden_fields(client.get(page).text, form) | {"may": may}
        presses.append(sorted(set(fields) - {"deed_key"}))
        client.post(form, data=fields)
        with desk.reading() as connection:
            assert (publication.standing(connection, ticket_of(desk, number).id) is not None) is (may == "yes")
    assert presses[0] == presses[1]


def test_once_the_contact_has_gone_nobody_can_be_told_from_anybody_else_and_none_is_asked_to_be(
    installation: Installation, number: str, clock: FixedClock
) -> None:
    """Art. 11: what remains identifies nobody, and nothing is collected to identify them again."""
    desk = installation.desk
    with desk.reading() as connection:
        visit = visits.by_id(connection, ticket_of(desk, number).visit_id)
    return_unrepaired(desk, BENCH, number, "Beyond repair.")
    clock.at += timedelta(days=100)
    retention.apply(desk, installation.photo_files, clock.now())

    assert ticket_of(desk, number).device == ""
    assert "Ada" not in repr(everything(desk))
    with pytest.raises(Refused, match="nobody on file"):
        own_data.send_code(desk, visit)


def test_by_default_nothing_is_public_and_only_what_is_needed_is_there(desk: Desk, number: str) -> None:
    """Art. 25(2): amount, extent, period and who sees it, without anybody doing anything."""
    ticket = ticket_of(desk, number)
    with desk.reading() as connection:
        assert publication.standing(connection, ticket.id) is None
        assert [each.role for each in visits.contacts_of(connection, ticket.visit_id)] == ["owner"]
        assert keeping.of_visit(connection, ticket.visit_id) == {}
        row = connection.execute(select(tickets)).mappings().one()
        owner = connection.execute(select(contacts)).mappings().one()
    assert not row["express"]
    assert not owner["has_push"]


def test_what_somebody_asks_of_their_data_costs_nothing(client: Browser, taken_in: TakenIn) -> None:
    """Art. 12(5): free of charge."""
    assert "It costs nothing." in client.get(path_of(taken_in.link) + "/data").text
