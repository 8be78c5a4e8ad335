"""Every command that takes free text asks about what nobody needs, as the site does, and keeps it when told so."""

from __future__ import annotations

import argparse
import json
from collections.abc import Iterator
from pathlib import Path

import pytest

from portal import cli
from tests.conftest import Run

PASSCODE, CARD, IDENTIFIER = "The PIN is 4711", "4111 1111 1111 1111", "AB 12 34 56 C"
# Options that hold no free text: numbers, keys, addresses, names by which the staff log in, files, times, places.
NO_WORDS = {
    "number",
    "stage",
    "kind",
    "email",
    "phone",
    "language",
    "code",
    "amount",
    "on",
    "tax",
    "name",
    "names",
    "thing",
    "sent",
    "heard",
    "host",
    "reference",
}


def leaves(parser: argparse.ArgumentParser, path: str = "") -> Iterator[tuple[str, argparse.ArgumentParser]]:
    """Every command that does something, with its parser."""
    groups = [action for action in parser._actions if isinstance(action, argparse._SubParsersAction)]
    if not groups:
        yield path.strip(), parser
    for group in groups:
        for name, child in group.choices.items():
            yield from leaves(child, f"{path} {name}")


COMMANDS = dict(leaves(cli.parser()))


@pytest.mark.parametrize("name", sorted(COMMANDS))
def test_every_option_that_holds_words_is_looked_at(name: str) -> None:
    parser = COMMANDS[name]
    looked_at = parser.get_default("free_text") or ()
    texts = {
        action.dest
        for action in parser._actions
        if action.nargs != 0 and action.type is None and not action.choices and action.dest != "help"
    }

    assert texts - set(looked_at) <= NO_WORDS
    assert bool(looked_at) <= any("--yes-keep" in action.option_strings for action in parser._actions)


@pytest.fixture
def number(shop: Run) -> str:
    _status, out, _err = shop("ticket", "add", "--device", "Console", "--fault", "Does not charge", "--json")
    return str(json.loads(out)["number"])


@pytest.mark.parametrize(
    "words",
    [
        ("ticket", "add", "--device", "Phone", "--fault", "{secret}"),
        ("ticket", "add", "--device", "Phone, {secret}", "--fault", "Broken"),
        ("ticket", "note", "{number}", "{secret}"),
        ("ticket", "note", "{number}", "{secret}", "--for", "customer"),
        ("ticket", "hold", "{number}", "customer", "--why", "{secret}"),
        ("ticket", "move", "{number}", "cleaning", "--why", "{secret}", "--confirm"),
        ("ticket", "handover", "{number}", "--unrepaired", "--why", "{secret}"),
        ("extra", "ask", "{number}", "--what", "{secret}", "--line", "Port;1;18.50"),
        ("extra", "ask", "{number}", "--what", "New port", "--line", "{secret};1;18.50"),
        ("extra", "ask", "{number}", "--what", "New port", "--line", "Port;1;18.50", "--found", "{secret}"),
    ],
    ids=" ".join,
)
@pytest.mark.parametrize(
    ("secret", "says"), [(PASSCODE, "passcode"), (CARD, "payment card"), (IDENTIFIER, "identity or insurance number")]
)
def test_each_door_asks_the_same_and_keeps_what_is_meant(
    shop: Run, number: str, words: tuple[str, ...], secret: str, says: str
) -> None:
    arguments = [word.format(number=number, secret=secret) for word in words]
    before = shop("ticket", "show", number, "--json")[1], shop("tickets", "--json")[1]

    status, out, err = shop(*arguments)
    assert (status, out) == (1, "")
    assert says in err
    assert "--yes-keep" in err
    assert (shop("ticket", "show", number, "--json")[1], shop("tickets", "--json")[1]) == before

    assert shop(*arguments, "--yes-keep")[0] == 0
    assert (shop("ticket", "show", number, "--json")[1], shop("tickets", "--json")[1]) != before


def test_an_erasures_reason_is_asked_about_before_anything_goes(shop: Run, number: str) -> None:
    shop("ticket", "handover", number, "--unrepaired", "--why", "Beyond repair.")

    status, _out, err = shop("erase", number, "--why", CARD)
    assert status == 1
    assert "payment card" in err
    assert "Console" in shop("ticket", "show", number)[1]

    assert shop("erase", number, "--why", CARD, "--yes-keep")[0] == 0


def test_the_number_of_a_card_is_refused_as_a_reference_and_no_flag_is_offered_that_would_keep_it(
    shop: Run, number: str
) -> None:
    status, _out, err = shop("ticket", "pay", number, "5", "--how", "cash", "--reference", CARD)

    assert status == 1
    assert "It is never written down here" in err
    assert "--yes-keep" not in err


def test_a_spreadsheet_is_looked_at_line_by_line_and_none_of_it_is_taken_over(shop: Run, tmp_path: Path) -> None:
    file = tmp_path / "list.csv"
    file.write_text(f"Received,Device,Fault\n2026-01-05,Radio,Hums\n2026-01-06,Phone,{PASSCODE}\n", encoding="utf-8")

    status, out, err = shop("import", str(file))
    assert status == 1
    assert "line 3: This looks like a passcode" in err
    assert "--yes-keep" in err
    assert "2 rows: 1 can be taken over, 1 cannot." in out
    assert json.loads(shop("tickets", "--json")[1]) == []

    assert shop("import", str(file), "--yes-keep")[0] == 0
    assert len(json.loads(shop("tickets", "--json")[1])) == 2


def test_the_old_spelling_of_the_flag_still_keeps_a_note(shop: Run, number: str) -> None:
    assert shop("ticket", "note", number, PASSCODE, "--confirm")[0] == 0
