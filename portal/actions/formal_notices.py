"""The formal path for a device that nobody collects: letters made, posted and taken back, and what came of it.

Nothing is sold, disposed of or decided here. The keeper writes down what was done, after taking advice.
"""

from __future__ import annotations

import logging
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime
from functools import partial

from sqlalchemy import Connection

from portal.actions import pauses, photos
from portal.actions.desk import By, Change, Desk, NotFound, Outcome, change_ticket
from portal.actions.formal_path import NO_LETTER, Standing, checked, standing, suggested
from portal.actions.handover import gone
from portal.actions.ownership import must_be_unclaimed
from portal.actions.people import is_keeper
from portal.language import language
from portal.pictures.limits import Clean
from portal.pictures.worker import clean_in_child
from portal.rules import formal_notices as rules
from portal.rules import stages
from portal.rules.days import local_day, read_day
from portal.rules.formal_notices import PACKS, Because, Case, Kind, Letter
from portal.rules.money import parse_amount
from portal.rules.policy import Policy
from portal.rules.refusals import Refused, Unfit
from portal.rules.retention import Kept as Data
from portal.rules.sentences import say
from portal.rules.stages import Event
from portal.rules.text import line, passage
from portal.store import formal_notices, house, keeping
from portal.store import photos as photo_rows
from portal.store.formal_notices import Kept
from portal.store.keeping import Pause
from portal.store.photo_files import PhotoFiles
from portal.store.tickets import Ticket

log = logging.getLogger(__name__)
# What the letters, their proof, the log of attempts and the account of the sale are part of.
KEPT_AFTER_A_SALE = (Data.CONTACT, Data.POST_ADDRESS, Data.DEVICE, Data.RECORD, Data.PHOTO)


@dataclass(frozen=True)
class Typed:
    """What the keeper types for a letter. `owed` counts only where no account is kept here; days as 2026-12-08."""

    recipient: str = ""
    address: str = ""
    goods: str = ""
    held_at: str = ""
    owed: str = ""
    owed_for: str = ""
    post_on: str = ""
    sell_from: str = ""
    satisfied: bool = False
    was_due: bool = False
    checked: bool = False  # the pack was checked against the law, as it must be before the first letter


def make(
    desk: Desk, by: By, number: str, kind: str, typed: Typed, *, seen: int | None = None, deed_key: str | None = None
) -> Outcome:
    """Write a letter, to be printed and posted by recorded post. It has no effect before that.

    Raises Unfit for a field that does not fit, Refused with everything that is missing or stands against it, for
    anybody but the keeper, and while a letter of this kind stands already.
    """
    wanted = _kind(kind)
    now = desk.clock.now()

    def decide(connection: Connection, ticket: Ticket, policy: Policy) -> Change:
        _must_be_keeper(connection, by)
        pack = PACKS[policy.collection.law]
        if pack is None:
            raise Refused(rules.NO_PATH)
        stages.must_be_here(ticket.standing)
        today = local_day(now, policy)
        found = standing(connection, ticket, policy)
        _none_stands(wanted, found)
        owed = _owed(found.case, typed.owed, policy)
        asked = replace(found.case, owed_minor=owed, satisfied=typed.satisfied, was_due=typed.was_due)
        rules.may_be_written(asked, wanted, policy.formal, today)
        letter = _letter(connection, ticket, policy, typed, owed)
        rules.complete(pack, wanted, replace(letter, sell_from=today))  # the day follows from the rest
        sell_from = _sale_day(wanted, typed, policy, today, is_owed=bool(owed))
        was_checked = house.when(connection, checked(pack)) is not None
        if not was_checked and not typed.checked:
            raise Unfit("checked", say("Please check the particulars below against the law first, and say so."))
        revision = desk.shelf.read(connection)[0]

        def write(connection: Connection, ticket: Ticket, now: datetime) -> None:
            if not was_checked:
                house.remember(connection, checked(pack), now)
                log.info("the pack of a law was checked by account %s", by.staff_id)
            formal_notices.add(
                connection,
                {
                    "ticket_id": ticket.id,
                    "kind": wanted.value,
                    "entry": ticket.revision + 1,
                    "policy_revision": revision,
                    "made_on": today,
                    "recipient": letter.recipient,
                    "address": letter.address,
                    "goods": letter.goods,
                    "held_at": letter.held_at,
                    "ready_on": letter.ready_on,
                    "owed_minor": owed,
                    "owed_for": line("owed_for", say("What it is for"), typed.owed_for, limit=400),
                    "sell_from": sell_from,
                    "satisfied": typed.satisfied,
                    "was_due": typed.was_due,
                },
            )

        return Change([Event("formal_notice_made", {"notice": wanted.value})], audience="bench", write=write)

    return change_ticket(desk, by, number, decide, seen=seen, deed_key=deed_key)


