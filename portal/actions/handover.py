"""The end of a ticket: the device goes back to its owner, over the counter or as it came; and a mistake undone."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from functools import partial
from typing import Any

from sqlalchemy import Connection

from portal.actions import balance, collection_codes, tell
from portal.actions.desk import CUSTOMER, By, Change, Desk, Outcome, change_ticket
from portal.actions.ownership import must_be_unclaimed
from portal.actions.payments import kept_up_to_date
from portal.actions.people import is_keeper
from portal.language import language
from portal.rules import collection_code, giving_back, handing_over, signatures, stages
from portal.rules.afterwards import begins, link_ends
from portal.rules.handing_over import CHECKS, Proof
from portal.rules.policy import Policy
from portal.rules.refusals import Refused, Unfit, needs
from portal.rules.secrets import ask_about_secrets
from portal.rules.sentences import say
from portal.rules.stages import Event
from portal.rules.text import line, passage
from portal.rules.tokens import LinkKind
from portal.store import handovers, journal, records, tickets, visits, wishes
from portal.store.facts import facts
from portal.store.handovers import HandedOver
from portal.store.tickets import Ticket


@dataclass(frozen=True)
class Handed:
    """What is typed when a device goes over the counter.

    `code` is the customer's; without one `why` and `checked` (keys of `handing_over.CHECKS`) are needed. `items` are
    the places of the items handed in that go with it (None: nobody was asked), `missing` what became of the others,
    `unsettled` the keeper's word why it goes unpaid, `strokes` a signature.
    """

    code: str = ""
    why: str = ""
    checked: Sequence[str] = ()
    items: Sequence[int] | None = None
    missing: str = ""
    unsettled: str = ""
    tested: bool = False
    strokes: Any = None


def hand_over(
    desk: Desk,
    by: By,
    number: str,
    handed: Handed,
    *,
    confirmed: bool = False,
    seen: int | None = None,
    deed_key: str | None = None,
) -> Outcome:
    """Hand a finished device over at the counter, to whoever has the code, or without one as the policy lets.

    Raises Unfit (fields "code", "why", "checked", "missing", "unsettled", "strokes"); Refused from any stage but the
    last, while on hold or claimed by somebody else, or while that stage's gates are shut; AskFirst when they only warn.
    """
    fitted = _fitted(handed)
    if fitted.code:
        collection_codes.count_try(desk, number, seen, deed_key)

    def decide(connection: Connection, ticket: Ticket, policy: Policy) -> Change:
        as_keeper = is_keeper(connection, by)
        proof = _proof(desk, connection, ticket, policy, fitted, by, as_keeper=as_keeper)
        must_be_unclaimed(ticket)
        known = facts(connection, ticket, policy)
        events = stages.hand_over(ticket.standing, policy.stages, facts=known, confirmed=confirmed)
        handing_over.settled(owing_in_words(connection, ticket, policy), fitted.unsettled, is_keeper=as_keeper)
        left = _left_out(connection, ticket, fitted)

        def write(connection: Connection, ticket: Ticket, now: datetime) -> None:
            entry = ticket.revision + 1
            went = HandedOver(entry, proof, fitted.checked, left, fitted.missing, fitted.unsettled, fitted.tested)
            handovers.add(connection, ticket.id, went)
            if fitted.strokes is not None:
                wishes.sign(connection, ticket.id, entry, fitted.strokes, now)
            if proof is not Proof.WITHOUT:
                collection_codes.forget_tries(desk, connection, ticket)

        ended = Event("ended", {**events[0].data, "proof": proof.value})
        return Change([ended], text=fitted.why, audience="bench" if fitted.why else "customer", write=write)

    return change_ticket(desk, by, number, decide, seen=seen, deed_key=deed_key, then=partial(_handed_over, desk))


def return_unrepaired(
    desk: Desk,
    by: By,
    number: str,
    why: str,
    reason: str = "",
    *,
    confirmed: bool = False,
    seen: int | None = None,
    deed_key: str | None = None,
) -> Outcome:
    """Give a device back as it came, from any stage. The customer reads why: a usual reason, words, or both.

    `reason` is a key of `giving_back.REASONS`, or "". Raises Unfit (fields "reason", "why"), Refused as
    `stages.return_unrepaired` does, and for a device that somebody else claims, or for which something is to be paid;
    that the keeper is only asked about (AskFirst).
    """
    usual, words = giving_back.fit_reason(reason), passage("why", say("The reason"), why)

    def decide(connection: Connection, ticket: Ticket, policy: Policy) -> Change:
        must_be_unclaimed(ticket)
        known = facts(connection, ticket, policy)
        tag = visits.by_id(connection, ticket.visit_id).language
        told = [language(tag, policy.shop.zone).say(usual)] if usual else []
        text = "\n".join([*told, *([words] if words else [])])
        events = stages.return_unrepaired(ticket.standing, text, tray_settled=known.tray_settled)
        owing = _in_words(balance.as_it_came(connection, ticket, policy).open_minor, policy)
        handing_over.settled_as_it_came(owing, is_keeper=is_keeper(connection, by), confirmed=confirmed)
        return Change(events, text=text)

    return change_ticket(desk, by, number, decide, seen=seen, deed_key=deed_key, then=partial(gone, desk))


def undo(desk: Desk, by: By, number: str, why: str, *, seen: int | None = None, deed_key: str | None = None) -> Outcome:
    """Undo the end of a ticket that was a mistake, within the policy's minutes. The reason stays with the bench.

    Raises Unfit without a reason, Refused for a ticket that has not ended, or ended too long ago.
    """
    reason = passage("why", say("The reason"), why, required=True)
    now = desk.clock.now()

    def decide(_connection: Connection, ticket: Ticket, policy: Policy) -> Change:
        return Change(
            stages.reopen(ticket.standing, ticket.ended_at, now, policy.handover.undo_minutes),
            text=reason,
            audience="bench",
            columns={"delivered_on": None},
        )

    return change_ticket(desk, by, number, decide, seen=seen, deed_key=deed_key, then=partial(_here_again, desk))


def gone_wrong_again(
    desk: Desk, number: str, words: str, *, confirmed: bool = False, deed_key: str | None = None
) -> Outcome:
    """The customer says that a device has gone wrong again; the bench sees it. Raises Refused while it is here.

    Raises AskFirst for words that look like a secret, Unfit without any.
    """
    said = passage("again", say("What has gone wrong"), words, limit=1000, required=True)
    ask_about_secrets(said, confirmed=confirmed)

    def decide(_connection: Connection, ticket: Ticket, _policy: Policy) -> Change:
        if ticket.ending is None:
            raise Refused(say("This device is still here. Please write to the shop or ring."))
        return Change([Event("gone_wrong_again")], text=said)

    return change_ticket(desk, CUSTOMER, number, decide, deed_key=deed_key)


def gone(desk: Desk, connection: Connection, ticket: Ticket, now: datetime) -> None:
    """A device has left: tell the customer, and say how long their page stays."""
    set_link_end(desk, connection, ticket.visit_id)
    kept_up_to_date(desk)(connection, ticket, now)
    tell.ended(connection, ticket, now)


def _handed_over(desk: Desk, connection: Connection, ticket: Ticket, now: datetime) -> None:
    """It went over the counter; where nobody showed a code, its owner hears of that at once."""
    went = handovers.newest(connection, ticket.id)
    set_link_end(desk, connection, ticket.visit_id)
    kept_up_to_date(desk)(connection, ticket, now)
    tell.ended(connection, ticket, now, without_code=went is not None and went.proof is Proof.WITHOUT)


def _here_again(desk: Desk, connection: Connection, ticket: Ticket, now: datetime) -> None:
    """It is here again: its page stays, and whoever was told otherwise is told so.

    A code that was used is spent, so whoever held it is told the new one.
    """
    set_link_end(desk, connection, ticket.visit_id)
    balance.withdraw_statement(connection, ticket, now)
    balance.keep_account(connection, ticket, desk.policy(connection), now)
    ended = [entry for entry in journal.entries(connection, ticket.id) if entry.event == "ended"][-1]
    spent = ended.data.get("proof") in (Proof.CODE, Proof.STUB)
    tell.reopened(connection, ticket, ended.entry, now, to_all=spent)


def set_link_end(desk: Desk, connection: Connection, visit_id: int) -> None:
    """Say anew how long a visit's page stays, which is as long as a device is here, and then its warranty."""
    policy = desk.policy(connection)
    zone = policy.shop.zone
    endings = [
        (each.ending, begins(each.ended_at, each.delivered_on, zone) if each.ended_at else None)
        for each in tickets.of_visit(connection, visit_id)
    ]
    visits.end_link_at(connection, visit_id, link_ends(endings, policy.warranty.months, zone))


