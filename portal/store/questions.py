"""Questions about money as rows: asked, answered, proven."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from sqlalchemy import Connection, bindparam, delete, func, insert, select, update

from portal.rules.offers import from_data
from portal.rules.price_terms import PriceTerms, Way
from portal.rules.proof import FIRST, Proof
from portal.rules.questions import OPEN, Offer, Question, State
from portal.store.challenges import Challenges
from portal.store.question_tables import asked, challenges, price_terms, proofs, questions
from portal.store.tables import contacts, tickets

LIMIT = "limit"  # how a question was answered that the customer had let the shop go ahead with


@dataclass(frozen=True)
class Kept:
    """A question with what the store knows of it beside its standing."""

    id: int
    ref: str
    ticket_id: int
    kind: str
    question: Question
    offer: Offer
    drafted_by: int | None
    made_at: datetime
    put_at: datetime | None
    settled_at: datetime | None
    started_at: datetime | None
    reminded_at: datetime | None
    returned_with: str
    through: str | None
    at_distance: bool
    cancel_until: date | None
    begin_early: bool | None
    cancelled_on: date | None
    owed_percent: int | None  # None beside a `cancelled_on`: declared on the page, and the part is still to be entered

    @property
    def awaits_part(self) -> bool:
        """Whether it was cancelled on its page and nobody has entered yet how much was done by then."""
        return self.cancelled_on is not None and self.owed_percent is None


_COLUMNS = (
    questions.c.id,
    questions.c.ref,
    questions.c.ticket_id,
    questions.c.kind,
    questions.c.state,
    questions.c.version,
    questions.c.answer_by,
    questions.c.chosen,
    questions.c.offer,
    questions.c.drafted_by,
    questions.c.made_at,
    questions.c.put_at,
    questions.c.settled_at,
    questions.c.started_at,
    questions.c.reminded_at,
    questions.c.returned_with,
    questions.c.through,
    questions.c.at_distance,
    questions.c.cancel_until,
    questions.c.begin_early,
    questions.c.cancelled_on,
    questions.c.owed_percent,
)
_BY_REF = select(*_COLUMNS).where(questions.c.ref == bindparam("wanted"))
_OF_TICKET = select(*_COLUMNS).where(questions.c.ticket_id == bindparam("ticket_id")).order_by(questions.c.id)
_OF_VISIT = (
    select(*_COLUMNS, tickets.c.number)
    .join(tickets, questions.c.ticket_id == tickets.c.id)
    .where(tickets.c.visit_id == bindparam("visit_id"))
    .order_by(questions.c.id)
)
_AGREED_OF = (
    select(*_COLUMNS)
    .where(questions.c.ticket_id.in_(bindparam("wanted", expanding=True)), questions.c.state == State.AGREED.value)
    .order_by(questions.c.id)
)
_STATES = select(questions.c.state).where(questions.c.ticket_id == bindparam("ticket_id"))
_WAITING = (
    select(*_COLUMNS, tickets.c.number, tickets.c.device)
    .join(tickets, questions.c.ticket_id == tickets.c.id)
    .where(questions.c.state == bindparam("state"), tickets.c.ending.is_(None))
    .order_by(questions.c.answer_by)
)
_LAPSED = (
    select(tickets.c.number, questions.c.ref)
    .join(tickets, questions.c.ticket_id == tickets.c.id)
    .where(questions.c.state == State.PUT.value, questions.c.answer_by <= bindparam("now"))
    .order_by(questions.c.answer_by)
    .limit(bindparam("most"))
)
_NOT_REMINDED = (
    select(questions.c.ref, questions.c.put_at)
    .where(
        questions.c.state == State.PUT.value,
        questions.c.reminded_at.is_(None),
        questions.c.answer_by > bindparam("now"),
    )
    .order_by(questions.c.put_at)
    .limit(bindparam("most"))
)
_DECLARED = (
    select(*_COLUMNS, tickets.c.number, tickets.c.device)
    .join(tickets, questions.c.ticket_id == tickets.c.id)
    .where(questions.c.cancelled_on.is_not(None), questions.c.owed_percent.is_(None))
    .order_by(questions.c.cancelled_on, questions.c.id)
)
# The guard decides a race: of two deeds on one standing only one changes the row.
_CHANGE = update(questions).where(
    questions.c.id == bindparam("question_id"),
    questions.c.state == bindparam("was"),
    questions.c.version == bindparam("of_version"),
)
_READER = (
    select(contacts.c.ref, questions.c.ref)
    .select_from(asked.join(questions, asked.c.question_id == questions.c.id))
    .join(contacts, asked.c.contact_id == contacts.c.id)
    .where(asked.c.ref == bindparam("wanted"))
)
_ASKED = (
    select(asked.c.ref)
    .join(contacts, asked.c.contact_id == contacts.c.id)
    .join(questions, asked.c.question_id == questions.c.id)
    .where(questions.c.ref == bindparam("question"), contacts.c.ref == bindparam("contact"))
)
_CHAIN = (
    select(proofs.c.document, proofs.c.previous, proofs.c.digest)
    .where(proofs.c.ticket_id == bindparam("ticket_id"))
    .order_by(proofs.c.place)
)
_LAST = select(func.coalesce(func.max(proofs.c.place), 0)).where(proofs.c.ticket_id == bindparam("ticket_id"))
_OF_QUESTION = (
    select(proofs.c.document, proofs.c.previous, proofs.c.digest)
    .join(questions, proofs.c.question_id == questions.c.id)
    .where(questions.c.ref == bindparam("question"))
    .order_by(proofs.c.place.desc())
    .limit(1)
)
_NUMBERS = select(tickets.c.number).where(tickets.c.id.in_(select(proofs.c.ticket_id))).order_by(tickets.c.id)
CODES = Challenges(challenges, "question_id")
_TICKETS_OF = select(tickets.c.id).where(tickets.c.visit_id == bindparam("visit_id")).scalar_subquery()
_FORGET = [delete(table).where(table.c.ticket_id.in_(_TICKETS_OF)) for table in (proofs, price_terms, questions)]
_TERMS = select(price_terms.c.way, price_terms.c.amount_minor, price_terms.c.currency).where(
    price_terms.c.ticket_id == bindparam("ticket_id")
)
_TERMS_OF = select(
    price_terms.c.ticket_id, price_terms.c.way, price_terms.c.amount_minor, price_terms.c.currency
).where(price_terms.c.ticket_id.in_(bindparam("wanted", expanding=True)))
_CANCELLING = select(price_terms.c.cancel_until, price_terms.c.begin_early, price_terms.c.cancelled_on).where(
    price_terms.c.ticket_id == bindparam("ticket_id")
)
_CANCEL_TERMS = (
    update(price_terms).where(price_terms.c.ticket_id == bindparam("wanted")).values(cancelled_on=bindparam("day"))
)
_TERMS_OF_VISIT = (
    select(tickets.c.number, price_terms.c.way, price_terms.c.amount_minor, price_terms.c.currency)
    .join(tickets, price_terms.c.ticket_id == tickets.c.id)
    .where(tickets.c.visit_id == bindparam("visit_id"))
    .order_by(tickets.c.id)
)


def by_ref(connection: Connection, ref: str) -> Kept | None:
    """The question with this public id, or None."""
    row = connection.execute(_BY_REF, {"wanted": ref}).first()
    return _kept(row) if row else None


def of_ticket(connection: Connection, ticket_id: int) -> list[Kept]:
    """A ticket's questions, the oldest first."""
    return [_kept(row) for row in connection.execute(_OF_TICKET, {"ticket_id": ticket_id})]


