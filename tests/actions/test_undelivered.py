"""Deciding about what did not arrive, and the list of attempts to reach a customer, which keeps what failed."""

from __future__ import annotations

from datetime import timedelta

import pytest
from sqlalchemy import update

from notifications.tables import outbox
from portal.actions import conversation, undelivered
from portal.actions.desk import By, Desk
from portal.actions.intake import NewDevice, NewVisit, take_in
from portal.rules.refusals import Refused, Unfit
from portal.store.attempts import Attempt, attempts
from tests.actions.aftermath import everything, journal_of, ticket_of
from tests.conftest import BENCH


def settle(desk: Desk, event: str, **columns: object) -> int:
    """Let a message of an event have come to an end; tells its id."""
    with desk.writing() as connection:
        values = {"settled_at": desk.clock.now(), "state": "failed", "outcome": "550 no such mailbox"} | columns
        found = connection.execute(
            update(outbox).where(outbox.c.event == event).values(**values).returning(outbox.c.id)
        )
        return int(found.scalars().all()[-1])


def tried(desk: Desk, number: str) -> list[Attempt]:
    with desk.reading() as connection:
        return list(attempts(connection, ticket_of(desk, number)))


@pytest.fixture
def failed(desk: Desk, number: str) -> int:
    """The message of the visit's being taken in, which did not arrive."""
    return settle(desk, "taken_in")


@pytest.mark.parametrize(("decision", "state"), [("again", "waiting"), ("otherwise", "failed"), ("let_be", "failed")])
def test_what_is_decided_stands_in_the_journal_with_what_failed(
    desk: Desk, number: str, failed: int, technician: By, decision: str, state: str
) -> None:
    undelivered.decide(desk, technician, number, failed, decision)

    entry = journal_of(desk, number)[-1]
    assert (entry.event, entry.audience, entry.text) == ("undelivered_decided", "bench", "550 no such mailbox")
    assert entry.data == {
        "decision": decision,
        "message": "taken_in",
        "channel": "mail",
        "state": "failed",
        "failed_at": desk.clock.now().isoformat(),
        "to": "owner",
    }
    with desk.reading() as connection:
        assert connection.execute(outbox.select()).one().state == state
    with pytest.raises(Refused, match="nothing to decide"):
        undelivered.decide(desk, technician, number, failed, decision)


def test_nothing_is_decided_about_another_customers_message(desk: Desk, failed: int, technician: By) -> None:
    other = take_in(desk, BENCH, NewVisit([NewDevice("Phone", "")], email="eve@example.org")).numbers[0]
    before = everything(desk)

    with pytest.raises(Refused):
        undelivered.decide(desk, technician, other, failed, "again")
    assert everything(desk) == before


def test_only_what_is_offered_may_be_decided(desk: Desk, number: str, failed: int, technician: By) -> None:
    with pytest.raises(Unfit):
        undelivered.decide(desk, technician, number, failed, "pray")


def test_the_same_form_twice_sends_again_once(desk: Desk, number: str, failed: int, technician: By) -> None:
    undelivered.decide(desk, technician, number, failed, "again", deed_key="k" * 32)
    settle(desk, "taken_in")

    assert undelivered.decide(desk, technician, number, failed, "again", deed_key="k" * 32).repeated


# Attempts


def test_every_attempt_is_listed_in_order_with_what_came_of_it(
    desk: Desk, number: str, failed: int, technician: By
) -> None:
    began = desk.clock.now()
    desk.clock.at += timedelta(hours=1)
    conversation.rang(desk, technician, number, "not_reached")
    desk.clock.at += timedelta(hours=1)
    undelivered.decide(desk, technician, number, failed, "again")
    desk.clock.at += timedelta(hours=1)
    settle(desk, "taken_in", state="sent", outcome=None)
    desk.clock.at += timedelta(hours=1)
    conversation.rang(desk, technician, number, "reached", "Comes on Friday.")
    conversation.rang(desk, technician, number, "rang_us")

    hour = timedelta(hours=1)
    assert tried(desk, number) == [
        Attempt(began, "mail", "owner", "taken_in", "failed", "550 no such mailbox"),
        Attempt(began + hour, "ring", "owner", "", "not_reached", by="Robin"),
        Attempt(began + 3 * hour, "mail", "owner", "taken_in", "sent"),
        Attempt(began + 4 * hour, "ring", "owner", "", "reached", "Comes on Friday.", "Robin"),
    ]


def test_what_waits_what_was_withdrawn_and_what_is_on_the_list_of_calls_is_no_attempt(desk: Desk, number: str) -> None:
    assert tried(desk, number) == []
    settle(desk, "taken_in", state="withdrawn")
    assert tried(desk, number) == []
    settle(desk, "taken_in", state="sent", channels=["ring"])
    assert tried(desk, number) == []


def test_news_for_the_staff_are_no_attempt(desk: Desk, number: str, technician: By, failed: int) -> None:
    settle(desk, "taken_in", recipient="staff 1")

    undelivered.decide(desk, technician, number, failed, "again")

    assert journal_of(desk, number)[-1].data["to"] == "staff"
    settle(desk, "taken_in")
    assert tried(desk, number) == []
