"""Where a device stands on the formal path: its letters, what has stopped them, what is open, what is on file."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import Connection

from portal.actions import balance
from portal.actions.collection import is_waiting
from portal.actions.desk import Desk, NotFound, find
from portal.actions.disputes import is_disputed
from portal.rules import formal_notices as rules
from portal.rules.days import local_day
from portal.rules.formal_notices import BECAUSE_WORDS, PACKS, Because, Case, Kind, Letter, Pack, Sale
from portal.rules.policy import Policy
from portal.rules.sentences import Sentence, say
from portal.store import announcements, formal_notices, handovers, house, journal, records, visits
from portal.store.formal_notices import Kept
from portal.store.journal import Entry
from portal.store.tickets import Ticket

TRACING = ("owner_untraced", "owner_traced")
NO_LETTER = say("There is no such letter about this repair.")


@dataclass(frozen=True)
class Standing:
    """A device on the formal path. `stops` says what stopped a letter, by its id; `untraced` which steps failed."""

    case: Case
    letters: Sequence[Kept]  # the newest first
    stops: Mapping[int, Sentence]
    untraced: str


@dataclass(frozen=True)
class Path:
    """The same with what a page tells of it. `suggested` fills a new letter's fields."""

    pack: Pack | None
    checked_at: datetime | None  # the pack, by a keeper, against the law
    standing: Standing
    sale: Sale | None
    suggested: Letter


def path(desk: Desk, connection: Connection, ticket: Ticket) -> Path:
    """Read where a device stands, and what is on file for a letter."""
    policy = desk.policy(connection)
    pack, found = PACKS[policy.collection.law], standing(connection, ticket, policy)
    today = local_day(desk.clock.now(), policy)
    return Path(
        pack=pack,
        checked_at=house.when(connection, checked(pack)) if pack else None,
        standing=found,
        sale=rules.sale(found.case, policy.formal, today),
        suggested=suggested(connection, ticket, policy, found.case.owed_minor),
    )


def standing(connection: Connection, ticket: Ticket, policy: Policy) -> Standing:
    """Read the letters and the journal, and what is owed now."""
    letters, entries = formal_notices.of_ticket(connection, ticket.id), journal.entries(connection, ticket.id)
    owed_now = owed(connection, ticket, policy)
    stops = {kept.id: stop for kept in letters if (stop := _stopped(kept, entries, owed_now))}
    counting = [kept for kept in letters if not kept.taken_back]
    sell = next((kept for kept in counting if kept.kind is Kind.SELL), None)
    collect = next((kept for kept in counting if kept.kind is Kind.COLLECT and kept.id not in stops), None)
    untraced, satisfied, steps = _tracing(entries)
    case = Case(
        pack=PACKS[policy.collection.law],
        is_ready=is_waiting(ticket, policy),
        is_disputed=is_disputed(connection, ticket),
        owed_minor=owed_now,
        satisfied=sell.satisfied if sell else satisfied,
        was_due=sell.was_due if sell else None,
        untraced=untraced,
        collect=collect.notice if collect else None,
        sell=sell.notice if sell else None,
        stopped=stops.get(sell.id) if sell else None,
    )
    return Standing(case, letters, stops, steps)


def suggested(connection: Connection, ticket: Ticket, policy: Policy, owed_minor: int | None) -> Letter:
    """What is on file for a letter's fields; `owed_minor` as the letter says it."""
    owners = [each for each in visits.contacts_of(connection, ticket.visit_id) if each.role == "owner"]
    version = records.newest(connection, ticket.id)
    serial = version.record.serial if version else ""
    where = ", ".join(policy.shop.address)
    ready = local_day(ticket.stage_since, policy) if is_waiting(ticket, policy) else None
    return Letter(
        shop_name=policy.shop.name,
        shop_address=where,
        recipient=owners[0].name if owners else "",
        address=_address_on_file(connection, ticket),
        goods=", ".join(each for each in (ticket.device, serial) if each),
        held_at=where,
        ready_on=ready,
        owed_minor=owed_minor,
    )


def owed(connection: Connection, ticket: Ticket, policy: Policy) -> int | None:
    """What is owed, in minor units, by the account kept here; None where no money was ever written down."""
    account = balance.of(connection, ticket, policy)
    return None if account.is_empty else account.open_minor


def letter_of(desk: Desk, connection: Connection, number: str, notice_id: int) -> tuple[Ticket, Kept, Policy]:
    """One letter with its ticket and the policy that it was made under. Raises NotFound."""
    ticket = find(connection, number)
    for kept in formal_notices.of_ticket(connection, ticket.id):
        if kept.id == notice_id:
            return ticket, kept, desk.shelf.read(connection, kept.policy_revision)[1]
    raise NotFound(NO_LETTER)


def checked(pack: Pack) -> str:
    """Under which name the house remembers that a pack was checked against the law."""
    return f"formal pack checked {pack.digest()}"


def _stopped(kept: Kept, entries: Sequence[Entry], owed_now: int | None) -> Sentence | None:
    letter = str(kept.entry)
    since = [
        (each.event, each.data)
        for each in entries
        if each.entry > kept.entry and each.data.get("letter", letter) == letter
    ]
    stop = rules.stopped_by(since)
    if stop is None and rules.paid_since(kept.notice, owed_now):
        return BECAUSE_WORDS[Because.PAID]
    return stop


def _tracing(entries: Sequence[Entry]) -> tuple[bool, bool | None, str]:
    """Whether the owner cannot be traced, whether the shop is satisfied that they own it, and which steps failed."""
    told = [each for each in entries if each.event in TRACING]
    if not told or told[-1].event == "owner_traced":
        return False, None, ""
    return True, told[-1].data["satisfied"] == "yes", told[-1].text


def _address_on_file(connection: Connection, ticket: Ticket) -> str:
    """Where it was to be posted to, where its parcel came from, or where the last letter went; "" for none of them."""
    choice = handovers.choice(connection, ticket.id)
    if choice and choice.address:
        return choice.address
    announced = announcements.of_ticket(connection, ticket.id)
    if announced and announced.return_address:
        return announced.return_address
    return next((kept.address for kept in formal_notices.of_ticket(connection, ticket.id)), "")
