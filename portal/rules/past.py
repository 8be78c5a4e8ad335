"""A shop's past from a spreadsheet: what its columns mean, how its dates are written, which rows can be believed.

Of a repair that is over only its kind and its dates are read, and the device: whom it belonged to has no purpose any
more (GDPR Art. 5(1)(c)). Everything wrong with a file is told at once, each row by its line.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, time
from itertools import pairwise
from typing import Literal, get_args
from zoneinfo import ZoneInfo

from portal.rules.contact import email, phone
from portal.rules.days import local_day
from portal.rules.hours import open_spans
from portal.rules.policy import Kind, Policy
from portal.rules.refusals import Refused
from portal.rules.sentences import Sentence, say
from portal.rules.stages import Ending
from portal.rules.text import line, passage

Order = Literal["dmy", "mdy", "ymd"]
ORDERS: tuple[Order, ...] = get_args(Order)
FIELDS = ("received", "ready", "ended", "ending", "device", "kind", "fault", "name", "email", "phone")
STAGE = "stage."  # before a stage's key: the day on which the device came to that stage
EARLIEST = date(1990, 1, 1)  # no list of a shop's is older; what says so is a slip of the pen


@dataclass(frozen=True)
class Columns:
    """What the shop said of its spreadsheet: which heading holds what, and the order of its dates."""

    headings: Mapping[str, str]  # field → heading
    dates: Order = "dmy"


@dataclass(frozen=True)
class Past:
    """One repair of the past. `moves` are (stage, moment) in order, after `received`; moments are UTC."""

    line: int
    device: str
    kind: str
    fault: str
    received: datetime
    moves: tuple[tuple[str, datetime], ...]
    ending: Ending | None
    ended: datetime | None
    stages_known: bool  # whether the days between the stages were in the list, not only the first and the last
    name: str = ""
    email: str = ""
    phone: str = ""


@dataclass(frozen=True)
class Fault:
    """What is wrong with a row; `line` is the file's, as an editor counts."""

    line: int
    reason: Sentence


def matched(found: Sequence[str], said: Mapping[str, str], policy: Policy) -> dict[str, str]:
    """Field → heading: those that were said, and those whose heading is the field's own name.

    Raises Refused with everything that does not fit: a strange field, a heading that is not there, no day of arrival.
    """
    allowed = [*FIELDS, *(f"{STAGE}{stage.key}" for stage in policy.stages[1:])]
    by_name = {heading.strip().casefold(): heading for heading in found}
    wrong = [
        say("“{field}” is nothing that can be read. Allowed: {allowed}.", field=field, allowed=", ".join(allowed))
        for field in said
        if field not in allowed
    ]
    wrong += [
        say("There is no column “{heading}”. There are: {found}.", heading=heading, found=", ".join(found))
        for heading in said.values()
        if heading.strip().casefold() not in by_name
    ]
    if wrong:
        raise Refused(*wrong)
    headings = {field: by_name[field] for field in allowed if field in by_name}
    headings |= {field: by_name[heading.strip().casefold()] for field, heading in said.items()}
    if "received" not in headings:
        raise Refused(
            say(
                "Which column holds the day of arrival? Say it like this: --column “received=Date in”. "
                "There are: {found}.",
                found=", ".join(found),
            )
        )
    return headings


def read_rows(
    rows: Iterable[tuple[int, Mapping[str, str]]], columns: Columns, policy: Policy, now: datetime
) -> tuple[list[Past], list[Fault]]:
    """Read (line, heading → cell) rows: what can be believed, and everything that cannot, by line."""
    good: list[Past] = []
    bad: list[Fault] = []
    for number, cells in rows:
        row = _Row(number, {field: cells.get(heading) or "" for field, heading in columns.headings.items()})
        try:
            good.append(_past(row, columns, policy, now))
        except Refused as refused:
            bad += [Fault(number, reason) for reason in refused.reasons]
    return good, bad


def read_date(text: str, order: Order) -> date:
    """A day as the shop writes it, or as ISO 8601 does; a time behind it is left out. Raises Refused."""
    day = text.strip().split(" ")[0].split("T")[0]
    parts = day.replace(".", "-").replace("/", "-").split("-")
    wrong = Refused(say("“{text}” is not a day as this list writes it ({order}).", text=text.strip()[:40], order=order))
    if len(parts) != 3 or not all(part.isascii() and part.isdigit() for part in parts):
        raise wrong
    if len(parts[0]) == 4:
        order = "ymd"
    found = dict(zip(order, map(int, parts), strict=True))
    if found["y"] < 100:
        found["y"] += 2000
    try:
        return date(found["y"], found["m"], found["d"])
    except ValueError:
        raise wrong from None


