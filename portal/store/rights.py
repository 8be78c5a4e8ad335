"""Requests about personal data: kept, found by what is due, let go once nobody asks after them any more."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from sqlalchemy import Connection, bindparam, delete, func, insert, select, update

from portal.rules.restriction import Ground, Use
from portal.rules.rights import Request, Right, State, Through
from portal.store.challenges import Challenges
from portal.store.rights_tables import allowed_uses, requests, visit_challenges

CODES = Challenges(visit_challenges, "visit_id")
_ALL = (
    requests.c.id,
    requests.c.ref,
    requests.c.visit_id,
    requests.c.number,
    requests.c.whose,
    requests.c.through,
    requests.c.words,
    requests.c.extended_why,
    requests.c.answer,
    requests.c.settled_at,
    requests.c.lift_on,
    requests.c.lift_told,
    requests.c.lifted_at,
    requests.c.reminded_at,
    requests.c.made_at,
    requests.c.deed_key,
    requests.c.revision,
    requests.c.kind,
    requests.c.received_on,
    requests.c.state,
    requests.c.extended_on,
    requests.c.paused_on,
    requests.c.paused_days,
)
_BY_REF = select(*_ALL).where(requests.c.ref == bindparam("wanted"))
_BY_KEY = select(*_ALL).where(requests.c.deed_key == bindparam("wanted"))
_OPEN = select(*_ALL).where(requests.c.state == State.OPEN.value).order_by(requests.c.received_on, requests.c.id)
_SETTLED = select(*_ALL).where(requests.c.state != State.OPEN.value).order_by(requests.c.settled_at.desc())
_OF_VISIT = select(*_ALL).where(requests.c.visit_id == bindparam("wanted")).order_by(requests.c.id)
_IN_FORCE = (
    requests.c.kind == Right.RESTRICTION.value,
    requests.c.whose == "owner",
    requests.c.state == State.DONE.value,
    requests.c.lifted_at.is_(None),
)
_ENDING = select(*_ALL).where(*_IN_FORCE, requests.c.lift_on.is_not(None)).order_by(requests.c.id)
_USES = (
    select(allowed_uses.c.use, allowed_uses.c.ground, allowed_uses.c.why, allowed_uses.c.made_at)
    .where(allowed_uses.c.visit_id == bindparam("wanted"))
    .order_by(allowed_uses.c.id)
)
_END_USE = delete(allowed_uses).where(
    allowed_uses.c.visit_id == bindparam("wanted"), allowed_uses.c.use == bindparam("of")
)
_END_USES = delete(allowed_uses).where(allowed_uses.c.visit_id == bindparam("wanted"))
_CHANGE = update(requests).where(requests.c.id == bindparam("wanted"), requests.c.revision == bindparam("seen"))
_WORDS = update(requests).where(requests.c.visit_id == bindparam("wanted")).values(words="")
_OLD = requests.c.settled_at < bindparam("before")
_COUNT_OLD = select(func.count()).select_from(requests).where(_OLD)
_FORGET = delete(requests).where(
    requests.c.id.in_(select(requests.c.id).where(_OLD).order_by(requests.c.settled_at).limit(bindparam("most")))
)
_CODES_OF = delete(visit_challenges).where(visit_challenges.c.visit_id == bindparam("wanted"))


@dataclass(frozen=True)
class Kept:
    """A request as it is kept. `number` is that of a repair of the visit, or "" where none is known."""

    id: int
    ref: str
    visit_id: int | None
    number: str
    whose: str  # "owner", or "second" for the second person of the visit
    through: Through
    words: str
    extended_why: str
    answer: str
    settled_at: datetime | None
    lift_on: date | None
    lift_told: str
    lifted_at: datetime | None
    reminded_at: datetime | None
    made_at: datetime
    deed_key: str | None
    revision: int
    request: Request

    @property
    def restricts(self) -> bool:
        """Whether it is a restriction of the visit that is in force; a second person’s own only silences them."""
        settled = self.request.right is Right.RESTRICTION and self.request.state is State.DONE
        return settled and self.whose == "owner" and self.lifted_at is None


@dataclass(frozen=True)
class Allowed:
    """A use of restricted data that is allowed all the same, on which ground and why."""

    use: Use
    ground: Ground
    why: str
    made_at: datetime


def add(connection: Connection, values: dict[str, object], request: Request) -> None:
    """Keep a new request; `values` are the columns beside those of its clock."""
    connection.execute(insert(requests), values | _clock(request) | {"kind": request.right.value})


def by_ref(connection: Connection, ref: str) -> Kept | None:
    """The request with this public id, or None."""
    return _first(connection.execute(_BY_REF, {"wanted": ref}).first())


def of_deed(connection: Connection, deed_key: str | None) -> Kept | None:
    """The request that a form wrote last, or None."""
    return _first(connection.execute(_BY_KEY, {"wanted": deed_key}).first()) if deed_key else None


def open_ones(connection: Connection) -> list[Kept]:
    """The requests that wait for an answer, the oldest first."""
    return [_kept(row) for row in connection.execute(_OPEN)]


def settled(connection: Connection, most: int) -> list[Kept]:
    """The requests that were answered, the newest first."""
    return [_kept(row) for row in connection.execute(_SETTLED.limit(most))]


def of_visit(connection: Connection, visit_id: int) -> list[Kept]:
    """The requests about a visit, in their order."""
    return [_kept(row) for row in connection.execute(_OF_VISIT, {"wanted": visit_id})]


def change(
    connection: Connection, kept: Kept, request: Request, values: dict[str, object], deed_key: str | None
) -> bool:
    """Write a request anew. False where somebody was faster."""
    written = _clock(request) | values | {"revision": kept.revision + 1, "deed_key": deed_key}
    return connection.execute(_CHANGE.values(**written), {"wanted": kept.id, "seen": kept.revision}).rowcount == 1


def ending_restrictions(connection: Connection) -> list[Kept]:
    """The restrictions in force whose person was told that they end."""
    return [_kept(row) for row in connection.execute(_ENDING)]


def allowed_uses_of(connection: Connection, visit_id: int) -> list[Allowed]:
    """What may be done with a visit's restricted data."""
    return [
        Allowed(Use(use), Ground(ground), why, made_at)
        for use, ground, why, made_at in connection.execute(_USES, {"wanted": visit_id})
    ]


