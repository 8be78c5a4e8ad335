"""`extra ask`, `extra list`, `proof verify`: questions about money for scripts."""

from __future__ import annotations

import json
import sqlite3
from pathlib import Path

import pytest

from portal.actions import answers
from portal.main import open_installation
from tests.conftest import Run


@pytest.fixture
def number(shop: Run) -> str:
    added = shop("ticket", "add", "--device", "Radio", "--fault", "Hums", "--email", "ada@example.org", "--json")
    return json.loads(added[1])["number"]


def ask(shop: Run, number: str) -> str:
    line = ("--line", "Port;1;18.50", "--line", "Work;1;30")
    status, out, err = shop("extra", "ask", number, "--what", "Replace the port", *line, "--json")
    assert (status, err) == (0, "")
    assert json.loads(out)["state"] == "put to the customer"
    return json.loads(out)["question"]


def test_a_question_is_asked_and_listed(shop: Run, number: str) -> None:
    ref = ask(shop, number)

    (told,) = json.loads(shop("extra", "list", number, "--json")[1])

    assert (told["question"], told["state"], told["currency"]) == (ref, "put to the customer", "GBP")
    assert told["options"] == [{"key": "a", "what": "Replace the port", "total_minor": 4850}]
    assert json.loads(shop("tickets", "--json")[1])[0]["hold"] == "approval"


def test_the_list_can_be_read_by_people(shop: Run, number: str) -> None:
    ref = ask(shop, number)

    assert shop("extra", "list", number)[1] == f"{ref}  extra  £48.50  put to the customer\n"


def test_a_rate_that_the_shop_has_not_is_refused(shop: Run, number: str) -> None:
    line = ("--line", "Port;1;18.50", "--tax", "20")

    assert shop("extra", "ask", number, "--what", "Replace the port", *line)[0] == 1


@pytest.mark.parametrize("line", ["Port;1", "Port", "Port;1;2;3"])
def test_a_line_has_three_parts(shop: Run, number: str, line: str) -> None:
    assert shop("extra", "ask", number, "--what", "Replace the port", "--line", line)[0] == 2


def test_a_price_that_is_none_is_one_clear_line(shop: Run, number: str) -> None:
    status, _out, err = shop("extra", "ask", number, "--what", "Replace the port", "--line", "Port;1;dear")

    assert status == 1
    assert len(err.splitlines()) == 1


def test_the_chain_holds_until_one_byte_of_the_row_is_changed(
    shop: Run,
    number: str,
    tmp_path: Path,
) -> None:
    ref = ask(shop, number)
    house = open_installation(tmp_path / "shop")
    answers.answer(house.desk, number, ref, answers.Answer(1, "en", "a", "YES"))
    house.engine.dispose()
    assert shop("proof", "verify")[:2] == (0, "1 proofs of 1 repairs, 0 broken\n")
    assert shop("proof", "verify", number)[0] == 0

    with sqlite3.connect(tmp_path / "shop" / "benchwindow.db") as plain:
        with pytest.raises(sqlite3.IntegrityError, match="a proof is never changed"):
            plain.execute("UPDATE proofs SET place = 2")
        plain.execute("DROP TRIGGER proofs_are_not_rewritten")
        plain.execute("UPDATE proofs SET document = replace(document, '4850', '9850')")
    plain.close()

    status, out, err = shop("proof", "verify")
    assert status == 1
    assert "1 broken" in out
    assert "proof 1 does not hold" in err
