"""`ticket pay` and what `ticket show` tells of money, for scripts."""

from __future__ import annotations

import json

import pytest

from portal.actions import questions
from portal.actions.answers import record
from portal.actions.desk import COMMAND
from portal.main import open_installation
from portal.rules.offers import TypedLine, TypedOffer, TypedOption
from tests.conftest import Run


@pytest.fixture
def number(shop: Run, tmp_path) -> str:
    """A radio for which 48.50 was agreed."""
    added = shop("ticket", "add", "--device", "Radio", "--fault", "Hums", "--email", "ada@example.org", "--json")
    number = json.loads(added[1])["number"]
    asked = shop("extra", "ask", number, "--what", "New capacitors", "--line", "Work;1;48.50", "--json")
    house = open_installation(tmp_path / "shop")
    record(house.desk, COMMAND, number, json.loads(asked[1])["question"], "a", "telephone", "Ada, to Kim")
    house.engine.dispose()
    return number


def money(shop: Run, number: str) -> dict[str, object]:
    return json.loads(shop("ticket", "show", number, "--json")[1])["money"]


def test_money_is_taken_given_back_and_told(shop: Run, number: str) -> None:
    assert "open 48.50 GBP" in shop("ticket", "show", number)[1]

    status, out, err = shop("ticket", "pay", number, "60", "--how", "card terminal", "--reference", "till 7")
    assert (status, err) == (0, "")
    assert "money taken" in out
    assert "owed back 11.50 GBP" in shop("ticket", "show", number)[1]

    assert shop("ticket", "pay", number, "11.50", "--how", "cash", "--back")[0] == 0
    assert money(shop, number) == {
        "currency": "GBP",
        "charged_minor": 4850,
        "paid_minor": 4850,
        "open_minor": 0,
        "owed_back_minor": 0,
    }


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (("1.234", "--how", "cash"), "“1.234” is not an amount"),
        (("-5", "--how", "cash"), ""),
        ((str(10**12), "--how", "cash"), "too large"),
        (("5", "--how", "cash", "--reference", "4111 1111 1111 1111"), "number of a card"),
        (("5", "--how", "cash", "--on", "someday"), "is not a date"),
        (("5", "--how", "cheque"), "invalid choice"),
        (("5",), "--how"),
        (("5", "--how", "cash", "--back"), "owed back"),
    ],
)
def test_what_does_not_fit_is_one_clear_line_and_takes_nothing(
    shop: Run, number: str, arguments: tuple[str, ...], says: str
) -> None:
    status, _out, err = shop("ticket", "pay", number, *arguments)

    assert status != 0
    assert says in err
    assert money(shop, number)["paid_minor"] == 0


def test_a_device_goes_unpaid_only_with_a_word(shop: Run, number: str) -> None:
    for stage in ("board_work", "testing", "ready"):
        shop("ticket", "move", number, stage, "--confirm")

    status, _out, err = shop("ticket", "handover", number, "--why", "Known here")
    assert (status, "still to be paid" in err) == (1, True)

    assert shop("ticket", "handover", number, "--why", "Known here", "--unpaid", "By transfer")[0] == 0


def test_a_cancellation_is_shown_then_entered(shop: Run, tmp_path) -> None:
    added = shop("ticket", "add", "--device", "Radio", "--fault", "Hums", "--email", "ada@example.org", "--json")
    number = json.loads(added[1])["number"]
    house = open_installation(tmp_path / "shop")
    offer = TypedOffer(options=[TypedOption("New capacitors", [TypedLine("Work", "1", "48.50")])])
    ref = questions.draft(house.desk, COMMAND, number, offer, put_at_once=True, at_distance=True).ref
    record(house.desk, COMMAND, number, ref, "a", "telephone", "Ada, to Kim", begin="early")
    questions.start_work(house.desk, COMMAND, number, ref)
    house.engine.dispose()
    cancelled = (
        "extra",
        "cancelled",
        number,
        "--thing",
        f"{ref}=40",
        "--how",
        "letter",
        "--words",
        "Ada; in the folder",
    )

    status, out, err = shop(*cancelled)
    assert (status, err) == (0, "")
    assert "19.40 GBP are owed for the 40 %" in out
    assert money(shop, number)["charged_minor"] == 4850

    status, out, err = shop(*cancelled, "--enter")
    assert (status, err) == (0, "")
    assert "is entered as cancelled" in out
    assert money(shop, number)["charged_minor"] == 1940

    status, _out, err = shop(*cancelled, "--enter")
    assert status == 1
    assert "was cancelled already" in err