def post(
    desk: Desk,
    files: PhotoFiles,
    by: By,
    number: str,
    notice_id: int,
    posted_on: str,
    reference: str,
    *,
    photo: bytes = b"",
    seen: int | None = None,
    deed_key: str | None = None,
) -> Outcome:
    """Enter that a letter went by recorded post, with a photo of the proof or without. Then no reminder follows.

    Raises Unfit (fields "posted_on", "reference") for a day that cannot be and for no reference, Refused for a letter
    that was posted or taken back, or that something has stopped since it was made; as `photos.add` for the photo.
    """
    sent_as = line("reference", say("The reference of the recorded post"), reference, limit=60, required=True)
    if not photo:
        return _post(desk, by, number, notice_id, posted_on, sent_as, seen, deed_key)
    cleaned = clean_in_child(photo)
    return photos.with_files(
        desk,
        files,
        cleaned,
        lambda ref: _post(desk, by, number, notice_id, posted_on, sent_as, seen, deed_key, ref, cleaned),
    )


def take_back(
    desk: Desk,
    by: By,
    number: str,
    notice_id: int,
    because: str,
    words: str = "",
    *,
    seen: int | None = None,
    deed_key: str | None = None,
) -> Outcome:
    """A letter counts no more: it was paid, it was wrong, or something else was agreed. Reminders go on.

    Raises Unfit (field "because"), Refused for one that was taken back, and for anybody but the keeper.
    """
    why = _because(because)
    text = passage("words", say("What else there is to say"), words, limit=400)

    def decide(connection: Connection, ticket: Ticket, _policy: Policy) -> Change:
        _must_be_keeper(connection, by)
        letters = formal_notices.of_ticket(connection, ticket.id)
        found = _one(letters, notice_id)
        others = [each for each in letters if each.posted_on and not each.taken_back and each.id != found.id]

        def write(connection: Connection, _ticket: Ticket, _now: datetime) -> None:
            formal_notices.take_back(connection, found.id)

        event = Event(
            "formal_notice_withdrawn",
            {"notice": found.kind.value, "letter": str(found.entry), "taken_back_since": why.value},
        )
        columns: dict[str, object] = {} if others else {"notice_at": None, "remind_at": None}
        return Change([event], text=text, audience="bench", columns=columns, write=write)

    return change_ticket(desk, by, number, decide, seen=seen, deed_key=deed_key)


def untraced(
    desk: Desk,
    by: By,
    number: str,
    words: str,
    *,
    satisfied: bool,
    seen: int | None = None,
    deed_key: str | None = None,
) -> Outcome:
    """The owner cannot be traced: which steps were taken, in the keeper's words. Raises Unfit without any."""
    steps = passage("words", say("Which steps were taken, and when"), words, required=True)

    def decide(connection: Connection, ticket: Ticket, policy: Policy) -> Change:
        _must_be_keeper(connection, by)
        if PACKS[policy.collection.law] is None:
            raise Refused(rules.NO_PATH)
        stages.must_be_here(ticket.standing)
        event = Event("owner_untraced", {"satisfied": "yes" if satisfied else "no"})
        return Change([event], text=steps, audience="bench")

    return change_ticket(desk, by, number, decide, seen=seen, deed_key=deed_key)


