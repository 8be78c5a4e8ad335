"""What a person is handed of their data (GDPR Art. 15, 20): a ZIP with JSON, SQLite, the photos, and a page to read."""

from __future__ import annotations

import io
import json
import zipfile
from typing import Any

from sqlite_utils import Database

from portal.actions.desk import Desk, NotFound, find
from portal.language import Language, language
from portal.letters.rendering import sheet
from portal.rules.numbers import spoken
from portal.rules.policy import Policy
from portal.rules.retention import REGISTER, START_WORDS, Kept
from portal.rules.sentences import say
from portal.store import disclosure, tickets, visits
from portal.store.disclosure import Rows
from portal.store.photo_files import LARGE, PhotoFiles


def packed(desk: Desk, files: PhotoFiles, number: str, whose: str = "owner") -> bytes:
    """The ZIP of a ticket's whole visit, or (`whose` "second") of its second person alone.

    Raises Unfit, NotFound for no such ticket or person.
    """
    with desk.reading() as connection:
        ticket = find(connection, number)
        policy = desk.policy(connection)
        visit = visits.by_id(connection, ticket.visit_id)
        of_second = whose == "second"
        rows = (disclosure.of_second if of_second else disclosure.of_visit)(connection, visit.id)
        numbers = [spoken(each.number) for each in tickets.of_visit(connection, visit.id)]
        second = any(contact.role == "second" for contact in visits.contacts_of(connection, visit.id))
    if of_second and not second:
        raise NotFound(say("No second person is on file with this repair."))
    words = language(visit.language, policy.shop.zone)
    page = sheet(
        "print/disclosure.html",
        words,
        shop=policy.shop,
        numbers=numbers,
        second=second,
        of_second=of_second,
        rows=rows,
        register=_register(policy, words),
        privacy=policy.privacy,
    )
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as bundle:
        bundle.writestr("read-me.html", page)
        bundle.writestr("data.json", json.dumps(rows, ensure_ascii=False, indent=2))
        bundle.writestr("data.sqlite", _as_sqlite(rows))
        for ref in disclosure.photo_refs(rows):
            picture = files.read(ref, LARGE)
            if picture is not None:
                bundle.writestr(f"photos/{ref}.jpg", picture)
    return out.getvalue()


def _register(policy: Policy, words: Language) -> list[dict[str, str]]:
    """What is kept, in words; what is kept of the staff is theirs."""
    return [
        {
            "name": words.say(entry.name),
            "purpose": words.say(entry.purpose),
            "period": words.say(policy.retention.period(kept).words()),
            "start": words.say(START_WORDS[entry.start]),
            "receivers": words.say(entry.receivers),
        }
        for kept, entry in REGISTER.items()
        if kept is not Kept.STAFF
    ]


def _as_sqlite(rows: Rows) -> bytes:
    """Made in memory: a kill leaves nothing of it on the disk."""
    with Database(memory=True) as database:
        for name, found in rows.items():
            database.table(name).insert_all(
                [{key: _cell(value) for key, value in row.items()} for row in found], alter=True
            )
        whole: bytes = database.conn.serialize()
    return whole


def _cell(value: Any) -> Any:
    return json.dumps(value, ensure_ascii=False) if isinstance(value, (dict, list)) else value
