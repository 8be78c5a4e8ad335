"""Whether pages stay as quick when the shop grows old: `python -m tests.bench.size`.

The customer's page, the bench list, the search and the keeper's overview, with 40 open tickets beside 1,000 and then
200,000 ended ones. The ended ones are written straight into the tables: only their number matters here. Printed are
medians and their ratio.
"""

from __future__ import annotations

import statistics
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path
from random import Random

from sqlalchemy import Connection, insert

from notifications.instants import FixedClock
from portal import resources
from portal.actions import figures
from portal.actions.desk import COMMAND
from portal.actions.intake import NewDevice, NewVisit, TakenIn, take_in
from portal.actions.shop import load_policy
from portal.main import Installation, open_installation
from portal.rules.figures import Figure, Measure
from portal.rules.numbers import with_check
from portal.rules.search_words import words_of
from portal.rules.tokens import new_ref
from portal.store import figures as store
from portal.store import search, tickets, waiting
from portal.store.question_tables import questions
from portal.store.tables import contacts, journal, numbers, search_words, visits
from portal.store.tables import tickets as ticket_table
from portal.web.app import create_app

START = datetime(2026, 3, 2, 9, tzinfo=UTC)
SMALL, LARGE, OPEN, ROUNDS = 1_000, 200_000, 40, 60
AT_MOST = 1.5
NAMES = ("Ada Marsh", "Bram Oakes", "Celia Thorn", "Dev Arkwright", "Elin Frost")
DEVICES = ("Handheld console, blue", "Laptop, 14 inch", "Stereo amplifier", "E-reader, grey", "Camera with zoom lens")
STAGES = ("received", "cleaning", "board_work", "testing", "ready")
CHUNK = 5_000


def main() -> int:
    """Measure, print, and tell by the status whether the promise is kept."""
    small, large = medians(SMALL), medians(LARGE)
    print(f"{'':<18}{SMALL:>12,} ended{LARGE:>12,} ended      ratio   (at most {AT_MOST})")
    worst = 0.0
    for name in small:
        ratio = large[name] / small[name]
        worst = max(worst, ratio)
        print(f"{name:<18}{small[name] * 1e3:>15.2f} ms{large[name] * 1e3:>15.2f} ms{ratio:>11.2f}")
    return 0 if worst <= AT_MOST else 1


def medians(ended: int) -> dict[str, float]:
    """The median seconds of each, in a shop with so many ended tickets."""
    with tempfile.TemporaryDirectory() as folder:
        house = open_installation(
            Path(folder), clock=FixedClock(START), chooser=Random(1), environment=_environment(), durable=False
        )
        load_policy(house.desk, COMMAND, resources.default_policy().read_text(encoding="utf-8"))
        _fill(house, ended)
        _count(house)
        followed = [_open_ticket(house, place) for place in range(OPEN)][-1]
        measured = {name: _median(do) for name, do in _what(house, followed).items()}
        house.engine.dispose()
    return measured


def _what(house: Installation, followed: TakenIn) -> dict[str, Callable[[], object]]:
    client = create_app(house).test_client()
    page = "/t/" + followed.link.rpartition("/")[2]

    def reading(ask: Callable[[Connection], object]) -> Callable[[], object]:
        def run() -> object:
            with house.desk.reading() as connection:
                return ask(connection)

        return run

    return {
        "customer's page": lambda: client.get(page),
        "bench list": reading(tickets.open_tickets),
        "search: name": reading(lambda connection: search.find(connection, "ada marsh")),
        "search: device": reading(lambda connection: search.find(connection, "amplif")),
        "search: phone": reading(lambda connection: search.find(connection, "0123")),
        "keeper: waiting": reading(lambda connection: waiting.waiting(connection, "ready")),
        "keeper: the year": reading(
            lambda connection: figures.year(house.desk, connection, house.desk.policy(connection))
        ),
    }


def _median(do: Callable[[], object]) -> float:
    taken = []
    for _ in range(ROUNDS):
        began = time.process_time()
        do()
        taken.append(time.process_time() - began)
    return statistics.median(taken)


def _open_ticket(house: Installation, place: int) -> TakenIn:
    device = NewDevice(DEVICES[place % 5], "Does not start.")
    visit = NewVisit([device], name=NAMES[place % 5], phone=f"07700 900{place:03}")
    return take_in(house.desk, COMMAND, visit)


def _fill(house: Installation, ended: int) -> None:
    chance = Random(2)
    for first in range(0, ended, CHUNK):
        with house.desk.writing() as connection:
            _write(connection, chance, range(first + 1, min(first + CHUNK, ended) + 1))


def _count(house: Installation) -> None:
    """A year's figures, as many whatever the number of tickets: so they are kept."""
    weeks = [START.date() - timedelta(days=START.weekday(), weeks=ago) for ago in range(52)]
    names = [(measure, name, bucket) for measure in ("stay", "here") for name in STAGES for bucket in range(9)]
    counted = Counter(
        {Figure(week, Measure(measure), name, bucket): 3 for week in weeks for measure, name, bucket in names}
    )
    with house.desk.writing() as connection:
        store.add(connection, counted)


def _write(connection: Connection, chance: Random, ids: range) -> None:
    rows: dict[str, list[dict[str, object]]] = {"n": [], "v": [], "c": [], "t": [], "j": [], "w": [], "q": []}
    for each in ids:
        number, at = with_check(f"{1_000_000 + each}"), START - timedelta(hours=each % 8_000)
        name, device, phone = NAMES[each % 5], DEVICES[each % 5], f"+4477009{each % 100_000:05}"
        rows["n"].append({"number": number})
        rows["v"].append({"id": each, "ref": new_ref(chance), "language": "en", "made_at": at})
        may = {"may_be_told": True, "may_agree": True, "may_collect": True}
        contact = {"ref": new_ref(chance), "visit_id": each, "role": "owner", "name": name, "phone": phone}
        rows["c"].append(contact | may)
        rows["t"].append(
            {"id": each, "ref": new_ref(chance), "number": number, "visit_id": each, "kind": "other", "device": device}
            | {"fault": "", "stage": "ready", "stage_since": at, "ending": "collected", "ended_at": at}
            | {"revision": 1, "made_at": at, "counted_at": at}
        )
        question = {"ref": new_ref(chance), "ticket_id": each, "kind": "extra", "state": "agreed", "version": 1}
        settled = {"put_at": at, "settled_at": at, "made_at": at, "answer_by": at, "offer": {}, "through": "own link"}
        rows["q"].append(question | settled)
        entry = {"ticket_id": each, "entry": 1, "at": at, "by_kind": "command", "event": "arrived"}
        rows["j"].append(entry | {"data": {"stage": "received"}, "audience": "customer"})
        rows["w"] += [{"ticket_id": each, "word": word} for word in words_of(name, phone, device)]
    for key, table in zip(
        rows, (numbers, visits, contacts, ticket_table, journal, search_words, questions), strict=True
    ):
        connection.execute(insert(table), rows[key])


def _environment() -> dict[str, str]:
    return {"BENCHWINDOW_SECRET_KEY": bytes(range(32)).hex()}


if __name__ == "__main__":
    sys.exit(main())
