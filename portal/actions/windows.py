"""Ready windows: reckoned from what was learned of the past, kept, and put right when something happens.

What the past tells is learned anew each night. A window is made again when its ticket changes and with each new day;
whoever moves a device does it at once, and the clock finds the rest.
"""

from __future__ import annotations

from datetime import datetime, time
from functools import partial
from zoneinfo import ZoneInfo

from sqlalchemy import Connection

from portal.actions import tell
from portal.actions.desk import By, Change, Desk, Outcome, change_ticket
from portal.actions.shelf import day
from portal.rules.backtest import trust
from portal.rules.days import local_day
from portal.rules.forecast import Past, Step, calendar_of, forecasts, learn, spells
from portal.rules.hours import at_wall_time
from portal.rules.open_time import calendar_around
from portal.rules.policy import Policy
from portal.rules.refusals import Refused
from portal.rules.sentences import say
from portal.rules.stages import Event
from portal.rules.windows import Outlook, Why, fit_promise, fit_reason, must_be_under_way, outlook, will_be_missed
from portal.store import courses, policies, visits, windows
from portal.store.tickets import Ticket
from portal.store.windows import Kept, Learned, Waiting

BATCH = 50  # tickets in one transaction
NEWEST = 10_000  # so many tickets back the past is read; the newest spells speak anyway
HALF, MOST = 0.5, 0.8


def sweep(desk: Desk, now: datetime) -> tuple[int, int]:
    """Learn where it is time to, and make every window that is due: (devices looked at, windows made or ended)."""
    known, over = _learn_if_due(desk, now)
    looked_at = made = 0
    while _is_any_due(desk, known, now):
        with desk.writing() as connection:
            policy = desk.policy(connection)
            last_stage = policy.stages[-1].key
            over += windows.forget_over(connection, last_stage)
            found = windows.due(connection, last_stage, _good_since(known, policy, now), BATCH)
            past = windows.past(connection, known, {(_state(each), each.kind) for each in found})
            for each in found:
                _renew(connection, each, known, past, policy, now)
        looked_at += len(found)
        made += len(found)
    return looked_at + over, made + over


def renew(desk: Desk, connection: Connection, ticket_id: int, now: datetime) -> None:
    """Make a ticket's window anew within a deed that changed it. Nothing before the past was learned once."""
    known = windows.what_was_learned(connection)
    if known is None:
        return
    policy = desk.policy(connection)
    found = windows.waiting(connection, ticket_id, policy.stages[-1].key)
    if found is None:
        windows.forget(connection, ticket_id)
        return
    past = windows.past(connection, known, {(_state(found), found.kind)})
    _renew(connection, found, known, past, policy, now)


def promise(
    desk: Desk,
    by: By,
    number: str,
    *,
    promised_on: str = "",
    seen: int | None = None,
    deed_key: str | None = None,
) -> Outcome:
    """Promise by hand the day by which a device will be ready (ISO); it stands on its owner's page as the shop's word.

    Raises Unfit for a day that is none or over, Refused for a device that is not here or ready.
    """
    wanted = day("promised_on", promised_on)

    def decide(_connection: Connection, ticket: Ticket, policy: Policy) -> Change:
        must_be_under_way(ticket.stage, ticket.ending is not None, policy.stages[-1].key)
        today = local_day(desk.clock.now(), policy)
        fit = fit_promise(wanted, today)
        if ticket.promised_on == fit:
            raise Refused(say("That day is promised already."))
        return Change([Event("promised", {"day": fit.isoformat()})], columns={"promised_on": fit})

    return change_ticket(desk, by, number, decide, seen=seen, deed_key=deed_key, then=partial(_then_renew, desk))


