"""The purge: what has outlived its purpose goes, in small steps that can stop at any moment and go on.

Each step is one short transaction: a few visits of one kind of data, with the count written down beside it. The files
of photos go once their rows are gone; should that be cut short, the sweep of orphans takes them.
"""

from __future__ import annotations

import tomllib
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from zoneinfo import ZoneInfo

from sqlalchemy import Connection

from notifications import outbox
from portal.actions import staying
from portal.actions.desk import CLOCK, Change, Desk, write_events
from portal.actions.photos import let_go
from portal.rules.periods import due_before
from portal.rules.policy import Policy
from portal.rules.retention import Kept
from portal.rules.stages import Ending, Event
from portal.store import (
    acceptances,
    announcements,
    bench_purge,
    breaches,
    formal_notices,
    keeping,
    money,
    people,
    photos,
    policies,
    publication,
    purge,
    pushes,
    questions,
    rights,
    tickets,
    wishes,
)
from portal.store.photo_files import PhotoFiles

BATCH = 20  # visits in one transaction: pages wait for it on SQLite
MESSAGES_A_VISIT = 25  # so many are emptied as quickly as a visit goes
MOST = 1_000  # in one pass of the clock, which has messages to send meanwhile


@dataclass(frozen=True)
class Due:
    """How much of a kind of data has outlived its purpose: visits, messages or people, by kind."""

    kept: Kept
    count: int


@dataclass(frozen=True)
class _Round:
    """One pass: under which policy, and when. `photos` collects what files go once a step is committed."""

    desk: Desk
    policy: Policy
    revision: int
    now: datetime

    @property
    def zone(self) -> ZoneInfo:
        return ZoneInfo(self.policy.shop.zone)

    @property
    def today(self) -> date:
        return self.now.astimezone(self.zone).date()

    def before(self, kept: Kept) -> datetime:
        """When a period must have begun to be over now."""
        return due_before(self.now, self.policy.retention.period(kept), self.zone)


def due(desk: Desk, now: datetime) -> list[Due]:
    """What is due to go, by kind, in the register's order."""
    with desk.reading() as connection:
        revision, policy = desk.shelf.read(connection)
        going = _Round(desk, policy, revision, now)
        return [Due(kept, _count(connection, going, kept)) for kept in Kept]


def would_go(desk: Desk, document: str, now: datetime) -> list[Due]:
    """How much more would be due at once if this policy were in force, by kind: so that nobody shortens unawares."""
    policy = Policy.model_validate(tomllib.loads(document))
    with desk.reading() as connection:
        if not policies.newest(connection):
            return []
        revision, present = desk.shelf.read(connection)
        going = {kept: _count(connection, _Round(desk, policy, revision, now), kept) for kept in Kept}
        gone = {kept: _count(connection, _Round(desk, present, revision, now), kept) for kept in Kept}
    return [Due(kept, going[kept] - gone[kept]) for kept in Kept if going[kept] > gone[kept]]


def apply(desk: Desk, files: PhotoFiles, now: datetime, most: int = MOST) -> list[Due]:
    """Let everything go that is due, at most `most` of each kind, and tell what went."""
    with desk.reading() as connection:
        revision, policy = desk.shelf.read(connection)
    going = _Round(desk, policy, revision, now)
    return [Due(kept, sum(_steps(going, files, kept, most))) for kept in Kept]


def erase_visit(connection: Connection, policy: Policy, visit_id: int, kinds: Sequence[Kept], gone: list[str]) -> None:
    """Let these kinds of a visit's data go at once, whatever their period. `gone` collects photos whose files go."""
    for kept in kinds:
        _ERASE[kept](connection, policy, visit_id, gone)
        if not keeping.done(connection, visit_id, kept):
            _close(connection, visit_id)


def end_all(connection: Connection, visit_id: int, ending: Ending, now: datetime) -> None:
    """End whatever tickets of a visit are open, so that their data can go: the database refuses for open ones."""
    for ticket in tickets.of_visit(connection, visit_id):
        ended = Change([Event("ended", {"ending": ending.value})])
        values: dict[str, object] = {"ending": ending.value, "ended_at": now, "hold": None, "hold_since": None}
        if ticket.ending is None and tickets.change(connection, ticket, ticket.revision + 1, values):
            write_events(connection, CLOCK, ticket.id, ticket.revision, ended, now, None)


def _steps(going: _Round, files: PhotoFiles, kept: Kept, most: int) -> Iterator[int]:
    left = most
    while left > 0:
        gone: list[str] = []
        with going.desk.writing() as connection:
            count = _STEPS[kept](connection, going, kept, min(BATCH, left), gone)
            if count:
                keeping.record(connection, kept, count, going.revision, going.now)
        for ref in gone:
            let_go(files, ref)
        if not count:
            return
        left -= count
        yield count


def _visits(connection: Connection, going: _Round, kept: Kept, most: int, gone: list[str]) -> int:
    """One step over visits whose period for this kind is over. What is still needed is no longer due after it."""
    while found := keeping.due(connection, kept, going.before(kept), going.today, most):
        going_now = staying.let_go(connection, found, kept, going.policy, going.now, going.today)
        for visit_id in going_now:
            _ERASE[kept](connection, going.policy, visit_id, gone)
            if not keeping.done(connection, visit_id, kept):
                _close(connection, visit_id)
        if going_now:
            return len(going_now)
    return 0


