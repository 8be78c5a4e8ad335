"""Photos: a row each, beside two files in the photo store. A row never points to a missing file."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import Connection, bindparam, delete, func, insert, select, union_all, update

from portal.store.photo_tables import photo_copies, photo_pairs, photos
from portal.store.tables import tickets


@dataclass(frozen=True)
class Photo:
    """One photo of a ticket. `moment` is one of MOMENTS, `audience` "bench" or "customer".

    `ref` names its files, and is another once parts of it were hidden; `first_ref` is then what it was called before.
    """

    id: int
    ref: str
    first_ref: str | None
    ticket_id: int
    moment: str
    stage: str | None
    audience: str
    caption: str
    width: int
    height: int
    taken_in_at: datetime
    by_customer: bool

    @property
    def known_as(self) -> str:
        """What the journal and questions call it, which never changes."""
        return self.first_ref or self.ref


_COLUMNS = (
    photos.c.id,
    photos.c.ref,
    photos.c.first_ref,
    photos.c.ticket_id,
    photos.c.moment,
    photos.c.stage,
    photos.c.audience,
    photos.c.caption,
    photos.c.width,
    photos.c.height,
    photos.c.taken_in_at,
    photos.c.by_customer,
)
_OF_TICKET = select(*_COLUMNS).where(photos.c.ticket_id == bindparam("ticket_id")).order_by(photos.c.id)
_BY_REF = select(*_COLUMNS).where(photos.c.ref == bindparam("wanted"))
_OF_VISIT = (
    select(*_COLUMNS)
    .join(tickets, photos.c.ticket_id == tickets.c.id)
    .where(photos.c.ref == bindparam("wanted"), tickets.c.visit_id == bindparam("visit_id"))
    .where(photos.c.audience == "customer")
)
_REMOVE = delete(photos).where(photos.c.ref.in_(bindparam("refs", expanding=True)))
_CHANGE = update(photos).where(photos.c.ref == bindparam("wanted"))
_COPY, _ORIGINAL = photos.alias("copy"), photos.alias("original")
_COPIES_OF = (
    select(_COPY.c.ref)
    .join(photo_copies, photo_copies.c.photo_id == _COPY.c.id)
    .join(_ORIGINAL, photo_copies.c.original_id == _ORIGINAL.c.id)
    .where(_ORIGINAL.c.ref == bindparam("wanted"))
)
_COPIES = (
    select(_COPY.c.ref, _ORIGINAL.c.ref)
    .join(photo_copies, photo_copies.c.photo_id == _COPY.c.id)
    .join(_ORIGINAL, photo_copies.c.original_id == _ORIGINAL.c.id)
    .where(_COPY.c.ticket_id == bindparam("ticket_id"))
)
_REMOVE_ALL = delete(photos).where(photos.c.ticket_id == bindparam("ticket_id"))
_MOMENTS = select(photos.c.moment).where(photos.c.ticket_id == bindparam("ticket_id")).distinct()
_KNOWN = union_all(
    select(photos.c.ref).where(photos.c.ref.in_(bindparam("refs", expanding=True))),
    select(photo_pairs.c.aligned_ref).where(photo_pairs.c.aligned_ref.in_(bindparam("refs", expanding=True))),
)
_ALIGNED_OF = select(photo_pairs.c.aligned_ref).where(
    photo_pairs.c.ticket_id == bindparam("ticket_id"), photo_pairs.c.aligned_ref.is_not(None)
)
_ALIGNED_WITH = (
    select(photo_pairs.c.aligned_ref)
    .join(photos, photos.c.id.in_((photo_pairs.c.before_id, photo_pairs.c.after_id)))
    .where(photos.c.ref.in_(bindparam("refs", expanding=True)), photo_pairs.c.aligned_ref.is_not(None))
)


def of_ticket(connection: Connection, ticket_id: int) -> list[Photo]:
    """A ticket's photos in the order in which they came."""
    return [Photo(*tuple(row)) for row in connection.execute(_OF_TICKET, {"ticket_id": ticket_id})]


def by_ref(connection: Connection, ref: str) -> Photo | None:
    """The photo with this public id, or None."""
    row = connection.execute(_BY_REF, {"wanted": ref}).first()
    return Photo(*tuple(row)) if row else None


def for_customer(connection: Connection, visit_id: int, ref: str) -> Photo | None:
    """The photo, where it is one of this visit's and for its customer; else None."""
    row = connection.execute(_OF_VISIT, {"wanted": ref, "visit_id": visit_id}).first()
    return Photo(*tuple(row)) if row else None


def moments(connection: Connection, ticket_id: int) -> set[str]:
    """Of which moments there is a photo: the gates ask."""
    return set(connection.execute(_MOMENTS, {"ticket_id": ticket_id}).scalars())


def called(connection: Connection, ticket_id: int) -> dict[str, str]:
    """What the photos of a ticket are called now, by what the journal calls them."""
    return {photo.known_as: photo.ref for photo in of_ticket(connection, ticket_id)}


def copies(connection: Connection, ticket_id: int) -> dict[str, str]:
    """The refs of a ticket's copies that point something out, each with the ref of its original."""
    return dict(tuple(row) for row in connection.execute(_COPIES, {"ticket_id": ticket_id}))


def add(connection: Connection, values: dict[str, object]) -> None:
    """Insert a photo. `values` are the columns by name."""
    connection.execute(insert(photos), values)


def add_copy(connection: Connection, values: dict[str, object], original_id: int) -> None:
    """Insert a photo that is a copy of another and points something out."""
    photo_id = connection.execute(insert(photos).returning(photos.c.id), values).scalar_one()
    connection.execute(insert(photo_copies), {"photo_id": photo_id, "original_id": original_id})


def change(connection: Connection, ref: str, values: dict[str, object]) -> None:
    """Change what is said of a photo. `values` are the columns by name."""
    connection.execute(_CHANGE.values(values), {"wanted": ref})


def rename(connection: Connection, ref: str, new_ref: str) -> None:
    """The photo's files have another name from now on."""
    change(connection, ref, {"ref": new_ref, "first_ref": func.coalesce(photos.c.first_ref, ref)})


def remove(connection: Connection, ref: str) -> list[str]:
    """Delete a photo's row with its copies, and the pairs they are in; tells the refs of the other pictures gone."""
    shown = [ref, *connection.execute(_COPIES_OF, {"wanted": ref}).scalars()]
    aligned = connection.execute(_ALIGNED_WITH, {"refs": shown}).scalars().all()
    connection.execute(_REMOVE, {"refs": shown})
    return [*shown[1:], *aligned]


def forget(connection: Connection, ticket_id: int) -> list[str]:
    """Delete a ticket's rows and tell the refs, whose files the caller removes once that is committed."""
    refs = [photo.ref for photo in of_ticket(connection, ticket_id)]
    refs += connection.execute(_ALIGNED_OF, {"ticket_id": ticket_id}).scalars()
    connection.execute(_REMOVE_ALL, {"ticket_id": ticket_id})
    return refs


def known(connection: Connection, refs: list[str]) -> set[str]:
    """Which of these photos have a row, or are the aligned picture of a pair that has one."""
    return set(connection.execute(_KNOWN, {"refs": refs}).scalars()) if refs else set()