def tell_moved(
    desk: Desk, by: By, number: str, *, because: str = "", seen: int | None = None, deed_key: str | None = None
) -> Outcome:
    """Tell the customer that it takes longer than they reckon with: a reason of the list, and the new window.

    A day that was promised is no longer the shop's word. Where customers are shown no windows, they are told none.
    Raises Unfit for no such reason; Refused while the day that they know of will probably be kept: so they hear of one
    miss once.
    """
    reason = fit_reason(because)

    def decide(connection: Connection, ticket: Ticket, policy: Policy) -> Change:
        must_be_under_way(ticket.stage, ticket.ending is not None, policy.stages[-1].key)
        kept = windows.of_ticket(connection, ticket.id)
        if kept is None or kept.moved_since is None:
            raise Refused(say("The day that the customer reckons with still holds, or they were told already."))
        first, last = kept.read
        data = {"because": reason}
        if first and last:
            data |= {"first": first.isoformat(), "last": last.isoformat()}

        def write(connection: Connection, ticket: Ticket, _now: datetime) -> None:
            windows.was_told(connection, ticket.id, last)

        return Change([Event("window_moved", data)], columns={"promised_on": None}, write=write)

    def then(connection: Connection, ticket: Ticket, now: datetime) -> None:
        tell.window_moved(connection, ticket, now)
        renew(desk, connection, ticket.id, now)

    return change_ticket(desk, by, number, decide, seen=seen, deed_key=deed_key, then=then)


def _then_renew(desk: Desk, connection: Connection, ticket: Ticket, now: datetime) -> None:
    renew(desk, connection, ticket.id, now)


def _is_any_due(desk: Desk, known: Learned, now: datetime) -> bool:
    """Whether a window is to be made or ended; most minutes none is, and nothing is written."""
    with desk.reading() as connection:
        policy = desk.policy(connection)
        return windows.is_any_due(connection, policy.stages[-1].key, _good_since(known, policy, now))


def _good_since(known: Learned, policy: Policy, now: datetime) -> datetime:
    """A window that was made before this moment is made anew."""
    return max(_midnight(policy, now), known.at)


def _learn_if_due(desk: Desk, now: datetime) -> tuple[Learned, int]:
    """What is known, learned anew with a new day of the shop's or a new policy; and how many things that changed."""
    with desk.reading() as connection:
        policy, revision = desk.policy(connection), policies.newest(connection)
        known = windows.what_was_learned(connection)
        if known and known.policy_revision == revision and _midnight(policy, now) <= known.at <= now:
            return known, 0
        found = list(courses.all_courses(connection, [stage.key for stage in policy.stages], NEWEST).values())
    calendar = calendar_of(policy, found, now)
    past = learn(spells(found, now, calendar))
    judged = trust(found, calendar, now)
    finished = sum(way.ready_at is not None for way in found)
    known = Learned(
        now,
        revision,
        finished,
        past.counts,
        judged.came_out,
        judged.cases,
        judged.coverage,
        judged.held,
    )
    with desk.writing() as connection:
        windows.keep_learned(connection, known, past)
    return known, 1


def _renew(connection: Connection, found: Waiting, known: Learned, past: Past, policy: Policy, now: datetime) -> None:
    said = _reckoned(found, known, past, policy, now)
    before = found.kept
    window, half = said.window, said.half
    told_last = before.told_last if before else None
    if told_last is None and said.why is Why.SHOWN and window:
        told_last = window.last
    late = will_be_missed(said, found.promised_on, told_last, local_day(now, policy))
    kept = Kept(
        ticket_id=found.ticket_id,
        made_at=now,
        made_for=found.revision,
        why=said.why,
        found=said.found,
        needed=said.needed,
        first=window.first if window else None,
        last=window.last if window else None,
        half_first=half.first if half else None,
        half_last=half.last if half else None,
        median=window.median if window else None,
        told_last=told_last,
        moved_since=((before.moved_since if before else None) or now) if late else None,
    )
    windows.keep(connection, kept)
    if kept.read != (before.read if before else (None, None)):  # what the customer's page shows has changed
        visits.touch(connection, found.visit_id)


def _reckoned(found: Waiting, known: Learned, past: Past, policy: Policy, now: datetime) -> Outlook:
    calendar = calendar_around(policy, now)
    step = Step(found.since, found.stage, found.hold)
    window, half = forecasts(past, step, found.kind, now, calendar, (MOST, HALF))
    return outlook(
        window,
        half,
        finished=known.finished,
        needed=policy.forecast.finished_needed,
        held=known.held,
        shown=policy.forecast.shown,
    )


def _state(found: Waiting) -> str:
    return Step(found.since, found.stage, found.hold).state


def _midnight(policy: Policy, now: datetime) -> datetime:
    zone = ZoneInfo(policy.shop.zone)
    return at_wall_time(now.astimezone(zone).date(), time(), zone)
