"""Pairs of photos: a before and an after that are shown together, the after perhaps laid over the before."""

from __future__ import annotations

from dataclasses import dataclass

from sqlalchemy import Connection, bindparam, delete, insert, select, update

from portal.store.photo_tables import photo_pairs, photos
from portal.store.tables import tickets


@dataclass(frozen=True)
class Pair:
    """A pair of one ticket; `before` and `after` are the photos' refs.

    `aligned_ref` is the picture of the after laid over the before, None where that could not be done beyond doubt;
    `as_taken` says that it is not to be shown.
    """

    ref: str
    ticket_id: int
    before: str
    after: str
    aligned_ref: str | None
    as_taken: bool

    @property
    def shown_after(self) -> str:
        """The ref of the picture that is shown as the after."""
        return self.aligned_ref if self.aligned_ref and not self.as_taken else self.after


_BEFORE, _AFTER = photos.alias("before"), photos.alias("after")
_PAIRS = (
    select(
        photo_pairs.c.ref,
        photo_pairs.c.ticket_id,
        _BEFORE.c.ref.label("before"),
        _AFTER.c.ref.label("after"),
        photo_pairs.c.aligned_ref,
        photo_pairs.c.as_taken,
    )
    .join(_BEFORE, photo_pairs.c.before_id == _BEFORE.c.id)
    .join(_AFTER, photo_pairs.c.after_id == _AFTER.c.id)
)
_OF_TICKET = _PAIRS.where(photo_pairs.c.ticket_id == bindparam("ticket_id")).order_by(photo_pairs.c.id)
_BY_REF = _PAIRS.where(photo_pairs.c.ref == bindparam("wanted"))
_BY_ALIGNED = _PAIRS.where(photo_pairs.c.aligned_ref == bindparam("wanted"))
_FOR_CUSTOMER = (
    _BY_ALIGNED.join(tickets, photo_pairs.c.ticket_id == tickets.c.id)
    .where(tickets.c.visit_id == bindparam("visit_id"))
    .where(_BEFORE.c.audience == "customer", _AFTER.c.audience == "customer")
)
_AS_TAKEN = update(photo_pairs).where(photo_pairs.c.ref == bindparam("wanted")).values(as_taken=bindparam("taken"))
_ALIGNED = update(photo_pairs).where(photo_pairs.c.ref == bindparam("wanted")).values(aligned_ref=bindparam("aligned"))
_REMOVE = delete(photo_pairs).where(photo_pairs.c.ref == bindparam("wanted"))


def of_ticket(connection: Connection, ticket_id: int) -> list[Pair]:
    """A ticket's pairs in the order in which they were made."""
    return [Pair(*tuple(row)) for row in connection.execute(_OF_TICKET, {"ticket_id": ticket_id})]


def by_ref(connection: Connection, ref: str) -> Pair | None:
    """The pair with this public id, or None."""
    row = connection.execute(_BY_REF, {"wanted": ref}).first()
    return Pair(*tuple(row)) if row else None


def by_aligned(connection: Connection, ref: str) -> Pair | None:
    """The pair whose aligned picture this is, or None."""
    row = connection.execute(_BY_ALIGNED, {"wanted": ref}).first()
    return Pair(*tuple(row)) if row else None


def for_customer(connection: Connection, visit_id: int, ref: str) -> Pair | None:
    """The same, where both photos are this visit's and for its customer; else None."""
    row = connection.execute(_FOR_CUSTOMER, {"wanted": ref, "visit_id": visit_id}).first()
    return Pair(*tuple(row)) if row else None


def add(connection: Connection, values: dict[str, object]) -> None:
    """Insert a pair. `values` are the columns by name."""
    connection.execute(insert(photo_pairs), values)


def show_as_taken(connection: Connection, ref: str, as_taken: bool) -> None:
    """Say whether the aligned picture is not to be shown."""
    connection.execute(_AS_TAKEN, {"wanted": ref, "taken": as_taken})


def realign(connection: Connection, ref: str, aligned_ref: str | None) -> None:
    """Another picture is the after laid over the before, or none is."""
    connection.execute(_ALIGNED, {"wanted": ref, "aligned": aligned_ref})


def remove(connection: Connection, ref: str) -> None:
    """Delete a pair's row; its photos stay."""
    connection.execute(_REMOVE, {"wanted": ref})