def _close(connection: Connection, visit_id: int) -> None:
    """Nothing is kept of the visit any more: its shell goes too."""
    for ticket in tickets.of_visit(connection, visit_id):
        purge.record(connection, ticket.id)
    purge.messages(connection, visit_id)
    rights.forget_words(connection, visit_id)
    purge.visit(connection, visit_id)


def _contact(connection: Connection, policy: Policy, visit_id: int, _gone: list[str]) -> None:
    purge.visit_contacts(connection, visit_id, policy.shop.languages[0])


def _post_address(connection: Connection, _policy: Policy, visit_id: int, _gone: list[str]) -> None:
    bench_purge.return_addresses(connection, visit_id)


def _device(connection: Connection, _policy: Policy, visit_id: int, _gone: list[str]) -> None:
    for ticket in tickets.of_visit(connection, visit_id):
        purge.device_identity(connection, ticket.id)


def _record(connection: Connection, _policy: Policy, visit_id: int, _gone: list[str]) -> None:
    purge.messages(connection, visit_id)
    rights.forget_words(connection, visit_id)
    for ticket in tickets.of_visit(connection, visit_id):
        purge.record_but_its_shell(connection, ticket.id)
    purge.visit_but_its_shell(connection, visit_id)


def _photo(connection: Connection, _policy: Policy, visit_id: int, gone: list[str]) -> None:
    for ticket in tickets.of_visit(connection, visit_id):
        gone += photos.forget(connection, ticket.id)


def _push(connection: Connection, _policy: Policy, visit_id: int, _gone: list[str]) -> None:
    pushes.forget(connection, visit_id)


def _publication(connection: Connection, _policy: Policy, visit_id: int, _gone: list[str]) -> None:
    publication.forget(connection, visit_id)


def _approval(connection: Connection, _policy: Policy, visit_id: int, _gone: list[str]) -> None:
    acceptances.forget(connection, visit_id)
    wishes.forget(connection, visit_id)
    questions.forget(connection, visit_id)


def _money(connection: Connection, _policy: Policy, visit_id: int, _gone: list[str]) -> None:
    money.forget(connection, visit_id)


def _announced(connection: Connection, going: _Round, kept: Kept, most: int, _gone: list[str]) -> int:
    """What was announced and never came: its ticket ends, and goes at once with all that was told of it."""
    found = announcements.never_came(connection, going.before(kept), most)
    for visit_id in found:
        end_all(connection, visit_id, Ending.GIVEN_UP, going.now)
        _contact(connection, going.policy, visit_id, [])
        _close(connection, visit_id)
    return len(found)


def _messages(connection: Connection, going: _Round, kept: Kept, most: int, _gone: list[str]) -> int:
    but = formal_notices.references(connection)  # how it was tried to reach them is shown whole
    return outbox.empty(connection, going.before(kept), most * MESSAGES_A_VISIT, going.now, but)


def _staff(connection: Connection, going: _Round, kept: Kept, most: int, _gone: list[str]) -> int:
    found = people.left_before(connection, going.before(kept))[:most]
    return sum(purge.staff_member(connection, staff_id) for staff_id in found)


def _request(connection: Connection, going: _Round, kept: Kept, most: int, _gone: list[str]) -> int:
    before = going.before(kept)
    return rights.forget(connection, before, most) + breaches.forget(connection, before)


def _technical(connection: Connection, going: _Round, kept: Kept, _most: int, _gone: list[str]) -> int:
    return people.remove_old_logins(connection, going.before(kept))


def _count(connection: Connection, going: _Round, kept: Kept) -> int:
    before = going.before(kept)
    match kept:
        case Kept.MESSAGE:
            return outbox.count_full(connection, before, formal_notices.references(connection))
        case Kept.STAFF:
            return len(people.left_before(connection, before))
        case Kept.TECHNICAL:
            return people.count_old_logins(connection, before)
        case Kept.REQUEST:
            return rights.count_old(connection, before) + breaches.count_old(connection, before)
        case Kept.ANNOUNCED:
            return len(announcements.never_came(connection, before, MOST))
        case _:
            return keeping.count_due(connection, kept, before, going.today)


Erase = Callable[[Connection, Policy, int, list[str]], None]
_ERASE: Mapping[Kept, Erase] = {
    Kept.CONTACT: _contact,
    Kept.POST_ADDRESS: _post_address,
    Kept.DEVICE: _device,
    Kept.RECORD: _record,
    Kept.PHOTO: _photo,
    Kept.PUBLICATION: _publication,
    Kept.PUSH: _push,
    Kept.APPROVAL: _approval,
    Kept.MONEY: _money,
}
Step = Callable[[Connection, _Round, Kept, int, list[str]], int]
_STEPS: Mapping[Kept, Step] = dict.fromkeys(_ERASE, _visits) | {
    Kept.MESSAGE: _messages,
    Kept.ANNOUNCED: _announced,
    Kept.STAFF: _staff,
    Kept.TECHNICAL: _technical,
    Kept.REQUEST: _request,
}
