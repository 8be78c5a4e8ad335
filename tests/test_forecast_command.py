"""`forecast`: a window or a word on why there is none, and how true windows have been."""

from __future__ import annotations

import json
from datetime import date, timedelta
from pathlib import Path

from tests.conftest import Run


def past(file: Path, many: int) -> str:
    """A spreadsheet of repairs that are over, one a day, each a little longer than the one before the last."""
    rows = ["received,stage.cleaning,ready,ended,device"]
    for each in range(many):
        came = date(2026, 1, 5) + timedelta(days=each)
        ready = came + timedelta(days=3 + each % 7)
        rows.append(f"{came},{came + timedelta(days=1)},{ready},{ready + timedelta(days=2)},Radio")
    file.write_text("\n".join(rows) + "\n", encoding="utf-8")
    return str(file)


def test_a_new_shop_says_that_its_past_is_too_thin(shop: Run) -> None:
    shop("ticket", "add", "--device", "Radio", "--fault", "Hums")

    assert "too little past: 0 finished of 20" in shop("forecast")[1]
    assert shop("forecast", "--backtest")[1].startswith("The past is too thin")


def test_a_past_taken_over_gives_a_window_on_the_first_day(shop: Run, tmp_path: Path) -> None:
    assert shop("import", past(tmp_path / "past.csv", 90))[0] == 0
    number = json.loads(shop("ticket", "add", "--device", "Radio", "--fault", "Hums", "--json")[1])["number"]

    status, out, err = shop("forecast", number, "--json")

    assert (status, err) == (0, "")
    (told,) = json.loads(out)
    first, last = map(date.fromisoformat, told["window"])
    assert first <= date.fromisoformat(told["median"]) <= last
    assert told["chance"] == 0.8


def test_the_backtest_prints_every_method_beside_the_others(shop: Run, tmp_path: Path) -> None:
    shop("import", past(tmp_path / "past.csv", 90))

    verdicts = json.loads(shop("forecast", "--backtest", "--json")[1])

    assert {verdict["method"] for verdict in verdicts} == {"shop", "usual", "mean and spread", "finished only"}
    assert {verdict["chance"] for verdict in verdicts} == {0.5, 0.8}
    assert "by kind" in shop("forecast", "--backtest")[1]
