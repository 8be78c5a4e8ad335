"""Finding tickets by the beginnings of words: a plain table, since full-text indices keep deleted terms in the file."""

from __future__ import annotations

from sqlalchemy import Connection, and_, bindparam, delete, insert, select
from sqlalchemy.orm import aliased

from portal.rules.search_words import MOST_ASKED, asked, words_of
from portal.store import tickets
from portal.store.tables import search_words
from portal.store.tickets import OpenTicket

MOST = 50
_END = "\U0010ffff"


def _by_prefixes(count: int):  # type: ignore[no-untyped-def]
    """Tickets that have a word for each prefix; walks the index of the first, so that it stays quick however many."""
    first, *others = (aliased(search_words) for _ in range(count))
    statement = select(first.c.ticket_id).where(first.c.word >= bindparam("from_0"), first.c.word < bindparam("to_0"))
    for place, other in enumerate(others, 1):
        has = and_(
            other.c.ticket_id == first.c.ticket_id,
            other.c.word >= bindparam(f"from_{place}"),
            other.c.word < bindparam(f"to_{place}"),
        )
        statement = statement.where(select(other.c.ticket_id).where(has).exists())
    return statement.order_by(first.c.word.desc(), first.c.ticket_id.desc()).limit(MOST)


_STATEMENTS = [_by_prefixes(count) for count in range(1, MOST_ASKED + 1)]
_FORGET = delete(search_words).where(search_words.c.ticket_id == bindparam("wanted"))


def put(connection: Connection, ticket_id: int, name: str, phone: str, device: str) -> None:
    """Let a ticket be found by these, and by nothing it was found by before."""
    forget(connection, ticket_id)
    rows = [{"ticket_id": ticket_id, "word": word} for word in sorted(words_of(name, phone, device))]
    if rows:
        connection.execute(insert(search_words), rows)


def forget(connection: Connection, ticket_id: int) -> None:
    """Let a ticket be found by number only."""
    connection.execute(_FORGET, {"wanted": ticket_id})


def find(connection: Connection, text: str) -> list[OpenTicket]:
    """At most MOST tickets that what was typed leads to, open ones first."""
    prefixes = asked(text)
    if not prefixes:
        return []
    values: dict[str, str] = {}
    for place, prefix in enumerate(prefixes):
        values |= {f"from_{place}": prefix, f"to_{place}": prefix + _END}
    ids = connection.execute(_STATEMENTS[len(prefixes) - 1], values).scalars().all()
    found = tickets.lines(connection, list(dict.fromkeys(ids)))
    return sorted(found, key=lambda line: (line.ticket.ending is not None, -line.ticket.id))
