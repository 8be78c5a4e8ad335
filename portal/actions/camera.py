"""A phone that is a camera: it follows the ticket that its owner has open at the desk."""

from __future__ import annotations

from datetime import datetime, timedelta

from sqlalchemy import Connection

from portal.actions.desk import Desk, NotFound, find
from portal.store import people
from portal.store.people import Login, Person
from portal.store.tickets import Ticket

LONGEST = timedelta(hours=12)  # since the desk last showed a ticket


def point(desk: Desk, login: Login, number: str) -> None:
    """Point the cameras of the person at this device at a ticket. Raises NotFound."""
    with desk.writing() as connection:
        people.point(connection, login.id, find(connection, number).number, desk.clock.now())


def stop(desk: Desk, person: Person) -> None:
    """Let a person's cameras follow nothing any more."""
    with desk.writing() as connection:
        people.stop_pointing(connection, person.id)


def pointed_at(connection: Connection, person: Person, now: datetime) -> Ticket | None:
    """The ticket that the person's cameras are pointed at: the one that a desk of theirs showed last. None for none."""
    number = people.pointed_at(connection, person.id, now - LONGEST)
    try:
        return find(connection, number) if number else None
    except NotFound:  # its time on file is over
        return None
