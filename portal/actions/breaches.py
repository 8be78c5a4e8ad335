"""Breaches are written down, each of them, with what was touched and whom it concerns (GDPR Art. 33(5))."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from datetime import datetime

from sqlalchemy import Connection

from portal.actions.desk import By, Desk, NotFound, find
from portal.rules import breaches as rules
from portal.rules.refusals import Refused, Unfit
from portal.rules.retention import Kept
from portal.rules.sentences import say
from portal.rules.text import passage
from portal.rules.tokens import new_ref
from portal.store import breaches
from portal.store.breaches import Breach

MOST_NUMBERS = 5_000  # then it concerns everybody


@dataclass(frozen=True)
class Written:
    """A breach as typed; moments in UTC, None where not yet. `numbers` "" where it concerns every visit there is."""

    aware_at: datetime
    happened: str
    kinds: Sequence[str]
    numbers: str = ""
    everybody: bool = False
    consequences: str = ""
    measures: str = ""
    told_at: datetime | None = None
    late_because: str = ""
    people_told_at: datetime | None = None


def record(desk: Desk, by: By, written: Written, *, deed_key: str | None = None) -> str:
    """Write a breach down and tell its public id. Whom it concerns is counted now, since data goes.

    Raises Unfit, with its field; NotFound for a number that is not there.
    """
    now = desk.clock.now()
    with desk.writing() as connection:
        if known := breaches.of_deed(connection, deed_key):
            return known.ref
        ref = new_ref(desk.chooser)
        values = _fitted(connection, written, now) | {"ref": ref, "made_at": now, "by_staff": by.staff_id}
        breaches.add(connection, values | {"deed_key": deed_key})
    return ref


def rewrite(desk: Desk, ref: str, written: Written, *, deed_key: str | None = None) -> None:
    """Write down what is known by now (Art. 33(4): in phases). Raises as `record`; Refused once it is closed."""
    now = desk.clock.now()
    with desk.writing() as connection:
        known = of(connection, ref)
        if deed_key and known.deed_key == deed_key:
            return
        values = _fitted(connection, written, now) | {"deed_key": deed_key}
        if not breaches.change(connection, ref, values):
            raise Refused(_CLOSED)


def close(desk: Desk, ref: str, *, deed_key: str | None = None) -> None:
    """Nothing is left to do; its period begins. Raises Refused where it is closed."""
    with desk.writing() as connection:
        known = of(connection, ref)
        if deed_key and known.deed_key == deed_key:
            return
        if not breaches.change(connection, ref, {"closed_at": desk.clock.now(), "deed_key": deed_key}):
            raise Refused(_CLOSED)


def of(connection: Connection, ref: str) -> Breach:
    """The breach with this public id. Raises NotFound."""
    found = breaches.by_ref(connection, ref)
    if found is None:
        raise NotFound(say("There is no such record."))
    return found


_CLOSED = say("This record is closed.")


def _fitted(connection: Connection, written: Written, now: datetime) -> dict[str, object]:
    rules.check_times(written.aware_at, written.told_at, written.people_told_at, now)
    late = passage("late_because", say("The reason"), written.late_because, limit=1000)
    rules.check_reason(written.aware_at, written.told_at, late)
    kinds = [kind for kind in written.kinds if kind in list(Kept)]
    if not kinds:
        raise Unfit("kinds", say("Please choose what was touched."))
    numbers = [] if written.everybody else _numbers(connection, written.numbers)
    return {
        "aware_at": written.aware_at,
        "happened": passage("happened", say("What happened"), written.happened, required=True),
        "kinds": kinds,
        "numbers": numbers,
        "counts": asdict(breaches.concerned(connection, numbers)),
        "consequences": passage("consequences", say("The likely consequences"), written.consequences),
        "measures": passage("measures", say("What was done about it"), written.measures),
        "told_at": written.told_at,
        "late_because": late,
        "people_told_at": written.people_told_at,
    }


def _numbers(connection: Connection, typed: str) -> list[str]:
    words = [word for word in re.split(r"[\s,;]+", typed) if word]
    if not words:
        raise Unfit("numbers", say("Whose data was it? Name the repairs, or say that it concerns everybody."))
    if len(words) > MOST_NUMBERS:
        raise Unfit("numbers", say("These are too many to name; say that it concerns everybody."))
    found = []
    for word in words:
        try:
            found.append(find(connection, word).number)
        except (Unfit, NotFound):
            raise Unfit("numbers", say("There is no repair {number} here.", number=word[:20])) from None
    return list(dict.fromkeys(found))
