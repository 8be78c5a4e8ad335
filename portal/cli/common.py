"""What the families of commands share."""

from __future__ import annotations

import argparse
import json
from collections.abc import Callable
from datetime import UTC, datetime
from typing import Any

from notifications.instants import as_utc
from portal.main import Installation, open_installation

Commands = Any  # argparse's subparsers object has no public name
Run = Callable[[argparse.Namespace], int]


def command(commands: Commands, name: str, run: Run, help_: str, example: str) -> argparse.ArgumentParser:
    """Add a subcommand with its help and an example of its use."""
    parser: argparse.ArgumentParser = commands.add_parser(
        name,
        help=help_,
        description=help_[0].upper() + help_[1:] + ".",
        epilog=f"example:\n  benchwindow {example}",
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.set_defaults(run=run)
    # Also after the subcommand; suppressed where absent, so that it does not undo the one before it.
    return parser


def opened(options: argparse.Namespace) -> Installation:
    """The installation that the options name."""
    return open_installation(options.data)


def moment(text: str) -> datetime:
    """A time as an argument, with its zone."""
    try:
        return as_utc(datetime.fromisoformat(text))
    except ValueError as fault:
        raise argparse.ArgumentTypeError(str(fault)) from None


def show_json(value: object) -> None:
    """Print a value as JSON: one line a value, so that scripts can read it line by line."""
    print(json.dumps(value, ensure_ascii=False, default=_plain))


def instant(moment: datetime) -> str:
    """A moment as the command writes it: UTC to the second."""
    return moment.astimezone(UTC).isoformat(timespec="seconds").replace("+00:00", "Z")


def _plain(value: object) -> str:
    return instant(value) if isinstance(value, datetime) else str(value)