def traced(desk: Desk, by: By, number: str, *, seen: int | None = None, deed_key: str | None = None) -> Outcome:
    """The owner was found after all. Raises Refused where nobody said otherwise."""

    def decide(connection: Connection, ticket: Ticket, policy: Policy) -> Change:
        _must_be_keeper(connection, by)
        if not standing(connection, ticket, policy).case.untraced:
            raise Refused(say("Nobody has said that the owner cannot be traced."))
        return Change([Event("owner_traced")], audience="bench")

    return change_ticket(desk, by, number, decide, seen=seen, deed_key=deed_key)


@dataclass(frozen=True)
class Sold:
    """What the keeper writes down after a sale by law. Amounts as typed, in the shop's currency."""

    on: str
    proceeds: str
    costs: str
    advice: str  # who advised, or which court authorised it
    rest: str  # where what is due to the owner lies


def write_down_sale(
    desk: Desk, by: By, number: str, sold: Sold, *, seen: int | None = None, deed_key: str | None = None
) -> Outcome:
    """The keeper writes down that the device was sold by law; the ticket ends. What is due to the owner is reckoned.

    Raises Unfit for a field that does not fit, Refused with every condition that is still open.
    """
    advice = passage("advice", say("Who advised, or which court"), sold.advice, limit=400, required=True)
    rest = passage("rest", say("Where the owner’s money lies"), sold.rest, limit=400, required=True)
    now = desk.clock.now()

    def decide(connection: Connection, ticket: Ticket, policy: Policy) -> Change:
        _must_be_keeper(connection, by)
        must_be_unclaimed(ticket)
        today = local_day(now, policy)
        case = standing(connection, ticket, policy).case
        step = rules.sale(case, policy.formal, today)
        if step is None:
            raise Refused(rules.NO_PATH)
        if step.open:
            raise Refused(*(say("Not met yet: {condition}", condition=each) for each in step.open))
        day = read_day("on", sold.on)
        first = step.earliest or local_day(ticket.stage_since, policy)
        if not first <= day <= today:
            raise Unfit("on", say("The day of the sale lies between {first} and today.", first=first))
        proceeds, costs = (
            parse_amount(name, what, typed, policy.shop.currency)
            for name, what, typed in (
                ("proceeds", say("The proceeds"), sold.proceeds),
                ("costs", say("The costs of the sale"), sold.costs),
            )
        )
        owed = case.sell.owed_minor if case.sell else 0
        event = Event(
            "sold_by_law",
            {
                "day": day.isoformat(),
                "currency": policy.shop.currency,
                "amount_minor": str(proceeds),
                "due_minor": str(max(proceeds - costs - owed, 0)),
            },
        )

        def write(connection: Connection, ticket: Ticket, now: datetime) -> None:
            """Whoever comes later to ask what became of it is shown the letters, the log and the account."""
            why = say("Sold by law on {day}: it shows how its owner was written to, and what they are due.", day=day)
            reason = language(policy.shop.languages[0], policy.shop.zone).say(why)
            for kept in KEPT_AFTER_A_SALE:
                pause = Pause(kept, reason, today + pauses.LONGEST)
                keeping.pause(connection, ticket.visit_id, pause, by.staff_id, now)

        ends = [event, *stages.dispose(ticket.standing)]
        return Change(ends, text=f"{advice}\n{rest}", audience="bench", write=write)

    return change_ticket(desk, by, number, decide, seen=seen, deed_key=deed_key, then=partial(gone, desk))


