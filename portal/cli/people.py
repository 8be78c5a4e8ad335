"""People by command: who may log in."""

from __future__ import annotations

import argparse
import getpass
import sys

from portal.actions import people
from portal.actions.desk import COMMAND
from portal.cli.common import Commands, command, opened
from portal.rules.people import ROLES


def add_to(commands: Commands) -> None:
    """Add `staff …`."""
    group = commands.add_parser("staff", help="who may log in", description="The people of the shop.")
    deeds = group.add_subparsers(title="deeds", metavar="DEED", required=True)
    add = command(deeds, "add", _add, "let somebody log in; asks for the password", "staff add Robin --role bench")
    add.add_argument("name")
    add.add_argument("--role", required=True, choices=ROLES)
    command(deeds, "list", _list, "list the people of the shop", "staff list")
    reset = command(
        deeds, "reset", _reset, "give somebody a new password; PIN and second factor go", "staff reset Robin"
    )
    reset.add_argument("name")
    disable = command(deeds, "disable", _disable, "let somebody in no more, at once", "staff disable Robin")
    disable.add_argument("name")


def _add(options: argparse.Namespace) -> int:
    people.add_staff(opened(options).desk, COMMAND, options.name, _password(), options.role)
    print(f"{options.name} may log in now ({options.role}).")
    return 0


def _list(options: argparse.Namespace) -> int:
    for person in people.everybody(opened(options).desk):
        print(f"{person.name}\t{person.role}\t{'disabled' if person.disabled_at else 'may log in'}")
    return 0


def _reset(options: argparse.Namespace) -> int:
    people.reset(opened(options).desk, COMMAND, options.name, _password())
    print(f"{options.name} has a new password, and neither PIN nor second factor; all their logins have ended.")
    return 0


def _disable(options: argparse.Namespace) -> int:
    people.disable(opened(options).desk, COMMAND, options.name)
    print(f"{options.name} may not log in any more; all their sessions have ended.")
    return 0


def _password() -> str:
    if sys.stdin.isatty():
        return getpass.getpass("Password (at least 15 characters; four or five words do): ")
    return sys.stdin.readline().rstrip("\r\n")
