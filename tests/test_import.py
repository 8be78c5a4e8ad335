"""`import`: a dry run tells every bad row, columns are said once, and nothing is half taken over."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from tests.conftest import Run

GOOD = "Date in,Date out,Device\n05/01/2026,12/01/2026,Radio\n06/01/2026,,Amplifier\n"
SAID = ("--column", "received=Date in", "--column", "ended=Date out")


@pytest.fixture
def file(tmp_path: Path) -> Path:
    file = tmp_path / "list.csv"
    file.write_text(GOOD, encoding="utf-8")
    return file


def test_a_dry_run_takes_nothing_over(shop: Run, file: Path) -> None:
    status, out, _err = shop("import", str(file), "--dry-run", *SAID)

    assert status == 0
    assert "2 rows: 2 can be taken over" in out
    assert "Nothing was taken over" in out
    assert json.loads(shop("tickets", "--json")[1]) == []


def test_what_was_said_of_the_columns_is_kept(shop: Run, file: Path) -> None:
    shop("import", str(file), "--dry-run", *SAID)

    status, out, err = shop("import", str(file), "--json")

    assert (status, err) == (0, "")
    assert json.loads(out) == {"rows": 2, "good": 2, "bad": 0, "taken_over": 2}
    assert len(json.loads(shop("tickets", "--json")[1])) == 1


def test_one_bad_row_keeps_all_out_and_is_told_by_line(shop: Run, file: Path) -> None:
    file.write_text(GOOD + "13/13/2026,,Radio\n", encoding="utf-8")

    status, out, err = shop("import", str(file), *SAID)

    assert status == 1
    assert "line 4: “13/13/2026” is not a day" in err
    assert "Mend these lines" in err
    assert "Nothing was taken over" in out
    assert json.loads(shop("tickets", "--json")[1]) == []


def test_columns_that_nobody_named_are_asked_for(shop: Run, file: Path) -> None:
    status, _out, err = shop("import", str(file))

    assert status == 1
    assert "Which column holds the day of arrival?" in err


def test_a_file_that_is_not_there_is_one_clear_line(shop: Run, tmp_path: Path) -> None:
    status, _out, err = shop("import", str(tmp_path / "nowhere.csv"))

    assert status == 1
    assert len(err.splitlines()) == 1
