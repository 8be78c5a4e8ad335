"""Keeping and letting go: `retention`."""

from __future__ import annotations

import argparse

from notifications.instants import FixedClock
from portal.actions import retention
from portal.cli.common import Commands, command, moment, show_json
from portal.main import open_installation
from portal.store.engine import compact, empty_the_log


def add_to(commands: Commands) -> None:
    """Add `retention`."""
    parser = command(
        commands,
        "retention",
        _retention,
        "say what personal data has outlived its purpose, and let it go",
        "retention --apply",
    )
    parser.add_argument("--at", type=moment, help="as if at that time, with its zone")
    parser.add_argument("--apply", action="store_true", help="let it go, and leave no copy in the database's files")
    parser.add_argument("--json", action="store_true", help="print one line of JSON for each kind")


def _retention(options: argparse.Namespace) -> int:
    house = open_installation(options.data, clock=FixedClock(options.at) if options.at else None)
    now = house.desk.clock.now()
    if options.apply:
        counted = retention.apply(house.desk, house.photo_files, now, most=2**31)
        compact(house.engine)
        emptied = empty_the_log(house.engine)
    else:
        counted, emptied = retention.due(house.desk, now), True
    for each in counted:
        if options.json:
            show_json({"kept": each.kept.value, "gone" if options.apply else "due": each.count})
        else:
            print(f"{each.kept.value:14} {each.count:6} {'gone' if options.apply else 'due'}")
    if not emptied:
        print("Somebody is reading, so the database's log still holds copies. The clock empties it soon.")
    return 0
