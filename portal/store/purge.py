"""Erasing, one function for each kind of data in each table. When what is due is not decided here.

SQLite overwrites what is deleted (`secure_delete`); the write-ahead log and backups are for whoever calls this.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from datetime import datetime, timedelta

from sqlalchemy import BindParameter, Connection, bindparam, delete, select, update

from notifications import outbox
from portal.rules.categories import Category
from portal.store import (
    acceptances,
    bench_purge,
    breaches,
    calls,
    money,
    photos,
    publication,
    pushes,
    questions,
    rights,
    search,
    throttles,
    wishes,
    wordings,
)
from portal.store.parts import forget_donor
from portal.store.tables import contacts, journal, logins, policies, staff, tickets, visits

_WANTED: BindParameter[int] = bindparam("wanted")
_CONTACT = delete(contacts).where(contacts.c.id == _WANTED)
_CONTACTS = delete(contacts).where(contacts.c.visit_id == _WANTED)
_LANGUAGE = update(visits).where(visits.c.id == _WANTED).values(language=bindparam("plain"))
_DEVICE = update(tickets).where(tickets.c.id == _WANTED).values(device="")
_FAULT = update(tickets).where(tickets.c.id == _WANTED).values(fault="", place="", needed_by=None, promised_on=None)
_TEXTS = update(journal).where(journal.c.ticket_id == _WANTED, journal.c.text != "").values(text="")
_JOURNAL = delete(journal).where(journal.c.ticket_id == _WANTED)
_SHELL = select(tickets.c.made_at, tickets.c.stage_since, tickets.c.ended_at).where(tickets.c.id == _WANTED)
_REDUCE = (
    update(tickets)
    .where(tickets.c.id == _WANTED)
    .values(
        fault="",
        place="",
        needed_by=None,
        promised_on=None,
        express=False,
        collect_on=None,
        delivered_on=None,
        claimed_at=None,
        remind_at=None,
        unread_since=None,
        notice_at=None,
        made_at=bindparam("made"),
        stage_since=bindparam("since"),
        ended_at=bindparam("ended"),
    )
)
_VISIT_SHELL = select(visits.c.made_at, visits.c.link_ends_at).where(visits.c.id == _WANTED)
_REDUCE_VISIT = (
    update(visits).where(visits.c.id == _WANTED).values(made_at=bindparam("made"), link_ends_at=bindparam("ends"))
)
_TICKET = delete(tickets).where(tickets.c.id == _WANTED)
_TICKETS_OF = select(tickets.c.ref).where(tickets.c.visit_id == _WANTED)
_IDS_OF = select(tickets.c.id).where(tickets.c.visit_id == _WANTED)
_VISIT_REF = select(visits.c.ref).where(visits.c.id == _WANTED)
_VISIT = delete(visits).where(
    visits.c.id == _WANTED, ~select(tickets.c.id).where(tickets.c.visit_id == _WANTED).exists()
)
_STAFF = (
    update(staff)
    .where(staff.c.id == _WANTED, staff.c.disabled_at.is_not(None))
    .values(
        name=bindparam("nobody"),
        role="bench",
        password_hash="",
        pin_hash="",
        second_factor="",
        email="",
        generation=staff.c.generation + 1,
    )
)
_LOGINS = delete(logins).where((logins.c.staff_id == _WANTED) | (logins.c.opened_by == _WANTED))
_POLICIES = update(policies).where(policies.c.made_by == _WANTED).values(made_by=None)


def visit_contacts(connection: Connection, visit_id: int, language: str) -> None:
    """Erase who brought a visit's devices, and which language they read: it becomes the shop's own, `language`."""
    for ticket_id in connection.execute(_IDS_OF, {"wanted": visit_id}).scalars().all():
        search.forget(connection, ticket_id)
    connection.execute(_CONTACTS, {"wanted": visit_id})
    rights.forget_codes(connection, visit_id)
    connection.execute(_LANGUAGE, {"wanted": visit_id, "plain": language})


def second_person(connection: Connection, contact_id: int, ref: str) -> None:
    """Erase who a visit's second person is, where notices reach them, and the messages and calls to them."""
    connection.execute(_CONTACT, {"wanted": contact_id})
    outbox.forget_recipient(connection, ref)
    calls.forget_recipient(connection, ref)


