"""One ticket: where it stands, what can be done, and its journal."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import date

from flask import redirect, render_template, request, url_for
from flask.typing import ResponseReturnValue

from notifications import outbox
from notifications.outbox import Trace
from portal.actions import balance, cautions
from portal.actions.desk import find
from portal.rules import stages
from portal.rules.account import Account
from portal.rules.cancelled import undecided
from portal.rules.cautions import Shown
from portal.rules.journal_words import for_bench
from portal.rules.numbers import spoken
from portal.rules.outcomes import journal_text
from portal.rules.policy import Policy, Stage
from portal.rules.sentences import Sentence, say
from portal.rules.stages import Hold
from portal.rules.windows import REASONS as MOVED
from portal.store import journal, publication, refunds, tickets, visits, windows
from portal.store.journal import Entry
from portal.store.tickets import Ticket
from portal.store.visits import Contact, Visit
from portal.store.windows import Kept
from portal.web import guard
from portal.web.bench import blueprint
from portal.web.forms import Answer, DeedForm, Filled, new_deed_key
from portal.web.request_context import connection, desk, policy, speaking

DONE = {
    "move": say("It is moved."),
    "hold": say("The hold is changed."),
    "note": say("The note is in the journal."),
    "correct": say("The correction is in the journal."),
    "shelf": say("Place, date and express are kept."),
    "contact-owner": say("The contact is changed."),
    "contact-second": say("The second person is changed."),
    "undo": say("It is here again."),
    "came-back": say("The parcel is here again. Its owner chooses anew."),
    "destroyed": say("It is written down that the data was destroyed."),
    "settle": say("It is settled. The device may go."),
    "return": say("It is given back."),
    "promise": say("The day is promised; the customer reads it on their page."),
    "window-moved": say("The customer is told."),
    "record": say("The condition on arrival is written down."),
    "cautions": say("Noted that you read it."),
    "undelivered": say("It is decided what becomes of the message."),
    "renew-link": say("The docket has a new link. Print it anew."),
}


# Without any of these in a journal nothing is charged or paid.
_OF_MONEY = ("price_agreed", "gone_ahead", "agreed", "money_taken", "storage_stated")


@dataclass(frozen=True)
class Line:
    """A journal entry with its heading."""

    entry: Entry
    says: Sentence

    @property
    def words(self) -> str:
        """What stands below the heading: what somebody wrote, or why a message did not arrive."""
        return speaking().say(journal_text(self.entry.event, self.entry.text))


@dataclass(frozen=True)
class TicketPage:
    """All that the ticket's page shows. `answer` is what came of the form just posted, `form` its name."""

    ticket: Ticket
    visit: Visit
    contacts: Sequence[Contact]
    siblings: Sequence[Ticket]
    stage: Stage | None
    next_stages: Sequence[Stage]
    earlier_stages: Sequence[Stage]
    lines: Sequence[Line]
    meanwhile: Sequence[Line]
    messages: Sequence[Trace]
    cautions: Sequence[Shown]
    account: Account | None  # where money was ever spoken of
    refund_by: date | None  # the last day on which what is owed back is given back
    may_be_published: bool
    under_way: bool  # here, and not ready
    window: Kept | None  # when it will probably be ready
    usual_days: int | None  # that such work takes, says the policy
    deed_key: str
    answer: Answer = field(default_factory=Answer)
    form: str = ""

    @property
    def complaint(self) -> bool:
        """Whether a complaint is open, as the journal tells."""
        said = [line.entry.event for line in self.lines if line.entry.event in ("complained", "complaint_closed")]
        return said[:1] == ["complained"]  # the newest stands first

    @property
    def cancelled_on_page(self) -> bool:
        """Whether the customer cancelled something, and how much of it was done is still to be entered."""
        return bool(undecided((line.entry.event, line.entry.data) for line in self.lines[::-1]))

    @property
    def came_back(self) -> bool:
        """Whether the device came back within a warranty."""
        return any(line.entry.event == "came_back" for line in self.lines)

    @property
    def undelivered(self) -> Sequence[Trace]:
        """The messages that did not arrive, about which somebody has to decide."""
        return [message for message in self.messages if message.undelivered]

    def whose(self, message: Trace) -> str:
        """To whom a message was, as far as that is still on file."""
        return next((contact.name for contact in self.contacts if contact.ref == message.recipient), "")


@blueprint.get("/<number>")
def ticket(number: str) -> ResponseReturnValue:
    """The ticket's page; a number in another spelling is sent to the one spelling."""
    found = find(connection(), number)
    if number != spoken(found.number):
        return redirect(url_for(".ticket", number=spoken(found.number)))
    return ticket_page(found)


def ticket_page(found: Ticket, answer: Answer | None = None, form: str = "") -> ResponseReturnValue:
    """The page, after a refused form with its reasons and everything typed still in it."""
    answer = answer or Answer()
    rules, visit = policy(), visits.by_id(connection(), found.visit_id)
    here = found.ending is None and found.stage is not None
    entries = journal.entries(connection(), found.id)
    account = _account(found, entries, rules)
    owed = refunds.of_ticket(connection(), found.id) if account and account.credit_minor else None
    page = TicketPage(
        ticket=found,
        visit=visit,
        contacts=visits.contacts_of(connection(), found.visit_id),
        siblings=[each for each in tickets.of_visit(connection(), found.visit_id) if each.id != found.id],
        stage=rules.stage(found.stage),
        next_stages=stages.next_stages(found.standing, rules.stages) if here else [],
        earlier_stages=stages.earlier_stages(found.standing, rules.stages) if here else [],
        lines=_lines(entries, rules, found.kind)[::-1],
        meanwhile=_lines(answer.meanwhile, rules, found.kind),
        messages=outbox.about(connection(), [found.ref, visit.ref]),
        cautions=cautions.shown(desk(), connection(), guard.me().by, found) if here else [],
        under_way=here and found.stage != rules.stages[-1].key,
        window=windows.of_ticket(connection(), found.id),
        usual_days=rules.forecast.usual(found.kind),
        account=account,
        refund_by=owed.due_on if owed else None,
        may_be_published=publication.standing(connection(), found.id) is not None,
        deed_key=new_deed_key(),
        answer=answer,
        form=form,
    )
    text = render_template(
        "bench/ticket.html",
        page=page,
        typed=Filled(request.form),
        done=DONE.get(request.args.get("done", "")) if answer.done else None,
        holds=stages.HOLD_WORDS,
        Hold=Hold,
        reasons_it_moved=MOVED,
        csrf=DeedForm(),
        now=desk().clock.now(),
    )
    return text, answer.status


def _account(found: Ticket, entries: Sequence[Entry], rules: Policy) -> Account | None:
    """The account, read only where the journal tells of money."""
    if not any(entry.event in _OF_MONEY for entry in entries):
        return None
    account = balance.of(connection(), found, rules)
    return None if account.is_empty else account


def _lines(entries: Sequence[Entry], rules: Policy, kind: str) -> list[Line]:
    return [Line(entry, for_bench(entry.event, entry.data, rules, kind)) for entry in entries]