def _post(
    desk: Desk,
    by: By,
    number: str,
    notice_id: int,
    posted_on: str,
    reference: str,
    seen: int | None,
    deed_key: str | None,
    ref: str = "",
    cleaned: Clean | None = None,
) -> Outcome:
    now = desk.clock.now()

    def decide(connection: Connection, ticket: Ticket, policy: Policy) -> Change:
        _must_be_keeper(connection, by)
        stages.must_be_here(ticket.standing)
        now_so = standing(connection, ticket, policy)
        found = _one(now_so.letters, notice_id)
        if found.posted_on:
            raise Refused(say("This letter is entered as posted on {day} already.", day=found.posted_on))
        if found.id in now_so.stops:
            raise Refused(say("This letter counts no more: {why}. Do not post it.", why=now_so.stops[found.id]))
        if now_so.case.is_disputed:
            raise Refused(say("This letter counts no more: {why}. Do not post it.", why=say("the owner disputes it")))
        today = local_day(now, policy)
        day = rules.fit_posting(posted_on, found.notice, policy.formal, today)

        def write(connection: Connection, ticket: Ticket, now: datetime) -> None:
            formal_notices.posted(connection, found.id, day, reference, ref or None)
            if cleaned:
                values = photos.row(ref, ticket, cleaned, now)
                caption = reference[:60]
                photo_rows.add(connection, values | {"moment": "other", "audience": "bench", "caption": caption})

        events = [Event("formal_notice_posted", {"notice": found.kind.value, "day": day.isoformat()})]
        if cleaned:
            events.append(Event("photographed", {"photo": ref, "moment": "other"}))
        return Change(events, audience="customer", columns={"notice_at": now}, write=write)

    return change_ticket(desk, by, number, decide, seen=seen, deed_key=deed_key)


def _letter(connection: Connection, ticket: Ticket, policy: Policy, typed: Typed, owed: int | None) -> Letter:
    known = suggested(connection, ticket, policy, owed)
    return replace(
        known,
        recipient=line("recipient", say("The owner’s name"), typed.recipient),
        address=passage("address", say("The owner’s address"), typed.address, limit=400),
        goods=line("goods", say("Which goods they are"), typed.goods, limit=400),
        held_at=line("held_at", say("Where they are held"), typed.held_at, limit=400),
    )


def _owed(case: Case, typed: str, policy: Policy) -> int | None:
    """What is owed: by the account kept here, or else as typed; None where neither says."""
    if case.owed_minor is not None or not typed.strip():
        return case.owed_minor
    return parse_amount("owed", say("What is owed"), typed, policy.shop.currency)


def _sale_day(kind: Kind, typed: Typed, policy: Policy, today: date, *, is_owed: bool) -> date | None:
    if kind is not Kind.SELL:
        return None
    post_on = read_day("post_on", typed.post_on) if typed.post_on.strip() else today
    if post_on < today:
        raise Unfit("post_on", say("The day of posting is over. Choose today, or a day to come."))
    return rules.fit_sale_day(typed.sell_from, post_on, policy.formal, is_owed=is_owed)


def _none_stands(kind: Kind, found: Standing) -> None:
    for kept in found.letters:
        if kept.kind is kind and not kept.taken_back and kept.id not in found.stops:
            raise Refused(say("There is such a letter already, made on {day}. Take it back first.", day=kept.made_on))


def _one(letters: Sequence[Kept], notice_id: int) -> Kept:
    for kept in letters:
        if kept.id == notice_id:
            if kept.taken_back:
                raise Refused(say("This letter was taken back."))
            return kept
    raise NotFound(NO_LETTER)


def _kind(typed: str) -> Kind:
    if typed not in list(Kind):
        raise Unfit("kind", say("Choose which letter it is."))
    return Kind(typed)


def _because(typed: str) -> Because:
    if typed not in list(Because):
        raise Unfit("because", say("Choose why it is taken back."))
    return Because(typed)


def _must_be_keeper(connection: Connection, by: By) -> None:
    if not is_keeper(connection, by):
        raise Refused(say("Formal notices are the keeper’s."))