def device_identity(connection: Connection, ticket_id: int) -> None:
    """Erase which device it was."""
    search.forget(connection, ticket_id)
    connection.execute(_DEVICE, {"wanted": ticket_id})
    bench_purge.serials(connection, ticket_id)


def record_words(connection: Connection, ticket_id: int) -> None:
    """Erase the words of the work record: the fault as told, and every text of the journal. Its events stay."""
    connection.execute(_FAULT, {"wanted": ticket_id})
    connection.execute(_TEXTS, {"wanted": ticket_id})
    bench_purge.work(connection, ticket_id)


def record(connection: Connection, ticket_id: int) -> None:
    """Erase an ended ticket with its journal. Its number stays taken. The database refuses for an open one."""
    connection.execute(_JOURNAL, {"wanted": ticket_id})
    connection.execute(_TICKET, {"wanted": ticket_id})


def record_but_its_shell(connection: Connection, ticket_id: int) -> None:
    """Erase the work record of an ended ticket while proof or money hangs on it: its number, kind and ending stay.

    Its days are cut to the Monday of their week, so that they identify nobody.
    """
    bench_purge.work(connection, ticket_id)
    made_at, since, ended_at = connection.execute(_SHELL, {"wanted": ticket_id}).one()
    values = {"made": week_of(made_at), "since": week_of(since), "ended": week_of(ended_at)}
    connection.execute(_REDUCE, {"wanted": ticket_id} | values)
    connection.execute(_JOURNAL, {"wanted": ticket_id})


def visit_but_its_shell(connection: Connection, visit_id: int) -> None:
    """Cut a visit's own days to their week."""
    made_at, link_ends_at = connection.execute(_VISIT_SHELL, {"wanted": visit_id}).one()
    values = {"made": week_of(made_at), "ends": week_of(link_ends_at)}
    connection.execute(_REDUCE_VISIT, {"wanted": visit_id} | values)


def week_of(moment: datetime) -> datetime:
    """The Monday of a moment's week, at midnight UTC."""
    return (moment - timedelta(days=moment.weekday())).replace(hour=0, minute=0, second=0, microsecond=0)


def messages(connection: Connection, visit_id: int) -> int:
    """Erase the messages and calls about a visit and its tickets, made or not, and tell how many those were."""
    refs = connection.execute(_TICKETS_OF, {"wanted": visit_id}).scalars().all()
    of_visit = connection.execute(_VISIT_REF, {"wanted": visit_id}).scalars().all()
    return sum(outbox.forget(connection, ref) + calls.forget(connection, ref) for ref in (*of_visit, *refs))


def visit(connection: Connection, visit_id: int) -> bool:
    """Erase a visit that has no ticket any more, with its contacts. False while it has one."""
    return connection.execute(_VISIT, {"wanted": visit_id}).rowcount == 1


def staff_member(connection: Connection, staff_id: int) -> bool:
    """Erase who a former staff member was; the journal goes on naming somebody. False for one not disabled."""
    gone = connection.execute(_STAFF, {"wanted": staff_id, "nobody": f"former staff {staff_id}"}).rowcount == 1
    if gone:
        connection.execute(_LOGINS, {"wanted": staff_id})
        connection.execute(_POLICIES, {"wanted": staff_id})
        wordings.forget_maker(connection, staff_id)
        bench_purge.acknowledged(connection, staff_id)
    return gone


