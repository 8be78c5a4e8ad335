"""The `benchwindow` command: each subcommand parses, calls the same action as the site, prints, and sets its status.

Status 0: done. 1: refused or failed, with one clear line for each reason on stderr. 2: wrong usage.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Sequence
from pathlib import Path

from sqlalchemy.exc import SQLAlchemyError

from portal.actions.archives import NoEncryption
from portal.actions.desk import NoPolicy, NotFound, Stale
from portal.cli import extras, forecast, keeping, past, people, policy, run, tickets, upkeep
from portal.cli.doors import ask_about_words
from portal.rules.refusals import Refused
from portal.settings import BadSetting, NoSecret
from portal.store.archive import NotAnArchive
from portal.store.engine import UnsafeDatabase
from portal.store.photo_files import NoPhotoStore


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command and tell its exit status."""
    options = parser().parse_args(arguments)
    try:
        ask_about_words(options)
        status: int = options.run(options)
    except Refused as refused:
        return _failed(*(str(reason) for reason in refused.reasons))
    except (
        NotFound,
        Stale,
        NoPolicy,
        BadSetting,
        NoSecret,
        NoPhotoStore,
        NoEncryption,
        NotAnArchive,
        UnsafeDatabase,
        OSError,
        ValueError,
    ) as fault:
        return _failed(str(fault))
    except SQLAlchemyError as fault:
        return _failed(f"The database does not answer as it should ({type(fault).__name__}). Try `benchwindow doctor`.")
    except KeyboardInterrupt:
        return 1
    return status


def parser() -> argparse.ArgumentParser:
    """The whole command with all its subcommands."""
    top = argparse.ArgumentParser(
        prog="benchwindow", description="The window between a repair bench and the people who own what lies on it."
    )
    top.add_argument("--data", type=Path, help="the data folder (else BENCHWINDOW_DATA, else ./data)")
    commands = top.add_subparsers(title="commands", metavar="COMMAND", required=True)
    for family in (run, people, tickets, extras, forecast, past, policy, keeping, upkeep):
        family.add_to(commands)
    return top


def _failed(*reasons: str) -> int:
    for reason in reasons:
        print(f"benchwindow: {' '.join(reason.split())}", file=sys.stderr)
    return 1
