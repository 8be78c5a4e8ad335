"""Taking over a shop's past from a spreadsheet: all of it or nothing, told to nobody."""

from __future__ import annotations

import base64
import csv
import hashlib
import io
from collections.abc import Sequence

from sqlalchemy import Connection

from portal.actions.desk import By, Change, Desk, done_before, must_still_hold, standing_columns, write_events
from portal.actions.intake import NewVisit, add_visit
from portal.rules.afterwards import link_ends
from portal.rules.past import Past
from portal.rules.policy import Policy
from portal.rules.refusals import Refused
from portal.rules.sentences import say
from portal.rules.stages import Event, Standing, apply
from portal.rules.tokens import new_ref
from portal.store import search, tickets, visits, windows

MOST_BYTES = 50_000_000
_DELIMITERS = ",;\t|"


def read_table(content: bytes) -> tuple[list[str], list[tuple[int, dict[str, str]]]]:
    """The headings of a spreadsheet's text file, and its rows as (line, heading → cell). Raises Refused.

    Read as UTF-8 or UTF-16 where it says so or fits, else as Windows-1252; the delimiter is found out.
    """
    if len(content) > MOST_BYTES:
        raise Refused(say("The file is too large. At most {most} MB can be read.", most=MOST_BYTES // 1_000_000))
    text = _decoded(content)
    try:
        dialect: type[csv.Dialect] | csv.Dialect = csv.Sniffer().sniff(text[:10_000], _DELIMITERS)
    except csv.Error:
        dialect = csv.excel  # one column only, or the first rows disagree
    reader = csv.DictReader(io.StringIO(text, newline=""), dialect=dialect)
    try:
        headings = [heading.strip() for heading in reader.fieldnames or () if heading and heading.strip()]
        rows = [(reader.line_num, {str(key).strip(): str(cell or "") for key, cell in row.items()}) for row in reader]
    except csv.Error as fault:
        line = say("Line {line} cannot be read ({fault}).", line=reader.line_num, fault=str(fault))
        raise Refused(line) from None
    if not headings or not rows:
        raise Refused(
            say("There is nothing to read: the first line must name the columns, the others are the repairs.")
        )
    return headings, rows


def take_over(desk: Desk, by: By, repairs: Sequence[Past], file: bytes) -> int:
    """Write all repairs in one transaction and tell how many. No message goes out.

    Raises Refused for a file whose repairs were taken over before, with nothing written.
    """
    with desk.writing() as connection:
        policy = desk.policy(connection)
        for repair in repairs:
            key = base64.urlsafe_b64encode(hashlib.sha256(file + b"|%d" % repair.line).digest()).decode()[:32]
            if number := done_before(connection, key):
                raise Refused(
                    say(
                        "This file was taken over before: its line {line} is {number}.", line=repair.line, number=number
                    )
                )
            _write(desk, connection, by, repair, policy, key)
        windows.forget_learned(connection)  # there is a past to learn from now
        must_still_hold(desk, connection, policy)
    return len(repairs)


def _write(desk: Desk, connection: Connection, by: By, repair: Past, policy: Policy, key: str) -> None:
    whose = NewVisit(name=repair.name, email=repair.email, phone=repair.phone)
    ref = add_visit(desk, connection, whose, policy, repair.received)
    visit = visits.by_ref(connection, ref)
    if visit is None:
        raise RuntimeError("The visit just written cannot be read.")
    known = "stages" if repair.stages_known else "ends"
    happened = [
        (repair.received, Event("taken_over", {"known": known})),
        (repair.received, Event("arrived", {"stage": policy.stages[0].key})),
        *((at, Event("moved", {"stage": stage})) for stage, at in repair.moves),
    ]
    if repair.ending and repair.ended:
        happened.append((repair.ended, Event("ended", {"ending": repair.ending.value})))
    values: dict[str, object] = {"stage_since": repair.received}
    standing = Standing()
    for at, event in happened:
        values |= standing_columns(standing, [event], at)
        standing = apply(standing, event)
    ticket_id = tickets.add(
        connection,
        {
            "ref": new_ref(desk.chooser),
            "number": tickets.new_number(connection, desk.chooser),
            "visit_id": visit.id,
            "kind": repair.kind,
            "device": repair.device,
            "fault": repair.fault,
            "made_at": repair.received,
            "revision": len(happened),
        }
        | values,
    )
    for place, (at, event) in enumerate(happened):
        write_events(connection, by, ticket_id, place, Change([event]), at, key if place == 0 else None)
    search.put(connection, ticket_id, repair.name, repair.phone, repair.device)
    if repair.ending:
        ends_at = link_ends([(repair.ending, repair.ended)], policy.warranty.months, policy.shop.zone)
        visits.end_link_at(connection, visit.id, ends_at)


def _decoded(content: bytes) -> str:
    for encoding in ("utf-16",) if content[:2] in (b"\xff\xfe", b"\xfe\xff") else ("utf-8-sig", "cp1252"):
        try:
            return content.decode(encoding)
        except UnicodeDecodeError:
            continue
    raise Refused(say("The file is not a text that can be read. Save it from the spreadsheet as CSV (UTF-8)."))
