"""Ready windows by command: `forecast`."""

from __future__ import annotations

import argparse

from portal.actions import forecasts
from portal.actions.desk import find
from portal.cli.common import Commands, command, opened, show_json
from portal.rules.backtest import Verdict, by, judged
from portal.rules.forecast import Thin
from portal.rules.numbers import spoken

HOUR = 3600.0


def add_to(commands: Commands) -> None:
    """Add `forecast`."""
    parser = command(
        commands,
        "forecast",
        _forecast,
        "say when devices will probably be ready, and how true that was",
        "forecast --backtest",
    )
    parser.add_argument("number", nargs="?", help="only this repair")
    parser.add_argument("--backtest", action="store_true", help="go through the past again and print how true it was")
    parser.add_argument("--json", action="store_true", help="print JSON")


def _forecast(options: argparse.Namespace) -> int:
    house = opened(options)
    if options.backtest:
        return _backtest(options, forecasts.backtest(house.desk))
    number = None
    if options.number:
        with house.desk.reading() as connection:
            number = find(connection, options.number).number
    told = forecasts.windows(house.desk, number)
    if options.json:
        show_json([_as_data(each) for each in told])
        return 0
    for each in told:
        print(f"{spoken(each.number)}  {_in_words(each)}")
    if not told:
        print("Nothing here waits to become ready.")
    return 0


def _backtest(options: argparse.Namespace, cases: list) -> int:  # type: ignore[type-arg]
    if not cases:
        print("The past is too thin: fewer than 20 finished repairs in every state.")
        return 0
    if options.json:
        show_json([_verdict_as_data(verdict) for verdict in judged(cases)])
        return 0
    print("method            chance  cases  held   band          width h  interval h  pinball h")
    for verdict in judged(cases):
        print(_row(verdict))
    for title, groups in (("by kind", by(cases, lambda case: case.kind)), ("by age", by(cases, _age))):
        print(f"\n{title}")
        for name, verdicts in groups.items():
            for verdict in verdicts:
                if verdict.method == "shop":
                    print(f"{name:12} {_row(verdict)}")
    return 0


def _age(case) -> str:  # type: ignore[no-untyped-def]
    hours = case.age / HOUR
    return "on arrival" if hours == 0 else "first 8 h" if hours <= 8 else "8 to 40 h" if hours <= 40 else "later"


def _row(verdict: Verdict) -> str:
    low, high = verdict.band
    return (
        f"{verdict.method:16}  {verdict.chance:4.0%}  {verdict.cases:6}  {verdict.coverage:5.1%}  "
        f"{low:4.0%}–{high:4.0%} {'in' if verdict.within else 'OUT':3}  {verdict.width / HOUR:7.1f}  "
        f"{verdict.interval_score / HOUR:10.1f}  {verdict.pinball / HOUR:9.2f}"
    )


def _in_words(told: forecasts.Told) -> str:
    answer = told.answer
    if isinstance(answer, Thin) and answer.found >= answer.needed:
        return "here longer than anything before it, so the past says nothing more"
    if isinstance(answer, Thin):
        return f"too little past: {answer.found} finished of {answer.needed} that are needed"
    return f"probably ready between {answer.first} and {answer.last} ({answer.chance:.0%}); median {answer.median}"


def _as_data(told: forecasts.Told) -> dict[str, object]:
    answer = told.answer
    if isinstance(answer, Thin):
        return {"number": spoken(told.number), "window": None, "finished": answer.found, "needed": answer.needed}
    return {
        "number": spoken(told.number),
        "window": [answer.first, answer.last],
        "median": answer.median,
        "chance": answer.chance,
    }


def _verdict_as_data(verdict: Verdict) -> dict[str, object]:
    return {
        "method": verdict.method,
        "chance": verdict.chance,
        "cases": verdict.cases,
        "coverage": verdict.coverage,
        "band": list(verdict.band),
        "width_seconds": verdict.width,
        "interval_score": verdict.interval_score,
        "pinball": verdict.pinball,
    }
