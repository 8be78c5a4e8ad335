"""A cancellation: pressed on the customer's page, or entered once what follows was looked at.

What follows is reckoned by `rules.cancelled` and the account; the proof is chained to that of the yes. Not legal
advice: the law where the shop works decides.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime

from sqlalchemy import Connection

from portal.actions import balance, tell
from portal.actions.answers import with_retries
from portal.actions.desk import CUSTOMER, By, Change, Desk, Outcome, change_ticket
from portal.actions.payments import kept_up_to_date, must_be_kept
from portal.actions.people import only_keeper
from portal.actions.proving import prove_answer
from portal.actions.questions import must_win, of
from portal.language import language
from portal.rules import cancelled as rules
from portal.rules.account import LOOKING, charge, in_part
from portal.rules.cancelled import START, Agreed, Declaration, How
from portal.rules.days import local_day
from portal.rules.money import Price
from portal.rules.policy import Policy
from portal.rules.refusals import AskFirst, Refused, Unfit
from portal.rules.sentences import Sentence, say
from portal.rules.stages import Event
from portal.rules.text import line
from portal.store import questions
from portal.store.questions import LIMIT, Kept
from portal.store.tickets import Ticket


@dataclass(frozen=True)
class Typed:
    """A cancellation as typed: days or "" for today, a `rules.How`, who and where, which things, how much of each."""

    sent_on: str = ""
    heard_on: str = ""
    how: str = ""
    words: str = ""
    refs: Sequence[str] = ()
    parts: Mapping[str, str] = field(default_factory=dict)  # in per cent, by the refs


@dataclass(frozen=True)
class Cancelled:
    """One thing that is cancelled: `percent` of it is owed all the same, which is `owed_minor` in its own currency."""

    agreed: Agreed
    kept: Kept | None  # None: what was agreed at the start, which charges nothing
    percent: int
    owed_minor: int


@dataclass(frozen=True)
class Foreseen:
    """What a cancellation is and what follows from it, in sentences; `mark` names just these."""

    declared: Declaration
    things: Sequence[Cancelled]
    consequences: Sequence[Sentence]

    @property
    def mark(self) -> str:
        """What a form names the consequences by that it showed."""
        return rules.mark_of(self.consequences)


def cancellable(connection: Connection, ticket: Ticket) -> list[Agreed]:
    """What was agreed to at a distance and was not cancelled yet, the oldest first; also what can be no longer.

    And what was cancelled on the page and awaits how much of it was done by then.
    """
    return [agreed for agreed, _kept in _agreed(connection, ticket)]


def foresee(desk: Desk, connection: Connection, ticket: Ticket, policy: Policy, typed: Typed) -> Foreseen:
    """What would follow. Raises Unfit (fields "sent_on", "heard_on", "how", "words", "things", "part-" and a ref).

    And Refused for what cannot be cancelled, or not any more.
    """
    earliest, today = local_day(ticket.made_at, policy), local_day(desk.clock.now(), policy)
    declared = rules.declaration(typed.sent_on, typed.heard_on, typed.how, typed.words, earliest=earliest, today=today)
    found = {agreed.ref: (agreed, kept) for agreed, kept in _agreed(connection, ticket)}
    if not typed.refs:
        raise Unfit("things", say("What do they cancel? Tick at least one thing."))
    if not found.keys() >= set(typed.refs):
        raise Refused(say("One of these things was cancelled already, or cannot be. Please look again."))
    things, told = [], []
    for ref in dict.fromkeys(typed.refs):
        agreed, kept = found[ref]
        percent = rules.owed_percent(agreed, declared, typed.parts.get(ref, ""))
        whole = charge(balance.agreed_of(kept)) if kept else None
        owed = in_part(whole, percent).amounts.gross if whole else 0
        prices = (Price(whole.amounts.gross, whole.currency), Price(owed, whole.currency)) if whole else (None, None)
        things.append(Cancelled(agreed, kept, percent, owed))
        told.append(rules.consequence(agreed, percent, *prices))
    left = {each.kept.ref: each.percent for each in things if each.kept}
    after = balance.of(connection, ticket, policy, cancelled=left)
    by = rules.refund_by(declared.heard_on, policy.money.refund_days)
    settled = rules.settlement(Price(after.open_minor, after.currency), Price(after.credit_minor, after.currency), by)
    return Foreseen(declared, things, [*told, settled, rules.NO_ADVICE])


def cancel(
    desk: Desk,
    by: By,
    number: str,
    typed: Typed,
    *,
    confirmed: str = "",
    seen: int | None = None,
    deed_key: str | None = None,
) -> Outcome:
    """Write down that the customer cancelled. They are told what follows, and may object.

    `confirmed` is the mark of what was foreseen and shown; without it AskFirst says what would follow. Raises Unfit
    and Refused as `foresee` does.
    """
    entered: list[Foreseen] = []

    def decide(connection: Connection, ticket: Ticket, policy: Policy) -> Change:
        must_be_kept(connection, ticket)
        found = foresee(desk, connection, ticket, policy, typed)
        if confirmed != found.mark:
            raise AskFirst(*found.consequences)
        entered[:] = [found]
        return _change(found, policy)

    def then(connection: Connection, ticket: Ticket, now: datetime) -> None:
        balance.keep_account(connection, ticket, desk.policy(connection), now, heard_on=entered[0].declared.heard_on)
        kept_up_to_date(desk)(connection, ticket, now)
        tell.cancelled(connection, ticket, [each.agreed.ref for each in entered[0].things], now)

    return change_ticket(desk, by, number, decide, seen=seen, deed_key=deed_key, then=then)


def declare(desk: Desk, number: str, ref: str, who: str, *, deed_key: str | None = None) -> Outcome:
    """The customer cancels on the page, by name `who` as the page showed it. They are sent an acknowledgement at once.

    What can cost nothing is cancelled by that; else it counts from now on, and the bench says how much was done by
    then. Raises Refused for what cannot be cancelled (any more).
    """
    today: list[date] = []
    at_once: list[bool] = []

    def decide(connection: Connection, ticket: Ticket, policy: Policy) -> Change:
        must_be_kept(connection, ticket)
        found = {agreed.ref: (agreed, kept) for agreed, kept in _agreed(connection, ticket)}
        if ref not in found:
            raise Refused(say("This was cancelled already, or cannot be. Please look again."))
        agreed, kept = found[ref]
        today[:] = [local_day(desk.clock.now(), policy)]
        rules.must_be_open(agreed, today[0])
        at_once[:] = [kept is None or not agreed.asks_part]
        words = language(policy.shop.languages[0], policy.shop.zone).say(say("{who}, by the button", who=who))
        if kept is None or not agreed.asks_part:
            return _change(
                foresee(desk, connection, ticket, policy, Typed(how=How.PAGE, words=words, refs=[ref])), policy
            )

        def write(connection: Connection, ticket: Ticket, now: datetime) -> None:
            must_win(questions.change(connection, kept, {"cancelled_on": today[0], "owed_percent": None}))
            more = {"through": How.PAGE.value, "sent_on": today[0].isoformat(), "heard_on": today[0].isoformat()}
            prove_answer(connection, ticket, kept, "cancel declared", kept.question.chosen, now, more)

        return Change([Event("cancel_declared", {"question": ref})], text=words, audience="bench", write=write)

    def then(connection: Connection, ticket: Ticket, now: datetime) -> None:
        # What goes back is known once the part is; its day is counted from today all the same.
        heard_on = today[0] if at_once[0] else None
        balance.keep_account(connection, ticket, desk.policy(connection), now, heard_on=heard_on)
        kept_up_to_date(desk)(connection, ticket, now)
        tell.cancelled(connection, ticket, [ref], now, on_page=True)

    return with_retries(lambda: change_ticket(desk, CUSTOMER, number, decide, deed_key=deed_key, then=then))


def take_back(
    desk: Desk, by: By, number: str, ref: str, why: str, *, seen: int | None = None, deed_key: str | None = None
) -> Outcome:
    """A cancellation was entered by mistake, or what was pressed cannot be cancelled: it holds. The keeper's deed.

    The customer is told; why stays with the bench. Raises Unfit (field "why"), Refused for what was not cancelled.
    """
    reason = line("why", say("The reason"), why, limit=400, required=True)
    overruled: list[bool] = []

    def decide(connection: Connection, ticket: Ticket, _policy: Policy) -> Change:
        only_keeper(connection, by)
        must_be_kept(connection, ticket)
        kept = None if ref == START else of(connection, ticket, ref)
        day = kept.cancelled_on if kept else questions.terms_cancelled_on(connection, ticket.id)
        if day is None:
            raise Refused(say("This was not cancelled."))

        def write(connection: Connection, ticket: Ticket, now: datetime) -> None:
            if kept is None:
                questions.cancel_terms(connection, ticket.id, None)
                return
            must_win(questions.change(connection, kept, {"cancelled_on": None, "owed_percent": None}))
            prove_answer(connection, ticket, kept, "not cancelled", kept.question.chosen, now, {})

        overruled[:] = [kept is not None and kept.awaits_part]
        name = "cancel_overruled" if overruled[0] else "cancellation_taken_back"
        return Change([Event(name, {"question": ref})], text=reason, audience="bench", write=write)

    def then(connection: Connection, ticket: Ticket, now: datetime) -> None:
        kept_up_to_date(desk)(connection, ticket, now)
        tell.cancelled(connection, ticket, [ref], now, undone=True, overruled=overruled[0])

    return change_ticket(desk, by, number, decide, seen=seen, deed_key=deed_key, then=then)


def _agreed(connection: Connection, ticket: Ticket) -> list[tuple[Agreed, Kept | None]]:
    """What was agreed at a distance and not cancelled, each with its question; work within a limit as the limit was."""
    found: list[tuple[Agreed, Kept | None]] = []
    terms = questions.terms(connection, ticket.id)
    until, early = questions.may_begin(connection, ticket.id)
    if terms and until and not terms.charges and questions.terms_cancelled_on(connection, ticket.id) is None:
        found.append((Agreed(START, terms.words(), until, bool(early), begun=False), None))
    for kept in questions.agreed(connection, ticket.id):
        last, asked = (until, early) if kept.through == LIMIT else (kept.cancel_until, kept.begin_early)
        if last and (kept.cancelled_on is None or kept.awaits_part):
            begun = kept.question.work_started or kept.through == LIMIT or kept.kind == LOOKING
            what = kept.offer.option(kept.question.chosen or "").proposal
            found.append(
                (
                    Agreed(kept.ref, Sentence("{what}", {"what": what}), last, bool(asked), begun, kept.cancelled_on),
                    kept,
                )
            )
    return found


def _change(found: Foreseen, policy: Policy) -> Change:
    """What a cancellation writes, once it is entered."""

    def write(connection: Connection, ticket: Ticket, now: datetime) -> None:
        for each in found.things:
            _write(connection, ticket, each, found.declared, now)

    events = [_event(each, policy.shop.currency) for each in found.things]
    return Change(events, text=found.declared.words, audience="bench", write=write)


def _write(connection: Connection, ticket: Ticket, each: Cancelled, declared: Declaration, now: datetime) -> None:
    if each.kept is None:
        questions.cancel_terms(connection, ticket.id, declared.sent_on)
        return
    values: dict[str, object] = {"cancelled_on": declared.sent_on, "owed_percent": each.percent}
    must_win(questions.change(connection, each.kept, values))
    more: dict[str, object] = {
        "through": declared.how.value,
        "sent_on": declared.sent_on.isoformat(),
        "heard_on": declared.heard_on.isoformat(),
        "owed_percent": each.percent,
        "owed_minor": each.owed_minor,
    }
    prove_answer(connection, ticket, each.kept, "cancelled", each.kept.question.chosen, now, more)


def _event(each: Cancelled, currency: str) -> Event:
    owed = {"amount_minor": str(each.owed_minor), "currency": each.kept.offer.terms.currency if each.kept else currency}
    return Event("cancelled", {"question": each.agreed.ref} | owed)