def of_visit(connection: Connection, visit_id: int) -> list[tuple[Kept, str]]:
    """A visit's questions with the numbers of their tickets, the oldest first."""
    rows = connection.execute(_OF_VISIT, {"visit_id": visit_id})
    return [(_kept(row[:-1]), row[-1]) for row in rows]


def agreed(connection: Connection, ticket_id: int) -> list[Kept]:
    """What was agreed to: all that may be charged."""
    return agreed_of(connection, [ticket_id])


def agreed_of(connection: Connection, ticket_ids: Sequence[int]) -> list[Kept]:
    """The same of several tickets."""
    return [_kept(row) for row in connection.execute(_AGREED_OF, {"wanted": ticket_ids})]


def settled(connection: Connection, ticket_id: int) -> bool:
    """Whether no question waits for anybody: the gate asks."""
    states = connection.execute(_STATES, {"ticket_id": ticket_id}).scalars().all()
    return not any(State(state) in OPEN for state in states)


def waiting(connection: Connection, state: State) -> list[tuple[Kept, str, str]]:
    """Every question in a state whose device is here, with the ticket's number and device; the soonest first."""
    rows = connection.execute(_WAITING, {"state": state.value})
    return [(_kept(row[:-2]), row[-2], row[-1]) for row in rows]


