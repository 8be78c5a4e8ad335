"""An owner allows that pictures or film of the device are published, or takes that back. Silence is a no."""

from __future__ import annotations

from datetime import datetime

from sqlalchemy import Connection

from portal.actions.desk import By, Change, Desk, Outcome, change_ticket
from portal.language import language
from portal.rules.policy import Policy
from portal.rules.publication import ALLOWS
from portal.rules.refusals import Refused
from portal.rules.sentences import say
from portal.rules.stages import Event
from portal.store import publication
from portal.store.ledger import Line
from portal.store.tickets import Ticket


def allow(desk: Desk, by: By, number: str, tag: str = "", *, deed_key: str | None = None) -> Outcome:
    """Pictures and film may be published. `tag` is the language in which it was read, "" for the shop's first.

    Raises Refused where a consent stands already.
    """

    def decide(connection: Connection, ticket: Ticket, policy: Policy) -> Change:
        if publication.standing(connection, ticket.id):
            raise Refused(say("It may be published already."))
        read = tag or policy.shop.languages[0]

        def write(connection: Connection, ticket: Ticket, now: datetime) -> None:
            publication.add(
                connection,
                {
                    "ticket_id": ticket.id,
                    "shown": language(read, policy.shop.zone).say(ALLOWS),
                    "language": read,
                    "by_kind": by.kind,
                    "by_staff": by.staff_id,
                    "given_at": now,
                },
            )

        return Change([Event("publication_allowed")], write=write)

    return change_ticket(desk, by, number, decide, deed_key=deed_key)


def take_back(desk: Desk, by: By, number: str, *, deed_key: str | None = None) -> Outcome:
    """Nothing of the device may be published from now on. The bench sees that the customer said so.

    Raises Refused where no consent stands.
    """
    now = desk.clock.now()

    def decide(connection: Connection, ticket: Ticket, _policy: Policy) -> Change:
        if publication.standing(connection, ticket.id) is None:
            raise Refused(say("It was not allowed to be published, so there is nothing to take back."))

        def write(connection: Connection, ticket: Ticket, now: datetime) -> None:
            publication.take_back(connection, ticket.ref, now)
            desk.ledger.note(Line(now, "publication", ticket.ref))

        if by.kind != "customer":
            return Change([Event("publication_refused")], write=write)
        # What was published is taken down by people, who must hear of it.
        unread: dict[str, object] = {"unread_since": ticket.unread_since or now}
        return Change([Event("publication_refused", {"on_page": "yes"})], columns=unread, write=write)

    return change_ticket(desk, by, number, decide, deed_key=deed_key)
