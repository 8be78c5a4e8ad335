"""Moving a ticket through the stages, and making it wait in one."""

from __future__ import annotations

from datetime import datetime
from typing import Literal

from sqlalchemy import Connection

from portal.actions import tell, windows
from portal.actions.desk import By, Change, Desk, Outcome, change_ticket
from portal.actions.ownership import must_be_unclaimed
from portal.rules import stages
from portal.rules.policy import Policy
from portal.rules.sentences import say
from portal.rules.text import passage
from portal.store import handovers
from portal.store.facts import facts
from portal.store.tickets import Ticket


def move(
    desk: Desk,
    by: By,
    number: str,
    stage: str,
    *,
    why: str = "",
    confirmed: bool = False,
    seen: int | None = None,
    deed_key: str | None = None,
) -> Outcome:
    """Move a ticket to a stage; customers are told where the policy says so. The reason stays with the bench.

    Raises what `rules.stages.move` and `change_ticket` raise.
    """
    reason = passage("why", say("The reason"), why)

    promised: list[bool] = []

    def decide(connection: Connection, ticket: Ticket, policy: Policy) -> Change:
        known = facts(connection, ticket, policy)
        events = stages.move(ticket.standing, stage, policy.stages, known, why=reason, confirmed=confirmed)
        chosen = handovers.choice(connection, ticket.id) if ticket.stage == policy.stages[-1].key else None
        if chosen is None or chosen.way is None:
            return Change(events, text=reason, audience=_read_by(reason))

        def write(connection: Connection, ticket: Ticket, now: datetime) -> None:
            promised.append(True)
            handovers.unchoose(connection, ticket.id, chosen)

        return Change(events, text=reason, audience=_read_by(reason), write=write)

    def then(connection: Connection, ticket: Ticket, now: datetime) -> None:
        windows.renew(desk, connection, ticket.id, now)
        policy = desk.policy(connection)
        if promised:  # of a device that is not ready after all: else they come in vain
            tell.ready_undone(connection, ticket, now)
        reached = policy.stage(ticket.stage)
        if reached is None or not reached.tell:
            return
        if reached is policy.stages[-1]:
            tell.ready(connection, ticket, now)
        else:
            tell.stage_reached(connection, ticket, now)

    return change_ticket(desk, by, number, decide, seen=seen, deed_key=deed_key, then=then)


def hold(
    desk: Desk,
    by: By,
    number: str,
    kind: str,
    *,
    why: str = "",
    seen: int | None = None,
    deed_key: str | None = None,
) -> Outcome:
    """Make a ticket wait inside its stage for an approval, a part, the customer or a dispute; "none" lifts the hold.

    The reason stays with the bench. Raises Refused while somebody else claims the device.
    """
    reason = passage("why", say("The reason"), why)

    def decide(_connection: Connection, ticket: Ticket, _policy: Policy) -> Change:
        must_be_unclaimed(ticket)
        if kind == "none":
            return Change(stages.lift_hold(ticket.standing), text=reason, audience=_read_by(reason))
        return Change(stages.set_hold(ticket.standing, kind), text=reason, audience=_read_by(reason))

    def then(connection: Connection, ticket: Ticket, now: datetime) -> None:
        windows.renew(desk, connection, ticket.id, now)

    return change_ticket(desk, by, number, decide, seen=seen, deed_key=deed_key, then=then)


def _read_by(reason: str) -> Literal["bench", "customer"]:
    """A reason is the bench's own word; without one there is nothing that a customer may not read."""
    return "bench" if reason else "customer"