def declared(connection: Connection) -> list[tuple[Kept, str, str]]:
    """What was cancelled on its page and awaits how much was done, with the ticket's number and device; oldest first.

    Wherever the device is by now.
    """
    rows = connection.execute(_DECLARED)
    return [(_kept(row[:-2]), row[-2], row[-1]) for row in rows]


def lapsing(connection: Connection, now: datetime, most: int) -> list[tuple[str, str]]:
    """(number, ref) of questions whose time to answer has passed."""
    return [(number, ref) for number, ref in connection.execute(_LAPSED, {"now": now, "most": most})]


def not_reminded(connection: Connection, now: datetime, most: int) -> list[tuple[str, datetime]]:
    """Questions that wait for an answer and were not reminded of yet, with when they were put; the longest first."""
    return [(ref, put_at) for ref, put_at in connection.execute(_NOT_REMINDED, {"now": now, "most": most})]


def add(connection: Connection, values: dict[str, object]) -> int:
    """Insert a question and tell its id. `values` are the columns by name."""
    key = connection.execute(insert(questions), values).inserted_primary_key
    return int(key[0]) if key else 0


def change(connection: Connection, kept: Kept, values: dict[str, object]) -> bool:
    """Change a question that stands as it was read; False where somebody was faster, and nothing changed."""
    guard = {"question_id": kept.id, "was": kept.question.state.value, "of_version": kept.question.version}
    return connection.execute(_CHANGE.values(**values), guard).rowcount == 1


def ask(connection: Connection, question_id: int, contact_id: int, ref: str) -> None:
    """Write down that a question was put to a contact, whose link it becomes."""
    connection.execute(insert(asked), {"ref": ref, "question_id": question_id, "contact_id": contact_id})


def is_asked(connection: Connection, question_ref: str, contact_ref: str) -> str | None:
    """The public id of a contact's own link to a question, or None where it was not put to them."""
    values = {"question": question_ref, "contact": contact_ref}
    ref: str | None = connection.execute(_ASKED, values).scalar_one_or_none()
    return ref


def reader(connection: Connection, ref: str) -> tuple[str, str] | None:
    """Whom a question's link belongs to, and which question it is for: (contact's ref, question's ref)."""
    row = connection.execute(_READER, {"wanted": ref}).first()
    return (row[0], row[1]) if row else None


def chain(connection: Connection, ticket_id: int) -> list[Proof]:
    """A ticket's proofs in their order."""
    return [Proof(*row) for row in connection.execute(_CHAIN, {"ticket_id": ticket_id})]


def newest_proof(connection: Connection, question_ref: str) -> Proof | None:
    """The newest proof of one question."""
    row = connection.execute(_OF_QUESTION, {"question": question_ref}).first()
    return Proof(*row) if row else None


def last_digest(connection: Connection, ticket_id: int) -> str:
    """What the ticket's next proof is chained to."""
    found = chain(connection, ticket_id)
    return found[-1].digest if found else FIRST


