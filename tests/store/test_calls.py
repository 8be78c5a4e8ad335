"""Calls that are to be made: once each, until they are made, and gone with what they are about."""

from __future__ import annotations

from datetime import timedelta

from portal.actions.desk import Desk
from portal.store import calls
from portal.store.calls import CallDue


def note(desk: Desk, message_id: str, recipient: str = "ADA", reference: str = "TICKET") -> None:
    with desk.writing() as connection:
        calls.note(connection, message_id, recipient, reference, "ready", [{"entry": 2}], desk.clock.now())
    desk.clock.at += timedelta(minutes=1)


def due(desk: Desk) -> list[CallDue]:
    with desk.reading() as connection:
        return calls.due(connection)


def test_a_message_handed_over_twice_is_one_call(desk: Desk) -> None:
    at = desk.clock.now()
    note(desk, "m1")
    note(desk, "m1")

    (call,) = due(desk)
    assert call == CallDue(call.id, "m1", "ADA", "TICKET", "ready", [{"entry": 2}], at)


def test_calls_are_due_until_they_are_made_the_oldest_first(desk: Desk) -> None:
    for message_id in ("m1", "m2", "m3"):
        note(desk, message_id)
    first = due(desk)[0]

    with desk.writing() as connection:
        assert calls.close(connection, first.id, desk.clock.now())
        assert not calls.close(connection, first.id, desk.clock.now())

    assert [call.message_id for call in due(desk)] == ["m2", "m3"]


def test_whoever_was_just_spoken_to_need_not_be_rung_for_the_rest(desk: Desk) -> None:
    note(desk, "m1")
    note(desk, "m2", "EVE")
    note(desk, "m3")

    with desk.writing() as connection:
        assert calls.close_all_of(connection, "ADA", desk.clock.now()) == 2

    assert [call.message_id for call in due(desk)] == ["m2"]


def test_calls_go_with_what_they_are_about(desk: Desk) -> None:
    note(desk, "m1")
    note(desk, "m2", reference="OTHER")

    with desk.writing() as connection:
        assert calls.forget(connection, "TICKET") == 1

    assert [call.message_id for call in due(desk)] == ["m2"]
