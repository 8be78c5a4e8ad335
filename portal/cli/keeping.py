"""Keeping and letting go: `retention`, `disclose`, `erase`, `archive`, `restore`, `release`."""

from __future__ import annotations

import argparse
import os
import sys
from pathlib import Path

from notifications.instants import FixedClock
from portal import settings
from portal.actions import archive_trial, archives, erasure, retention
from portal.actions.desk import COMMAND
from portal.cli.common import Commands, command, instant, moment, opened, show_json
from portal.cli.doors import takes_words
from portal.letters.disclosure import packed
from portal.main import open_installation
from portal.rules.numbers import spoken
from portal.rules.retention import REGISTER
from portal.store.engine import compact, empty_the_log


def add_to(commands: Commands) -> None:
    """Add the family."""
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

    parser = command(
        commands, "disclose", _disclose, "write all that is held of a repair's visit", "disclose 4711-8 --to ada.zip"
    )
    parser.add_argument("number", help="the repair's number")
    parser.add_argument("--to", type=Path, required=True, metavar="FILE.zip", help="where to write it")
    parser.add_argument("--second", action="store_true", help="only what is held of the visit's second person")

    parser = command(
        commands, "erase", _erase, "erase what can go of a repair's visit", 'erase 4711-8 --why "asked for by mail"'
    )
    parser.add_argument("number", help="the repair's number")
    parser.add_argument("--why", required=True, help="the reason, without personal data")
    parser.add_argument("--second", action="store_true", help="only who the visit's second person is")
    takes_words(parser, "why")

    parser = command(commands, "archive", _archive, "write the whole shop as one SQLite file", "archive shop.sqlite")
    parser.add_argument("file", type=Path, help="where to write it")

    parser = command(
        commands, "restore", _restore, "bring an archive into an empty installation, held", "restore shop.sqlite"
    )
    parser.add_argument(
        "file", type=Path, nargs="?", help="an archive; with --test the newest of the night where absent"
    )
    parser.add_argument("--test", action="store_true", help="only try it out, in a temporary place, and say when")
    parser.add_argument("--identity", type=Path, metavar="FILE", help="the key of an encrypted one (age), for --test")

    parser = command(commands, "release", _release, "let a restored installation go on", "release --drop")
    which = parser.add_mutually_exclusive_group(required=True)
    which.add_argument("--send", action="store_true", help="send the messages that waited")
    which.add_argument("--drop", action="store_true", help="drop them")


def _retention(options: argparse.Namespace) -> int:
    house = open_installation(options.data, clock=FixedClock(options.at) if options.at else None)
    now = house.desk.clock.now()
    counted = (
        retention.apply(house.desk, house.photo_files, now, most=2**31)
        if options.apply
        else retention.due(house.desk, now)
    )
    for each in counted:
        if options.json:
            show_json({"kept": each.kept.value, "gone" if options.apply else "due": each.count})
        else:
            print(f"{each.kept.value:14} {each.count:6} {'gone' if options.apply else 'due'}")
    if options.apply:
        archives.drop_old(house.desk, house.settings.archives, house.settings.archive_days, now)
        compact(house.engine)
        if not empty_the_log(house.engine):
            print(
                "Somebody is reading, so the database's log still holds copies. The clock empties it soon.",
                file=sys.stderr,
            )
    return 0


def _disclose(options: argparse.Namespace) -> int:
    house = opened(options)
    content = packed(house.desk, house.photo_files, options.number, "second" if options.second else "owner")
    options.to.touch(mode=0o600)
    options.to.write_bytes(content)
    covers = "the second person alone" if options.second else "the whole visit; of a second person nothing is in it"
    print(f"{options.to}: {len(content)} bytes. It covers {covers}.")
    return 0


def _erase(options: argparse.Namespace) -> int:
    house = opened(options)
    if options.second:
        told = erasure.erase_second(house.desk, COMMAND, options.number, options.why)
    else:
        told = erasure.erase(house.desk, house.photo_files, COMMAND, options.number, options.why)
    archives.drop_all(house.settings.archives)
    compact(house.engine)
    empty_the_log(house.engine)
    numbers = ", ".join(map(spoken, told.numbers))
    if options.second:
        print(f"Covered: the second person of {numbers}. {erasure.SECOND_STAYS}")
    else:
        print(f"Covered: {numbers}{', and the second person' if told.second_person else ''}.")
    for kept in told.gone:
        print(f"gone: {REGISTER[kept].name}")
    for stays in told.stays:
        print(f"stays until {stays.until}: {REGISTER[stays.kept].name} ({stays.why})")
    return 0


def _archive(options: argparse.Namespace) -> int:
    house = opened(options)
    head = archives.make(house.desk, house.photo_files, options.file)
    print(f"{options.file}: {head.rows} rows, {head.photos} pictures, as of {instant(head.made_at)}.")
    print("Keep the file `secret` of the data folder elsewhere: without it every link in it is dead.")
    return 0


def _restore(options: argparse.Namespace) -> int:
    if options.test:
        return _try_out(options)
    if options.file is None:
        print("benchwindow: name the archive to bring back.", file=sys.stderr)
        return 2
    read = settings.read(os.environ, options.data)
    read.data.mkdir(parents=True, exist_ok=True)
    if not read.secret_key and not read.secret_file.exists():
        settings.make_secret(read.secret_file)
        print(
            "There was no secret here, so a new one was made: links and logins from before are dead.", file=sys.stderr
        )
    house = open_installation(options.data)
    head = archives.restore(house.desk, house.photo_files, options.file)
    print(f"{head.rows} rows and {head.photos} pictures, as they were at {instant(head.made_at)}.")
    print("Nothing is sent until you say `benchwindow release --send` or `benchwindow release --drop`.")
    return 0


def _try_out(options: argparse.Namespace) -> int:
    house = opened(options)
    file = options.file or archive_trial.newest_of(house.settings.archives)
    tried = archive_trial.try_out(house.desk, file, options.identity)
    for fault in tried.faults:
        print(f"benchwindow: {fault}", file=sys.stderr)
    if tried.faults:
        return 1
    head = tried.head
    print(f"{file}: {tried.tickets} tickets, {head.rows} rows, {head.photos} pictures, as of {instant(head.made_at)}.")
    print("It can be brought back. Nothing of this installation was changed.")
    return 0


def _release(options: argparse.Namespace) -> int:
    house = opened(options)
    count = archives.release(house.desk, send=options.send)
    print(f"{count} messages {'will be sent' if options.send else 'were dropped'}.")
    return 0
