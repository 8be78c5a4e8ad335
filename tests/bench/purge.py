"""What the purge, archives and restoring cost: `python -m tests.bench.purge [SMALL LARGE]`.

The same number of visits is due in a shop with 10,000 and in one with 1,000,000 tickets; the time must go by what is
due, not by what is there. Then as many are due again, and while they go the customer's page is asked for without a
pause: its median stays within twice that of a quiet shop. An archive and restoring it are told in MB/s of the
database's own file, beside sqlite3's plain backup, which copies pages and knows nothing of rows. Rows are written
straight into the tables: only their number matters here. Exit status 1 when a promise is not kept.
"""

from __future__ import annotations

import sqlite3
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from contextlib import closing
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path
from random import Random

from sqlalchemy import Connection, insert

from notifications.instants import FixedClock
from portal import resources
from portal.actions import retention
from portal.actions.desk import COMMAND
from portal.actions.intake import NewDevice, NewVisit, take_in
from portal.actions.shop import load_policy
from portal.main import Installation, open_installation
from portal.rules.numbers import with_check
from portal.rules.retention import Kept
from portal.rules.tokens import new_ref
from portal.store import archive
from portal.store.engine import open_engine, sqlite_url
from portal.store.keeping_tables import keeping
from portal.store.photo_files import PhotoFiles
from portal.store.tables import contacts, journal, numbers, tickets, visits
from portal.web.app import create_app

START = datetime(2026, 3, 2, 9, tzinfo=UTC)
SMALL, LARGE, DUE, ROUNDS = 10_000, 1_000_000, 500, 200
AT_MOST, PAGE_AT_MOST = 1.5, 2.0
CHUNK = 5_000
KEPT = (Kept.CONTACT, Kept.DEVICE, Kept.RECORD, Kept.APPROVAL)  # as of most visits that left a while ago
LONG_AGO, A_WHILE_AGO, LATELY = (START - timedelta(days=days) for days in (400, 20, 5))
LATER = START + timedelta(days=15)  # when what began a while ago is due as well, and what began lately is not


@dataclass(frozen=True)
class Measured:
    """Seconds of the purge and how many went; medians of the page in a quiet shop and during the purge, in seconds."""

    purge: float
    gone: int
    quiet: float
    meanwhile: float


def main(arguments: list[str]) -> int:
    """Measure, print, and tell by the status whether the promises are kept."""
    if arguments[:1] == ["--purge"]:
        return _purge(Path(arguments[1]), datetime.fromisoformat(arguments[2]))
    small, large = (int(each) for each in arguments) if arguments else (SMALL, LARGE)
    found = {}
    for size in (small, large):
        with tempfile.TemporaryDirectory() as folder:
            found[size] = measure(Path(folder), size)
            if size == small:
                _print_archive(Path(folder))
    ratio = found[large].purge / found[small].purge
    print(f"{'':<28}{small:>12,} tickets{large:>14,} tickets      ratio")
    print(
        f"{f'purge of {found[small].gone} due':<28}{found[small].purge:>18.2f} s"
        f"{found[large].purge:>20.2f} s{ratio:>11.2f}   (at most {AT_MOST})"
    )
    kept = ratio <= AT_MOST and found[small].gone == found[large].gone
    for size, each in found.items():
        slower = each.meanwhile / each.quiet
        kept = kept and slower <= PAGE_AT_MOST
        print(
            f"page at {size:,}: {each.quiet * 1e3:.2f} ms quiet, {each.meanwhile * 1e3:.2f} ms during the purge, "
            f"{slower:.2f} times (at most {PAGE_AT_MOST})"
        )
    return 0 if kept else 1


def measure(folder: Path, size: int) -> Measured:
    """One shop: its page while nothing happens, a purge alone, and its page while a process of its own purges."""
    house = _open(folder)
    load_policy(house.desk, COMMAND, resources.default_policy().read_text(encoding="utf-8"))
    _fill(house, size)
    followed = take_in(house.desk, COMMAND, NewVisit([NewDevice("Radio", "Hums.")], name="Ada Marsh"))
    client, page = create_app(house).test_client(), "/t/" + followed.link.rpartition("/")[2]
    quiet = _median(lambda: client.get(page), lambda asked: asked < ROUNDS)
    with _purging(folder, START) as alone:
        seconds, gone = alone.communicate()[0].split()
    with _purging(folder, LATER) as purging:
        while purging.stdout and purging.stdout.readline() != "begins\n":
            pass
        meanwhile = _median(lambda: client.get(page), lambda _asked: purging.poll() is None)
    house.engine.dispose()
    return Measured(float(seconds), int(gone), quiet, meanwhile)


