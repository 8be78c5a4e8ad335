"""The shop's policy by command."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

from portal.actions import retention, shop
from portal.actions.desk import COMMAND
from portal.cli.common import Commands, command, opened
from portal.rules.policy_check import check
from portal.rules.retention import REGISTER


def add_to(commands: Commands) -> None:
    """Add `policy …`."""
    group = commands.add_parser("policy", help="the shop's policy", description="What the shop decides for itself.")
    deeds = group.add_subparsers(title="deeds", metavar="DEED", required=True)
    look = command(deeds, "check", _check, "name every fault of a policy file", "policy check policy.toml")
    look.add_argument("file", type=Path)
    load = command(deeds, "load", _load, "make a file the policy in force", "policy load policy.toml")
    load.add_argument("file", type=Path)
    show = command(deeds, "show", _show, "print the policy as TOML, loadable again", "policy show --revision 3")
    show.add_argument("--revision", type=int, help="another than the one in force")


def _check(options: argparse.Namespace) -> int:
    faults = check(options.file.read_text(encoding="utf-8"))
    for fault in faults:
        print(f"benchwindow: {fault}", file=sys.stderr)
    if not faults:
        print("The policy is in order.")
    return 1 if faults else 0


def _load(options: argparse.Namespace) -> int:
    desk, text = opened(options).desk, options.file.read_text(encoding="utf-8")
    going = retention.would_go(desk, text, desk.clock.now()) if not check(text) else []
    revision = shop.load_policy(desk, COMMAND, text)
    for each in going:
        print(f"With its periods {each.count} of “{REGISTER[each.kept].name}” go with the next purge.")
    print(f"Policy revision {revision} is in force.")
    return 0


def _show(options: argparse.Namespace) -> int:
    print(shop.show_policy(opened(options).desk, options.revision), end="")
    return 0