def allow_use(connection: Connection, visit_id: int, allowed: Allowed, staff_id: int | None) -> None:
    """Allow a use, in place of what allowed it before."""
    end_use(connection, visit_id, allowed.use)
    connection.execute(
        insert(allowed_uses),
        {
            "visit_id": visit_id,
            "use": allowed.use.value,
            "ground": allowed.ground.value,
            "why": allowed.why,
            "made_at": allowed.made_at,
            "by_staff": staff_id,
        },
    )


def end_use(connection: Connection, visit_id: int, use: Use) -> None:
    """Allow a use no more."""
    connection.execute(_END_USE, {"wanted": visit_id, "of": use.value})


def end_uses(connection: Connection, visit_id: int) -> None:
    """Nothing is allowed any more, or needs to be."""
    connection.execute(_END_USES, {"wanted": visit_id})


def forget_words(connection: Connection, visit_id: int) -> None:
    """Erase what a visit's owner wrote in their requests; that they asked, and what was answered, stays."""
    connection.execute(_WORDS, {"wanted": visit_id})
    end_uses(connection, visit_id)


def count_old(connection: Connection, before: datetime) -> int:
    """How many requests were settled before a moment."""
    return connection.execute(_COUNT_OLD, {"before": before}).scalar_one()


def forget(connection: Connection, before: datetime, most: int) -> int:
    """Erase at most so many requests that were settled before a moment, and tell how many those were."""
    return connection.execute(_FORGET, {"before": before, "most": most}).rowcount


def forget_codes(connection: Connection, visit_id: int) -> None:
    """Erase the codes that were sent to a visit's owner."""
    connection.execute(_CODES_OF, {"wanted": visit_id})


def _clock(request: Request) -> dict[str, object]:
    return {
        "received_on": request.received_on,
        "state": request.state.value,
        "extended_on": request.extended_on,
        "paused_on": request.paused_on,
        "paused_days": request.paused_days,
    }


def _first(row: Any) -> Kept | None:
    return _kept(row) if row else None


def _kept(row: Any) -> Kept:
    facts = dict(row._mapping)
    request = Request(
        Right(facts.pop("kind")),
        facts.pop("received_on"),
        State(facts.pop("state")),
        facts.pop("extended_on"),
        facts.pop("paused_on"),
        facts.pop("paused_days"),
    )
    return Kept(**facts | {"through": Through(facts["through"]), "request": request})