def _purging(folder: Path, at: datetime) -> subprocess.Popen[str]:
    command = [sys.executable, "-m", "tests.bench.purge", "--purge", str(folder), at.isoformat()]
    return subprocess.Popen(command, stdout=subprocess.PIPE, text=True)


def _purge(folder: Path, at: datetime) -> int:
    """In a process of its own: purge, and print how long it took and how much went."""
    house = _open(folder)
    if at == LATER:
        print("begins", flush=True)
    began = time.perf_counter()
    gone = sum(each.count for each in retention.apply(house.desk, house.photo_files, at, most=2**31))
    print(time.perf_counter() - began, gone)
    house.engine.dispose()
    return 0


def _print_archive(folder: Path) -> None:
    database, file, plain = folder / "benchwindow.db", folder / "shop.sqlite", folder / "plain.sqlite"
    house = _open(folder)
    with house.engine.connect().execution_options(isolation_level="AUTOCOMMIT") as connection:
        connection.exec_driver_sql("PRAGMA wal_checkpoint(TRUNCATE)")
    megabytes = database.stat().st_size / 1e6
    taken = {
        "archive": _seconds(lambda: archive.write(house.engine, house.photo_files, file, START)),
        "sqlite3's own backup": _seconds(lambda: _back_up(database, plain)),
    }
    house.engine.dispose()
    engine = open_engine(sqlite_url(folder / "again.db"), durable=False)
    taken["restore"] = _seconds(lambda: archive.restore(file, engine, PhotoFiles(str(folder / "again"))))
    engine.dispose()
    for name, seconds in taken.items():
        print(f"{name:<28}{megabytes / seconds:>10.1f} MB/s of a database of {megabytes:.0f} MB")


def _back_up(database: Path, to: Path) -> None:
    with closing(sqlite3.connect(database)) as source, closing(sqlite3.connect(to)) as target:
        source.backup(target)


def _seconds(do: Callable[[], object]) -> float:
    began = time.perf_counter()
    do()
    return time.perf_counter() - began


def _median(do: Callable[[], object], going_on: Callable[[int], bool]) -> float:
    taken: list[float] = []
    while going_on(len(taken)) or not taken:
        taken.append(_seconds(do))
    return statistics.median(taken)


def _open(folder: Path) -> Installation:
    secret = {"BENCHWINDOW_SECRET_KEY": bytes(range(32)).hex()}
    return open_installation(folder, clock=FixedClock(START), chooser=Random(1), environment=secret, durable=False)


def _fill(house: Installation, size: int) -> None:
    chance, apart = Random(2), size // DUE
    for first in range(0, size, CHUNK):
        with house.desk.writing() as connection:
            _write(connection, chance, range(first + 1, min(first + CHUNK, size) + 1), apart)


def _write(connection: Connection, chance: Random, ids: range, apart: int) -> None:
    """Visits that have ended; one in so many is due, so that what is due lies scattered among the rest."""
    refs = {each: (new_ref(chance), new_ref(chance), new_ref(chance)) for each in ids}
    made, begun = START - timedelta(days=500), {0: LONG_AGO, apart // 2: A_WHILE_AGO}
    may = {"may_be_told": True, "may_agree": True, "may_collect": True}
    connection.execute(insert(numbers), [{"number": with_check(f"{1_000_000 + each}")} for each in ids])
    connection.execute(
        insert(visits),
        [{"id": each, "ref": refs[each][0], "language": "en", "made_at": made, "link_ends_at": made} for each in ids],
    )
    connection.execute(
        insert(contacts),
        [
            {"ref": refs[each][1], "visit_id": each, "role": "owner", "name": f"Ada {each}", "email": "a@example.org"}
            | may
            for each in ids
        ],
    )
    connection.execute(
        insert(tickets),
        [
            {"id": each, "ref": refs[each][2], "number": with_check(f"{1_000_000 + each}"), "visit_id": each}
            | {"kind": "other", "device": "Radio", "fault": "Hums.", "stage": "ready", "stage_since": made}
            | {"ending": "collected", "ended_at": made, "revision": 1, "made_at": made}
            for each in ids
        ],
    )
    connection.execute(
        insert(journal),
        [
            {"ticket_id": each, "entry": 1, "at": made, "by_kind": "command", "event": "noted"}
            | {"data": {}, "audience": "bench", "text": "A capacitor is dry, and replaced by one of the same kind."}
            for each in ids
        ],
    )
    connection.execute(
        insert(keeping),
        [
            {"visit_id": each, "kept": kept.value, "since": begun.get(each % apart, LATELY)}
            for each in ids
            for kept in KEPT
        ],
    )


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
