"""The desk: the policy in force, and finding a repair by what was typed."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from threading import Barrier

import pytest
from sqlalchemy import delete

from portal.actions.desk import Desk, NoPolicy, NotFound, PolicyShelf, find, policy_in_force
from portal.rules.numbers import spoken
from portal.rules.policy import Policy
from portal.store import policies
from portal.store.tables import policies as policies_table


def document(desk: Desk, shop: str) -> str:
    with desk.reading() as connection:
        text = policies.document(connection, 1)
    assert text is not None
    return text.replace('name = "A small repair shop"', f'name = "{shop}"')


def test_the_newest_revision_is_in_force_and_older_ones_can_still_be_read(desk: Desk) -> None:
    newer = document(desk, "Another shop")
    with desk.writing() as connection:
        assert policies.add(connection, newer, desk.clock.now(), None) == 2

        assert desk.policy(connection).shop.name == "Another shop"
        assert desk.shelf.read(connection, 1)[1].shop.name == "A small repair shop"
        assert [each.revision for each in policies.revisions(connection)] == [2, 1]


def test_a_revision_is_parsed_once(desk: Desk) -> None:
    with desk.reading() as connection:
        assert desk.policy(connection) is desk.policy(connection)


def test_a_revision_that_another_process_loaded_is_seen_at_once(desk: Desk) -> None:
    other = PolicyShelf()
    with desk.writing() as connection:
        desk.policy(connection)
        policies.add(connection, document(desk, "Another shop"), desk.clock.now(), None)

        assert desk.policy(connection) == other.read(connection)[1]


def test_beside_a_deed_the_document_is_read_once_a_connection_and_a_newer_one_is_seen_at_once(
    desk: Desk, monkeypatch: pytest.MonkeyPatch
) -> None:
    newer = document(desk, "Another shop")
    with desk.writing() as connection:
        assert policy_in_force(connection).shop.name == "A small repair shop"
        policies.add(connection, newer, desk.clock.now(), None)
        assert policy_in_force(connection).shop.name == "Another shop"

        monkeypatch.setattr(policies, "document", lambda *_: pytest.fail("the document was read again"))
        assert policy_in_force(connection).shop.name == "Another shop"


def test_a_shop_without_a_policy_is_told_what_to_do(desk: Desk) -> None:
    with desk.writing() as connection:
        connection.execute(delete(policies_table))

        with pytest.raises(NoPolicy, match="Run `benchwindow init` first"):
            PolicyShelf().read(connection)


def test_a_repair_is_found_by_its_number_however_it_is_spelt(desk: Desk, number: str) -> None:
    with desk.reading() as connection:
        for typed in (number, spoken(number), f" {' '.join(number)} "):
            assert find(connection, typed).number == number


def test_a_repair_that_is_not_there_is_named_as_it_is_spoken(desk: Desk) -> None:
    with desk.reading() as connection, pytest.raises(NotFound) as missing:
        find(connection, "57 24")

    assert str(missing.value.reason) == "There is no repair 572-4 here."


def test_a_revision_that_two_threads_parse_at_once_is_the_same_to_both(desk: Desk) -> None:
    together = Barrier(4)

    def read(_place: int) -> Policy:
        with desk.reading() as connection:
            together.wait()
            return desk.policy(connection)

    with ThreadPoolExecutor(4) as pool:
        first, *others = pool.map(read, range(4))

    assert all(other is first for other in others)
