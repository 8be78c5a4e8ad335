"""How fast the customer's page is, beside the least that such a page could cost: `python -m tests.bench.pages`.

The floor is the same template in a Flask app with nothing else: no policy, no journal words, no link to check, no
headers, its rows read by the bare sqlite3 module; for the unchanged page one such row and 304. Ratios are printed with
what is promised, and the exit status is 1 when a promise is not kept. Beside constant bytes the unchanged page fares as
the machine's caches do: where even the floor does not keep that promise, the line above it tells.
"""

from __future__ import annotations

import sqlite3
import sys
import tempfile
import threading
from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from random import Random
from typing import Any

from flask import Flask, Response, render_template

from notifications.instants import FixedClock
from portal import resources
from portal.actions import moves, notes
from portal.actions.desk import COMMAND
from portal.actions.intake import NewDevice, NewVisit, take_in
from portal.language import language
from portal.main import Installation, open_installation
from portal.store import policies
from portal.web.app import create_app
from portal.web.customer.docket import DocketPage
from portal.web.customer.hours import OpeningHours
from portal.web.customer.sheet import Device, Line, TermsShown, When, Word
from portal.web.forms import Answer
from portal.web.page import paragraphs
from tests.bench.load import get, rates, served

ENTRIES = 12
SECRET = bytes(range(32)).hex()
START = datetime(2026, 3, 2, 9, tzinfo=UTC)
PAGE_AT_LEAST, UNCHANGED_AT_LEAST = 0.6, 0.5
_REVISION = "SELECT revision FROM visits WHERE ref = ?"
_ROWS = """
SELECT visits.revision, tickets.number, tickets.device, tickets.fault, journal.at, journal.text
FROM visits
JOIN tickets ON tickets.visit_id = visits.id
JOIN journal ON journal.ticket_id = tickets.id
WHERE visits.ref = ?
ORDER BY tickets.id, journal.entry DESC
"""


@dataclass(frozen=True)
class Shop:
    """A shop with one device, whose journal has twelve entries for its owner."""

    folder: Path
    path: str
    validator: str


def main() -> int:
    """Measure, print, and tell by the exit status whether the promises are kept."""
    with tempfile.TemporaryDirectory() as folder:
        shop = make_shop(Path(folder))
        with (
            served(our_site, shop.folder) as ours,
            served(floor_site, shop.folder, shop.path) as floor,
            served(constant_site) as constant,
        ):
            unchanged = get(f"{shop.path}/state", f'If-None-Match: "{shop.validator}"\r\n')
            found = rates(
                {
                    "page": (ours, get(shop.path), b"HTTP/1.1 200"),
                    "floor": (floor, get(shop.path), b"HTTP/1.1 200"),
                    "unchanged": (ours, unchanged, b"HTTP/1.1 304"),
                    "unchanged floor": (floor, unchanged, b"HTTP/1.1 304"),
                    # waitress hangs up after a 304, so the constant bytes go over new connections too.
                    "constant": (constant, get("/", "Connection: close\r\n"), b"HTTP/1.1 200"),
                }
            )
    kept = [
        told("customer's page", found["page"], "its floor", found["floor"], PAGE_AT_LEAST),
        told("unchanged page", found["unchanged"], "its floor", found["unchanged floor"], UNCHANGED_AT_LEAST),
        told("unchanged floor", found["unchanged floor"], "constant bytes", found["constant"], UNCHANGED_AT_LEAST),
        told("unchanged page", found["unchanged"], "constant bytes", found["constant"], UNCHANGED_AT_LEAST),
    ]
    return 0 if all(kept) else 1


def told(what: str, rate: float, beside: str, floor: float, least: float) -> bool:
    """Print one comparison and tell whether it holds."""
    print(f"{what}: {rate:.0f}/s, {beside}: {floor:.0f}/s, ratio {rate / floor:.2f} (promised: {least})")
    return rate / floor >= least


