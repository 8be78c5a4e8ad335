"""`/t/<token>/cancel/<number>/<ref>`: what was agreed to at a distance is cancelled, by a press that is confirmed.

The page that leads here carries the first button; here stands who cancels what, what follows, and the second one.
Reading changes nothing. See `rules.cancelled` for the law.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime

from flask import abort, redirect, render_template, url_for
from flask.typing import ResponseReturnValue

from portal.actions import answers
from portal.actions import cancelled as deeds
from portal.actions.desk import NotFound
from portal.actions.links import Reader
from portal.rules import cancelled as rules
from portal.rules.cancelled import START, Agreed
from portal.rules.numbers import spoken
from portal.rules.sentences import Sentence, say
from portal.store import journal, questions, visits
from portal.store.tickets import Ticket
from portal.store.visits import Contact
from portal.web.customer import blueprint
from portal.web.customer.docket import look_up
from portal.web.customer.doing import attempt_on_ticket
from portal.web.customer.languages import asked
from portal.web.customer.report import back, ticket_of
from portal.web.forms import Answer, deed_key_typed, new_deed_key
from portal.web.request_context import connection, desk, local_today, policy, refresh


@dataclass(frozen=True)
class Reading:
    """One thing agreed to as one reader has it. `agreed` is None once it was cancelled, and what follows is known."""

    reader: Reader
    ticket: Ticket
    ref: str
    what: Sentence
    agreed: Agreed | None
    may_cancel: bool
    owner: str  # the owner's name, or ""
    told: list[Contact]  # who gets the acknowledgement

    @property
    def own_address(self) -> str:
        """Where the reader's own acknowledgement goes, or ""; nobody reads here where that of somebody else does."""
        me = self.reader.contact
        return next((each.email or each.phone for each in self.told if me and each.ref == me.ref), "")

    @property
    def is_cancelled(self) -> bool:
        """Whether it was cancelled, and be it that the part is not entered yet."""
        return self.agreed is None or self.agreed.declared_on is not None


@blueprint.get("/t/<token>/cancel/<number>/<ref>")
def cancel(token: str, number: str, ref: str) -> ResponseReturnValue:
    """What would be cancelled and what follows; afterwards, that it was."""
    return _page(token, _read(token, number, ref), Answer())


@blueprint.post("/t/<token>/cancel/<number>/<ref>")
def confirm_cancel(token: str, number: str, ref: str) -> ResponseReturnValue:
    """The second press: it is cancelled."""
    reading = _read(token, number, ref)
    if not reading.may_cancel:
        abort(403)
    who = reading.reader.contact.name if reading.reader.contact else reading.owner
    answer = attempt_on_ticket(
        lambda: deeds.declare(desk(), reading.ticket.number, ref, who, deed_key=deed_key_typed())
    )
    if answer.done:
        return redirect(url_for("customer.cancel", token=token, number=number, ref=ref, lang=asked()), 303)
    refresh()
    return _page(token, _read(token, number, ref), answer)


def may_cancel(reader: Reader) -> bool:
    """Whether whoever holds this link may cancel: whoever may agree by it."""
    contact_ref = reader.contact.ref if reader.contact else None
    return answers.may_answer(connection(), reader.visit.id, contact_ref, policy())


def _read(token: str, number: str, ref: str) -> Reading:
    reader = look_up(token).reader
    ticket = ticket_of(reader.visit.id, number)
    agreed = next((each for each in deeds.cancellable(connection(), ticket) if each.ref == ref), None)
    what = agreed.what if agreed else _cancelled(ticket, ref)
    contacts = visits.contacts_of(connection(), reader.visit.id)
    owner = next((contact.name for contact in contacts if contact.role == "owner"), "")
    told = [each for each in contacts if each.may_agree and each.reachable]
    return Reading(reader, ticket, ref, what, agreed, may_cancel(reader), owner, told)


def _cancelled(ticket: Ticket, ref: str) -> Sentence:
    """What something is called that was cancelled. Raises NotFound for what was not, nor can be."""
    if ref == START:
        terms = questions.terms(connection(), ticket.id)
        if terms and questions.terms_cancelled_on(connection(), ticket.id):
            return terms.words()
    kept = questions.by_ref(connection(), ref)
    if kept is None or kept.ticket_id != ticket.id or kept.cancelled_on is None:
        raise NotFound(
            say(
                "There is nothing here that can be cancelled. Please open the page of your repair and go on from there."
            )
        )
    return Sentence("{what}", {"what": kept.offer.option(kept.question.chosen or "").proposal})


def _cancelled_at(reading: Reading) -> datetime | None:
    """The moment at which it was cancelled or that was entered, as the journal tells; None where it was not."""
    if not reading.is_cancelled:
        return None
    found = journal.entries_for_customer(connection(), reading.ticket.id)
    told = [each for each in found if each.event in ("cancelled", "cancel_declared")]
    return next((each.at for each in told[::-1] if each.data.get("question") == reading.ref), None)


def _page(token: str, reading: Reading, answer: Answer) -> ResponseReturnValue:
    agreed, today = reading.agreed, local_today()
    until: date | None = agreed.until if agreed else None
    page = render_template(
        "customer/cancel.html",
        reading=reading,
        ticket=reading.ticket,
        what=reading.what,
        until=until,
        over=until is not None and today > until,
        follows=rules.foretold(agreed) if agreed else "",
        cancelled_at=_cancelled_at(reading),
        money=url_for("customer.money", token=token, number=spoken(reading.ticket.number), lang=asked()),
        here=url_for(
            "customer.cancel", token=token, number=spoken(reading.ticket.number), ref=reading.ref, lang=asked()
        ),
        answer=answer,
        deed_key=new_deed_key(),
        back=back(token),
    )
    return page, answer.status