def keep_proof(connection: Connection, ticket_id: int, question_id: int | None, proof: Proof) -> None:
    """Append a proof; the unique place makes two at once impossible."""
    last = connection.execute(_LAST, {"ticket_id": ticket_id}).scalar_one()
    connection.execute(
        insert(proofs),
        {
            "ticket_id": ticket_id,
            "question_id": question_id,
            "place": last + 1,
            "document": proof.document,
            "previous": proof.previous,
            "digest": proof.digest,
        },
    )


def proven_numbers(connection: Connection) -> Sequence[str]:
    """The tickets that have proofs."""
    return connection.execute(_NUMBERS).scalars().all()


def terms(connection: Connection, ticket_id: int) -> PriceTerms | None:
    """What was agreed about the price when the device came in, or None."""
    row = connection.execute(_TERMS, {"ticket_id": ticket_id}).first()
    return PriceTerms(Way(row.way), row.amount_minor, row.currency) if row else None


def terms_of(connection: Connection, ticket_ids: Sequence[int]) -> dict[int, PriceTerms]:
    """The same for each of several tickets that has any, by the tickets' ids."""
    rows = connection.execute(_TERMS_OF, {"wanted": ticket_ids})
    return {row.ticket_id: PriceTerms(Way(row.way), row.amount_minor, row.currency) for row in rows}


def terms_of_visit(connection: Connection, visit_id: int) -> dict[str, PriceTerms]:
    """The same for each of a visit's tickets that has any, by number."""
    rows = connection.execute(_TERMS_OF_VISIT, {"visit_id": visit_id})
    return {row.number: PriceTerms(Way(row.way), row.amount_minor, row.currency) for row in rows}


def may_begin(connection: Connection, ticket_id: int) -> tuple[date | None, bool | None]:
    """Of what was agreed at the start: until when it can be cancelled, and whether they asked to begin before that."""
    row = connection.execute(_CANCELLING, {"ticket_id": ticket_id}).first()
    return (row.cancel_until, row.begin_early) if row else (None, None)


def terms_cancelled_on(connection: Connection, ticket_id: int) -> date | None:
    """The day on which what was agreed at the start was cancelled, or None."""
    row = connection.execute(_CANCELLING, {"ticket_id": ticket_id}).first()
    return row.cancelled_on if row else None


def cancel_terms(connection: Connection, ticket_id: int, day: date | None) -> None:
    """What was agreed at the start was cancelled on a day; None: it was not after all."""
    connection.execute(_CANCEL_TERMS, {"wanted": ticket_id, "day": day})


def keep_terms(
    connection: Connection,
    ticket_id: int,
    agreed: PriceTerms,
    through: str,
    now: datetime,
    cancelling: Mapping[str, object],
) -> None:
    """Write down what was agreed about the price; once a ticket. `cancelling` are the columns of that name, if any."""
    values: dict[str, object] = {"ticket_id": ticket_id, "way": agreed.way.value, "amount_minor": agreed.amount_minor}
    values |= {"currency": agreed.currency, "through": through, "agreed_at": now}
    connection.execute(insert(price_terms), values | dict(cancelling))


def used_of_limit(found: Sequence[Kept]) -> int:
    """What the bench has gone ahead with within the customer's limit, of a ticket's questions, in minor units."""
    return sum(
        kept.offer.total(kept.offer.option(kept.question.chosen)).amounts.gross
        for kept in found
        if kept.through == LIMIT and kept.question.state is State.AGREED and kept.question.chosen
    )


def forget(connection: Connection, visit_id: int) -> int:
    """Erase a visit's questions, what was agreed at the start, and their proofs; tell how many rows those were."""
    return sum(connection.execute(statement, {"visit_id": visit_id}).rowcount for statement in _FORGET)


def _kept(row: Any) -> Kept:
    number, ref, ticket_id, kind, state, version, answer_by, chosen, offer, by, made, put, settled, started, *rest = row
    *rest, cancelled, owed = rest
    question = Question(State(state), version, answer_by, chosen, started is not None, cancelled is not None)
    told = (by, made, put, settled, started, *rest, cancelled, owed)
    return Kept(number, ref, ticket_id, kind, question, from_data(offer), *told)