# Which function erases which category of which table; a test fails for a pair that stands neither here nor in NEVER.
PURGES: Mapping[tuple[str, Category], Callable[..., object]] = {
    ("contacts", Category.CONTACT): visit_contacts,
    ("contacts", Category.TECHNICAL): visit_contacts,
    ("push_devices", Category.PUSH): pushes.forget,
    ("push_devices", Category.TECHNICAL): pushes.forget,
    ("visits", Category.CONTACT): visit_contacts,
    ("visits", Category.RECORD): visit,
    ("visits", Category.TECHNICAL): visit,
    ("search_words", Category.CONTACT): visit_contacts,
    ("tickets", Category.DEVICE): device_identity,
    ("tickets", Category.RECORD): record,
    ("tickets", Category.TECHNICAL): record,
    ("journal", Category.RECORD): record,
    ("journal", Category.STAFF): record,
    ("journal", Category.TECHNICAL): record,
    ("outbox", Category.MESSAGE): messages,
    ("outbox", Category.TECHNICAL): messages,
    ("calls_due", Category.MESSAGE): messages,
    ("staff", Category.STAFF): staff_member,
    ("staff", Category.TECHNICAL): staff_member,
    ("logins", Category.STAFF): staff_member,
    ("logins", Category.TECHNICAL): staff_member,
    ("policies", Category.STAFF): staff_member,
    ("wordings", Category.STAFF): staff_member,
    ("throttles", Category.TECHNICAL): throttles.forget,
    ("questions", Category.APPROVAL): questions.forget,
    ("questions", Category.STAFF): questions.forget,
    ("questions", Category.RECORD): questions.forget,
    ("questions", Category.TECHNICAL): questions.forget,
    ("asked", Category.TECHNICAL): visit_contacts,
    ("challenges", Category.TECHNICAL): questions.forget,
    ("proofs", Category.APPROVAL): questions.forget,
    ("price_terms", Category.APPROVAL): questions.forget,
    **dict.fromkeys(
        [("payments", each) for each in (Category.MONEY, Category.STAFF, Category.TECHNICAL)]
        + [("adjustments", each) for each in (Category.MONEY, Category.STAFF, Category.TECHNICAL)]
        + [("statements", Category.MONEY), ("refunds_due", Category.MONEY), ("balances", Category.MONEY)],
        money.forget,
    ),
    ("acceptances", Category.APPROVAL): acceptances.forget,
    ("acceptances", Category.STAFF): acceptances.forget,
    **dict.fromkeys(((table, Category.RECORD) for table in bench_purge.OF_TICKETS), record),
    ("intake_records", Category.DEVICE): device_identity,
    ("formal_notices", Category.CONTACT): bench_purge.return_addresses,
    ("formal_notices", Category.DEVICE): device_identity,
    ("announcements", Category.CONTACT): bench_purge.return_addresses,
    ("return_choices", Category.CONTACT): bench_purge.return_addresses,
    ("handover_signatures", Category.APPROVAL): wishes.forget,
    ("wishes", Category.APPROVAL): wishes.forget,
    ("wishes", Category.STAFF): wishes.forget,
    ("announcements", Category.MONEY): record,
    ("acknowledgements", Category.STAFF): staff_member,
    ("photos", Category.PHOTO): photos.forget,
    ("photo_pairs", Category.PHOTO): photos.forget,
    ("photo_copies", Category.PHOTO): photos.forget,
    ("publication_consents", Category.PUBLICATION): publication.forget,
    ("publication_consents", Category.STAFF): publication.forget,
    ("keeping", Category.RECORD): visit,
    ("pauses", Category.RECORD): visit,
    ("pauses", Category.STAFF): visit,
    ("donors", Category.DEVICE): forget_donor,
    ("donors", Category.CONTACT): forget_donor,
    ("requests", Category.RECORD): rights.forget,
    ("requests", Category.STAFF): rights.forget,
    ("requests", Category.TECHNICAL): rights.forget,
    ("allowed_uses", Category.RECORD): rights.forget_words,
    ("allowed_uses", Category.STAFF): rights.forget_words,
    ("visit_challenges", Category.TECHNICAL): visit_contacts,
    ("breaches", Category.RECORD): breaches.forget,
    ("breaches", Category.STAFF): breaches.forget,
    ("breaches", Category.TECHNICAL): breaches.forget,
}
# Tables that say nothing of a person, and why they stay.
NEVER: Mapping[str, str] = {
    "figures": "counts a week, of nobody",
    "series": "the last number of a statement, so that none is given twice",
    "learned": "what the past tells of repairs in general: counts and shares",
    "curves": "how long repairs took, as a share of many",
    "numbers": "a number that was given once is never given again",
    "heartbeats": "one row a sweep, overwritten",
    "house": "what the installation remembers of itself",
    "purges": "counts of what was erased, to be able to show it",
}
