"""Which terms were accepted for a visit: the evidence, kept with the visit and erased as approval evidence."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import Connection, bindparam, delete, insert, select
from sqlalchemy.exc import IntegrityError

from portal.store.tables import acceptances


@dataclass(frozen=True)
class Acceptance:
    """That one version of the terms was accepted. `by_staff` saw it; `strokes` are those of `how` "signature"."""

    terms_version: str
    policy_revision: int
    language: str
    how: str
    by_kind: str
    by_staff: int | None
    at: datetime
    strokes: list[list[list[int]]] | None


_OF_VISIT = (
    select(
        acceptances.c.terms_version,
        acceptances.c.policy_revision,
        acceptances.c.language,
        acceptances.c.how,
        acceptances.c.by_kind,
        acceptances.c.by_staff,
        acceptances.c.at,
        acceptances.c.strokes,
    )
    .where(acceptances.c.visit_id == bindparam("visit_id"))
    .order_by(acceptances.c.id)
)
_REVISIONS = (
    select(acceptances.c.policy_revision).where(acceptances.c.terms_version == bindparam("terms_version")).distinct()
)
_ADD = insert(acceptances)
_FORGET = delete(acceptances).where(acceptances.c.visit_id == bindparam("visit_id"))


def of_visit(connection: Connection, visit_id: int) -> list[Acceptance]:
    """What was accepted for a visit, the oldest first."""
    return [Acceptance(*row) for row in connection.execute(_OF_VISIT, {"visit_id": visit_id})]


def add(connection: Connection, visit_id: int, accepted: Acceptance) -> bool:
    """Keep an acceptance, unless the visit has one of this version (then False, nothing changed)."""
    try:
        with connection.begin_nested():
            connection.execute(_ADD, {"visit_id": visit_id} | vars(accepted))
    except IntegrityError:
        return False
    return True


def revisions_of(connection: Connection, terms_version: str) -> list[int]:
    """The revisions of the policy in which this version of the terms was accepted by anybody."""
    return list(connection.execute(_REVISIONS, {"terms_version": terms_version}).scalars())


def forget(connection: Connection, visit_id: int) -> int:
    """Erase what was accepted for a visit and tell how many that were."""
    return connection.execute(_FORGET, {"visit_id": visit_id}).rowcount