def owing_in_words(connection: Connection, ticket: Ticket, policy: Policy) -> str:
    """What is still to be paid, in the shop's own words, or ""."""
    return _in_words(balance.owing(connection, ticket, policy), policy)


def _in_words(minor: int, policy: Policy) -> str:
    """An amount in the shop's own words, or "" for none."""
    shop = policy.shop
    return language(shop.languages[0], shop.zone).money(minor, shop.currency) if minor > 0 else ""


def _fitted(handed: Handed) -> Handed:
    unknown = sorted(set(handed.checked) - CHECKS.keys())
    if unknown:
        raise Unfit("checked", say("There is nothing like “{name}” on the list.", name=unknown[0]))
    return Handed(
        code=handed.code.strip(),
        why=passage("why", say("The reason"), handed.why, limit=400),
        checked=[key for key in CHECKS if key in handed.checked],
        items=handed.items,
        missing=line("missing", say("What became of the rest"), handed.missing, limit=400),
        unsettled=line("unsettled", say("The keeper’s word"), handed.unsettled, limit=400),
        tested=handed.tested,
        strokes=signatures.strokes(handed.strokes) if handed.strokes is not None else None,
    )


def _proof(
    desk: Desk,
    connection: Connection,
    ticket: Ticket,
    policy: Policy,
    handed: Handed,
    by: By,
    *,
    as_keeper: bool,
) -> Proof:
    """What shows that it is the right person. A code that is wrong is wrong, whatever else is said beside it."""
    if handed.code:
        holders = collection_codes.holders(connection, ticket, policy)
        holder = collection_code.opening(desk.links.secret, handed.code, holders, ticket.ref)
        if holder is None:
            raise Unfit("code", handing_over.WRONG_CODE)
        return Proof.STUB if holder.kind is LinkKind.DOCKET else Proof.CODE
    if by.kind != "command":
        may = as_keeper or policy.handover.bench_without_code
        handing_over.without_code(handed.why, handed.checked, may=may)
    elif not handed.why:
        raise needs("why", say("The reason why there is no code"))
    return Proof.WITHOUT


def _left_out(connection: Connection, ticket: Ticket, handed: Handed) -> list[str]:
    version = records.newest(connection, ticket.id)
    items = version.record.items if version else ()
    if handed.items is None or not items:
        return []
    out = handing_over.left_out(items, handed.items, handed.missing)
    return [f"{items[place].count} × {items[place].what}" for place in out]
