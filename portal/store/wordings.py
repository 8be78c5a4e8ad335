"""Revisions of the shop's own words: by event, occasion and language, numbered from 1, never changed."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlalchemy import Connection, bindparam, insert, select, update

from portal.rules.wording import Part
from portal.store.wording_tables import wordings

_HERE = (
    wordings.c.event == bindparam("of_event"),
    wordings.c.occasion == bindparam("of_occasion"),
)
_OF = (
    select(wordings).where(*_HERE, wordings.c.language == bindparam("of_language")).order_by(wordings.c.revision.desc())
)
_newer = wordings.alias("newer")
_NEWEST_ONES = select(wordings).where(
    ~select(_newer.c.id)
    .where(
        _newer.c.event == wordings.c.event,
        _newer.c.occasion == wordings.c.occasion,
        _newer.c.language == wordings.c.language,
        _newer.c.revision > wordings.c.revision,
    )
    .exists()
)
_SPOKEN = _NEWEST_ONES.where(*_HERE, wordings.c.language.in_(bindparam("tags", expanding=True)))
_BY_ID = select(wordings).where(wordings.c.id.in_(bindparam("ids", expanding=True)))
_NAMELESS = update(wordings).where(wordings.c.made_by == bindparam("wanted")).values(made_by=None)


@dataclass(frozen=True)
class Wording:
    """One revision; `words` holds a part's own words, or "" where the program's own go out."""

    id: int
    event: str
    occasion: str
    language: str
    revision: int
    words: Mapping[Part, str]
    made_at: datetime
    made_by: int | None

    @property
    def is_own(self) -> bool:
        """Whether any part has words of the shop's own."""
        return any(self.words.values())


def revisions(connection: Connection, event: str, occasion: str, language: str) -> list[Wording]:
    """All revisions, the newest first."""
    values = {"of_event": event, "of_occasion": occasion, "of_language": language}
    return [_wording(row) for row in connection.execute(_OF, values)]


def spoken(connection: Connection, event: str, occasion: str, tags: Sequence[str]) -> Wording | None:
    """The newest revision in the first of these languages that has one, or None."""
    values = {"of_event": event, "of_occasion": occasion, "tags": list(tags)}
    found = {row.language: row for row in connection.execute(_SPOKEN, values)}
    return next((_wording(found[tag]) for tag in tags if tag in found), None)


def newest_ones(connection: Connection) -> dict[tuple[str, str, str], Wording]:
    """The newest revision of everything that ever had words of its own, by event, occasion and language."""
    found = [_wording(row) for row in connection.execute(_NEWEST_ONES)]
    return {(each.event, each.occasion, each.language): each for each in found}


def by_ids(connection: Connection, ids: Collection[int]) -> dict[int, Wording]:
    """Revisions by what sent messages name them by."""
    if not ids:
        return {}
    return {row.id: _wording(row) for row in connection.execute(_BY_ID, {"ids": sorted(ids)})}


def add(
    connection: Connection,
    event: str,
    occasion: str,
    language: str,
    revision: int,
    words: Mapping[Part, str],
    now: datetime,
    by_staff: int | None,
) -> None:
    """Write a revision. Raises IntegrityError where it stands already."""
    connection.execute(
        insert(wordings),
        {"event": event, "occasion": occasion, "language": language, "revision": revision}
        | {part.value: words.get(part, "") for part in Part}
        | {"made_at": now, "made_by": by_staff},
    )


def forget_maker(connection: Connection, staff_id: int) -> None:
    """Erase who made revisions; the words stay."""
    connection.execute(_NAMELESS, {"wanted": staff_id})


def _wording(row: Any) -> Wording:
    return Wording(
        row.id,
        row.event,
        row.occasion,
        row.language,
        row.revision,
        {part: getattr(row, part.value) for part in Part},
        row.made_at,
        row.made_by,
    )
