"""What a customer's page reads: a visit's tickets with the part of their journals that is meant for the customer."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, datetime
from typing import Any

from sqlalchemy import Connection, and_, bindparam, case, or_, select

from portal.rules.money import Price
from portal.rules.stages import Ending, Hold
from portal.rules.windows import Why
from portal.store.balance_tables import balances
from portal.store.forecast_tables import windows
from portal.store.journal import STANDING_EVENTS
from portal.store.tables import acceptances, journal, tickets


@dataclass(frozen=True)
class Told:
    """A journal entry as a customer may read it: `text` is empty where the words were for the bench."""

    entry: int
    at: datetime
    by_kind: str
    event: str
    data: Mapping[str, Any]
    text: str


@dataclass(frozen=True)
class Followed:
    """A ticket as its owner follows it; instants are UTC."""

    ref: str
    number: str
    device: str
    fault: str
    stage: str | None
    stage_since: datetime
    hold: Hold | None
    hold_since: datetime | None
    ending: Ending | None
    ended_at: datetime | None
    delivered_on: date | None
    kind: str
    promised_on: date | None
    window_first: date | None  # of the ready window that customers are shown; None where they are shown none
    window_last: date | None
    balance: Price | None  # what is open; less than nothing: owed back; None where no money was spoken of
    journal: list[Told] = field(default_factory=list)


@dataclass(frozen=True)
class Following:
    """All that the page reads of a visit. `terms_accepted_at` is for the version of the terms that was asked about."""

    tickets: list[Followed]
    terms_accepted_at: datetime | None


_TICKET = (
    tickets.c.ref,
    tickets.c.number,
    tickets.c.device,
    tickets.c.fault,
    tickets.c.stage,
    tickets.c.stage_since,
    tickets.c.hold,
    tickets.c.hold_since,
    tickets.c.ending,
    tickets.c.ended_at,
    tickets.c.delivered_on,
    tickets.c.kind,
    tickets.c.promised_on,
    case((windows.c.why == Why.SHOWN, windows.c.first)),
    case((windows.c.why == Why.SHOWN, windows.c.last)),
    balances.c.open_minor,
    balances.c.currency,
)
_ENTRY = (
    journal.c.entry,
    journal.c.at,
    journal.c.by_kind,
    journal.c.event,
    journal.c.data,
    case((journal.c.audience == "customer", journal.c.text), else_=""),
)
_ACCEPTED = (
    select(acceptances.c.at)
    .where(acceptances.c.visit_id == bindparam("visit_id"), acceptances.c.terms_version == bindparam("terms_version"))
    .scalar_subquery()
)
# All in one round trip: a ticket's columns are few, and another statement costs more than they do.
_OF_VISIT = (
    select(_ACCEPTED, *_TICKET, *_ENTRY)
    .select_from(
        tickets.outerjoin(windows, windows.c.ticket_id == tickets.c.id)
        .outerjoin(balances, balances.c.ticket_id == tickets.c.id)
        .outerjoin(
            journal,
            and_(
                journal.c.ticket_id == tickets.c.id,
                or_(journal.c.audience == "customer", journal.c.event.in_(STANDING_EVENTS)),
            ),
        )
    )
    .where(tickets.c.visit_id == bindparam("visit_id"))
    .order_by(tickets.c.id, journal.c.entry)
)


def following(connection: Connection, visit_id: int, terms_version: str) -> Following:
    """A visit's tickets in the order they were taken in, each with what its owner may read, the oldest first."""
    found: dict[str, Followed] = {}
    accepted_at = None
    for row in connection.execute(_OF_VISIT, {"visit_id": visit_id, "terms_version": terms_version}):
        accepted_at, ref, number, device, fault, stage, since, hold, hold_since, ending, ended_at, *more = row
        (came, kind, promised, window_first, window_last, open_minor, currency), entry = more[:7], more[7:]
        if number not in found:
            found[number] = Followed(
                ref,
                number,
                device,
                fault,
                stage,
                since,
                Hold(hold) if hold else None,
                hold_since,
                Ending(ending) if ending else None,
                ended_at,
                came,
                kind,
                promised,
                window_first,
                window_last,
                None if open_minor is None else Price(open_minor, currency),
            )
        if entry[0] is not None:
            found[number].journal.append(Told(*entry))
    return Following(list(found.values()), accepted_at)