def make_shop(folder: Path) -> Shop:
    """Make the shop in a folder."""
    installation = _open(folder, FixedClock(START))
    desk, clock = installation.desk, installation.desk.clock
    assert isinstance(clock, FixedClock)
    with desk.writing() as connection:
        document = resources.default_policy().read_text(encoding="utf-8")
        policies.add(connection, document, START, None)
    device = NewDevice("Handheld console, blue", "Does not charge. Was dropped last week.", "console")
    taken = take_in(desk, COMMAND, NewVisit([device], name="Ada Marsh", email="ada@example.org"))
    number = taken.numbers[0]
    for stage in ("cleaning", "board_work", "testing"):
        clock.at += timedelta(hours=7)
        moves.move(desk, COMMAND, number, stage, confirmed=True)
    for place in range(ENTRIES - 4):
        clock.at += timedelta(hours=3)
        notes.note(
            desk, COMMAND, number, f"Note {place}: the new socket holds, and the cell charges.", audience="customer"
        )
    site = create_app(installation)
    path = "/t/" + taken.link.rsplit("/", 1)[-1]
    answer = site.test_client().get(path)
    assert answer.text.count("<li><time") == ENTRIES
    installation.engine.dispose()
    return Shop(folder, path, answer.headers["ETag"].strip('"'))


def our_site(folder: Path) -> Flask:
    """Benchwindow, with its clock on the day after."""
    return create_app(_open(folder, FixedClock(START + timedelta(days=1, hours=21))))


def constant_site() -> Flask:
    """Bare Flask, answering the same few bytes."""
    app = Flask("constant")
    app.add_url_rule("/", view_func=lambda: Response(b"unchanged", mimetype="text/plain"))
    return app


def floor_site(folder: Path, path: str) -> Flask:
    """The same template and a bare sqlite3 read in a Flask app with nothing else."""
    installation = _open(folder, FixedClock(START))
    with installation.desk.reading() as connection:
        policy = installation.desk.policy(connection)
    installation.engine.dispose()
    words = language("en", policy.shop.zone)
    app = Flask("portal", template_folder=str(resources.templates()), static_folder="static")
    environment: Any = app.jinja_env
    environment.trim_blocks = environment.lstrip_blocks = True
    environment.add_extension("jinja2.ext.i18n")
    environment.install_gettext_callables(words.gettext, words.ngettext, newstyle=True)
    environment.filters.update(paragraphs=paragraphs, say=words.say, words=words.words)
    environment.globals.update(
        speaking=lambda: words, policy=lambda: policy, choices=lambda: (), privacy_link=lambda: path
    )
    of_thread = threading.local()
    frame = _frame(path, policy)

    def kept_open() -> sqlite3.Connection:
        if not hasattr(of_thread, "connection"):
            of_thread.connection = sqlite3.connect(folder / "benchwindow.db")
        connection: sqlite3.Connection = of_thread.connection
        return connection

    @app.get("/t/<token>")
    def docket(token: str) -> str:
        rows = kept_open().execute(_ROWS, (token[1:11],)).fetchall()
        journal = [Word("From the shop:", text, When(at, at)) for *_ticket, at, text in rows]
        _revision, number, name, fault, *_entry = rows[0]
        device = replace(frame.devices[0], number=number, device=name, fault=fault, journal=journal)
        return render_template("customer/docket.html", page=replace(frame, devices=[device]))

    @app.get("/t/<token>/state")
    def state(token: str) -> Response:
        (revision,) = kept_open().execute(_REVISION, (token[1:11],)).fetchone()
        return Response(status=304, headers={"ETag": f'"{revision}"'})

    return app


def _frame(path: str, policy: Any) -> DocketPage:
    """The page's other parts, ready made."""
    when = When("Mon, 2 Mar 2026, 09:00", "2026-03-02T09:00+00:00")
    lines = [Line(stage.label["en"], "passed", "done", when) for stage in policy.stages]
    points = [(point.title["en"], point.text["en"]) for point in policy.terms.points] if policy.terms else []
    return DocketPage(
        devices=[Device("1234-0", "We are testing the repair.", when, here=True, next="Next: Ready.", lines=lines)],
        hours=OpeningHours("Open today 09:00–17:30.", "Open again Tue, 3 Mar 2026, 09:00–17:30.", ()),
        terms=TermsShown("1", points, None, True) if points else None,
        questions=(),
        returning={},
        may_choose_messages=False,
        is_owner=False,
        answer=Answer(),
        address=path,
        chosen="",
        validator="1",
    )


def _open(folder: Path, clock: FixedClock) -> Installation:
    environment: Mapping[str, str] = {"BENCHWINDOW_BASE_URL": "http://bench.test", "BENCHWINDOW_SECRET_KEY": SECRET}
    return open_installation(folder, clock=clock, chooser=Random(4711), environment=environment)


if __name__ == "__main__":
    sys.exit(main())
