"""Upkeep: the sweeps of the clock by hand, and a look over the installation."""

from __future__ import annotations

import argparse

from notifications.instants import FixedClock
from portal import doctor
from portal.cli.common import Commands, command, moment, show_json
from portal.main import open_installation


def add_to(commands: Commands) -> None:
    """Add `sweep`, `doctor`."""
    sweep = command(
        commands, "sweep", _sweep, "do each pass of the clock once", "sweep remind send --at 2026-03-02T09:00+00:00"
    )
    sweep.add_argument("names", nargs="*", metavar="NAME", help="only these, in the fixed order")
    sweep.add_argument("--at", type=moment, help="as if at that time, with its zone")
    command(commands, "doctor", _doctor, "look the installation over and say what to mend", "doctor")


def _sweep(options: argparse.Namespace) -> int:
    clock = FixedClock(options.at) if options.at else None
    house = open_installation(options.data, clock=clock)
    failed = 0
    for name, tally in house.sweep(options.names, explicit=options.at is not None):
        told = {"sweep": name, "looked_at": tally.looked_at, "done": tally.done, "failed": tally.failed}
        show_json(told | ({"held": tally.held} if tally.held else {}))
        failed += tally.failed
    return 1 if failed else 0


def _doctor(options: argparse.Namespace) -> int:
    findings = doctor.look_over(options.data)
    for finding in findings:
        print(finding)
    return 1 if any(finding.must_be_mended for finding in findings) else 0
