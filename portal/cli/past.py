"""Taking over a shop's past: `import`."""

from __future__ import annotations

import argparse
import sys
import tomllib
from pathlib import Path

import tomlkit

from portal.actions import past
from portal.actions.desk import COMMAND
from portal.cli.common import Commands, command, opened, show_json
from portal.cli.doors import MEANT, takes_words
from portal.rules.past import ORDERS, Columns, Fault, Past, matched, read_rows
from portal.rules.refusals import Refused
from portal.rules.secrets import warnings
from portal.rules.sentences import say

SAVED = "import.toml"  # in the data folder: what was said of the columns, so that it is said once


def add_to(commands: Commands) -> None:
    """Add `import`."""
    parser = command(
        commands,
        "import",
        _import,
        "take repairs over from a spreadsheet, all of it or nothing",
        'import list.csv --dry-run --column "received=Date in" --column "ended=Date out" --dates dmy',
    )
    parser.add_argument("file", type=Path, help="a CSV file; its first line names the columns")
    parser.add_argument("--dry-run", action="store_true", help="only say what would be taken over")
    parser.add_argument(
        "--column",
        action="append",
        default=[],
        type=_column,
        metavar="FIELD=HEADING",
        help="which column holds what: received, ready, ended, ending, device, kind, fault, name, email, phone, "
        "stage.KEY; what was said is kept for the next time",
    )
    parser.add_argument("--dates", choices=ORDERS, help="the order of day, month and year; ISO dates are always read")
    parser.add_argument("--json", action="store_true", help="print one line of JSON")
    takes_words(parser)


def _import(options: argparse.Namespace) -> int:
    house = opened(options)
    content = options.file.read_bytes()
    found, rows = past.read_table(content)
    with house.desk.reading() as connection:
        policy = house.desk.policy(connection)
    saved = _saved(house.settings.data / SAVED)
    known = {field: heading for field, heading in saved.headings.items() if heading in found}
    headings = matched(found, known | dict(options.column), policy)
    columns = Columns(headings, options.dates or saved.dates)
    good, bad = read_rows(rows, columns, policy, house.desk.clock.now())
    asked = [] if options.yes_keep else [fault for row in good for fault in _asked_about(row)]
    good, bad = [row for row in good if row.line not in {fault.line for fault in asked}], bad + asked
    for fault in bad:
        print(f"line {fault.line}: {fault.reason}", file=sys.stderr)
    _keep(house.settings.data / SAVED, columns)
    taken = 0 if bad or options.dry_run else past.take_over(house.desk, COMMAND, good, content)
    if options.json:
        show_json(
            {"rows": len(rows), "good": len(good), "bad": len({fault.line for fault in bad}), "taken_over": taken}
        )
    else:
        print(f"{len(rows)} rows: {len(good)} can be taken over, {len({fault.line for fault in bad})} cannot.")
        print(f"{taken} repairs taken over." if taken else "Nothing was taken over.")
    if bad and not options.dry_run:
        mend = say("Nothing was taken over. Mend these lines in the spreadsheet, or take them out, and try again.")
        raise Refused(mend, *([MEANT] if asked else []))
    return 1 if bad else 0


def _asked_about(row: Past) -> list[Fault]:
    """What in a row's words looks like something that nobody needs."""
    return [Fault(row.line, warning) for warning in warnings(row.device, row.fault, row.name)]


def _column(text: str) -> tuple[str, str]:
    field, sign, heading = text.partition("=")
    if not (field.strip() and sign and heading.strip()):
        raise argparse.ArgumentTypeError("write it like received=Date in")
    return field.strip(), heading.strip()


def _saved(file: Path) -> Columns:
    if not file.exists():
        return Columns({})
    kept = tomllib.loads(file.read_text(encoding="utf-8"))
    return Columns(kept.get("columns", {}), kept.get("dates", "dmy"))


def _keep(file: Path, columns: Columns) -> None:
    file.write_text(tomlkit.dumps({"dates": columns.dates, "columns": dict(columns.headings)}), encoding="utf-8")