@dataclass(frozen=True)
class _Row:
    line: int
    cells: Mapping[str, str]

    def text(self, field: str) -> str:
        return self.cells.get(field, "").strip()


def _past(row: _Row, columns: Columns, policy: Policy, now: datetime) -> Past:
    days = _days(row, columns, local_day(now, policy), policy)
    ended_on = days.pop("ended", None)
    received = days.pop("received")
    in_order = [
        (key, days[f"{STAGE}{key}"]) for key in (stage.key for stage in policy.stages[1:]) if f"{STAGE}{key}" in days
    ]
    _must_follow([("received", received), *in_order, *([("ended", ended_on)] if ended_on else [])])
    is_open = ended_on is None
    last = policy.stages[-1].key
    return Past(
        line=row.line,
        device=line("device", say("The device"), row.text("device"), required=is_open),
        kind=_kind(row.text("kind"), policy).key,
        fault=passage("fault", say("The fault"), row.text("fault")) if is_open else "",
        received=_moment(received, policy, now, at_close=False),
        moves=tuple((key, _moment(day, policy, now, at_close=True)) for key, day in in_order),
        ending=None if is_open else _ending(row.text("ending"), any(key == last for key, _ in in_order)),
        ended=_moment(ended_on, policy, now, at_close=True) if ended_on else None,
        stages_known=any(key != last for key, _day in in_order) or len(policy.stages) == 2,
        name=line("name", say("The name"), row.text("name")) if is_open else "",
        email=email(row.text("email")) if is_open else "",
        phone=phone(row.text("phone"), policy.shop.country) if is_open else "",
    )


def _days(row: _Row, columns: Columns, today: date, policy: Policy) -> dict[str, date]:
    """The days of a row by "received", "ended", and "stage." with the key. Raises Refused with all that cannot be."""
    days: dict[str, date] = {}
    wrong: list[Sentence] = []
    for field in columns.headings:
        if not (field in ("received", "ready", "ended") or field.startswith(STAGE)) or not row.text(field):
            continue
        key = f"{STAGE}{policy.stages[-1].key}" if field == "ready" else field
        try:
            days[key] = read_date(row.text(field), columns.dates)
        except Refused as refused:
            wrong += refused.reasons
            continue
        if not EARLIEST <= days[key] <= today:
            wrong.append(
                say("{day} cannot be: it lies before {earliest} or is still to come.", day=days[key], earliest=EARLIEST)
            )
    if not row.text("received"):
        wrong.append(say("There is no day of arrival."))
    if wrong:
        raise Refused(*wrong)
    return days


def _must_follow(days: Sequence[tuple[str, date]]) -> None:
    wrong = [
        say(
            "“{later}” ({second}) lies before “{earlier}” ({first}).",
            later=later,
            second=second,
            earlier=earlier,
            first=first,
        )
        for (earlier, first), (later, second) in pairwise(days)
        if second < first
    ]
    if wrong:
        raise Refused(*wrong)


def _kind(typed: str, policy: Policy) -> Kind:
    if not typed:
        return policy.kinds[0]
    for kind in policy.kinds:
        if typed.casefold() in {kind.key, *(label.casefold() for label in kind.label.values())}:
            return kind
    allowed = ", ".join(kind.key for kind in policy.kinds)
    raise Refused(say("There is no kind “{kind}”. Allowed: {allowed}.", kind=typed[:40], allowed=allowed))


def _ending(typed: str, was_ready: bool) -> Ending:
    if not typed:
        return Ending.COLLECTED if was_ready else Ending.RETURNED
    try:
        return Ending(typed.casefold())
    except ValueError:
        allowed = ", ".join(Ending)
        raise Refused(
            say("“{ending}” is no way to end. Allowed: {allowed}.", ending=typed[:40], allowed=allowed)
        ) from None


def _moment(day: date, policy: Policy, now: datetime, *, at_close: bool) -> datetime:
    """A day as a moment: when the shop opened, or when it closed; noon on a day on which it was closed. Never later
    than now."""
    zone = ZoneInfo(policy.shop.zone)
    spans = open_spans(day, policy.hours, zone)
    noon = datetime.combine(day, time(12), zone).astimezone(UTC)
    at = (spans[-1].closes if at_close else spans[0].opens) if spans else noon
    return min(at, now)
