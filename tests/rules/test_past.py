"""A shop's past from a spreadsheet: columns by name, days in the shop's habit, and no row that cannot be true."""

from __future__ import annotations

import tomllib
from datetime import UTC, date, datetime

import pytest
from hypothesis import given
from hypothesis import strategies as st

from portal import resources
from portal.rules.past import EARLIEST, Columns, Fault, Order, Past, matched, read_date, read_rows
from portal.rules.policy import Policy
from portal.rules.refusals import Refused
from portal.rules.stages import Ending

POLICY = Policy.model_validate(tomllib.loads(resources.default_policy().read_text(encoding="utf-8")))
NOW = datetime(2026, 3, 2, 9, 0, tzinfo=UTC)
HEADINGS = {"received": "In", "ready": "Done", "ended": "Out", "device": "What", "name": "Who", "email": "Mail"}


def read(
    *rows: dict[str, str], headings: dict[str, str] = HEADINGS, dates: Order = "dmy"
) -> tuple[list[Past], list[Fault]]:
    return read_rows(enumerate(rows, 2), Columns(headings, dates), POLICY, NOW)


def one(**cells: str) -> Past:
    (good,), bad = read(cells)
    assert bad == []
    return good


@pytest.mark.parametrize(
    ("text", "order", "day"),
    [
        ("3.2.2026", "dmy", date(2026, 2, 3)),
        ("03/02/26", "dmy", date(2026, 2, 3)),
        ("2/3/2026", "mdy", date(2026, 2, 3)),
        ("2026-02-03", "mdy", date(2026, 2, 3)),  # ISO 8601 is read whatever the habit
        ("2026-02-03T17:20:00", "dmy", date(2026, 2, 3)),
        ("2026/2/3 17:20", "ymd", date(2026, 2, 3)),
    ],
)
def test_days_are_read_in_the_shops_habit(text: str, order: Order, day: date) -> None:
    assert read_date(text, order) == day


@pytest.mark.parametrize("text", ["31.2.2026", "2/30", "yesterday", "1.2.3.4", "٣.٢.٢٠٢٦", "0.0.0", "-", "99999.1.1"])
def test_what_is_no_day_is_refused(text: str) -> None:
    with pytest.raises(Refused, match="is not a day"):
        read_date(text, "dmy")


@given(st.dates(date(2000, 1, 1), date(2099, 12, 31)), st.sampled_from(["dmy", "mdy", "ymd"]), st.sampled_from("./-"))
def test_every_day_is_read_back_as_it_was_written(day: date, order: Order, sign: str) -> None:
    parts = {"d": f"{day.day}", "m": f"{day.month:02}", "y": f"{day.year}"}

    assert read_date(sign.join(parts[letter] for letter in order), order) == day


def test_columns_are_known_by_their_own_name_or_by_what_was_said() -> None:
    found = ["Received", "Date out", "Device", "Colour"]

    assert matched(found, {"ended": "date OUT"}, POLICY) == {
        "received": "Received",
        "device": "Device",
        "ended": "Date out",
    }


def test_everything_wrong_with_the_columns_is_told_at_once() -> None:
    with pytest.raises(Refused) as refused:
        matched(["In"], {"shoe size": "In", "ended": "Out"}, POLICY)

    assert len(refused.value.reasons) == 2


def test_a_list_without_a_day_of_arrival_is_refused_with_what_to_say() -> None:
    with pytest.raises(Refused, match=r"--column “received=Date in”.*In, Out"):
        matched(["In", "Out"], {}, POLICY)


def test_a_finished_repair_lasts_from_opening_to_closing() -> None:
    past = one(In="2.2.2026", Done="6.2.2026", Out="9.2.2026", What="Radio")

    # The default shop opens at nine and closes at half past five, London time.
    assert (past.received.hour, past.received.day) == (9, 2)
    assert [(stage, at.day) for stage, at in past.moves] == [("ready", 6)]
    assert past.ended is not None
    assert past.ended.day == 9
    assert past.ended.hour > past.received.hour
    assert past.ending is Ending.COLLECTED
    assert not past.stages_known


def test_nobodys_name_is_read_of_a_repair_that_is_over() -> None:
    past = one(In="2.2.2026", Done="6.2.2026", Out="9.2.2026", What="Radio", Who="Ada", Mail="ada@example.org")

    assert (past.name, past.email, past.phone, past.fault) == ("", "", "", "")


def test_a_repair_that_goes_on_keeps_whom_to_tell() -> None:
    past = one(In="2.2.2026", What="Radio", Who="Ada", Mail="ada@example.org")

    assert (past.name, past.email, past.ending, past.ended) == ("Ada", "ada@example.org", None, None)


def test_what_never_was_ready_went_back_as_it_came() -> None:
    assert one(In="2.2.2026", Out="9.2.2026").ending is Ending.RETURNED


def test_the_days_of_the_stages_are_read_where_the_list_has_them() -> None:
    (past,), bad = read(
        {"In": "2.2.2026", "Clean": "3.2.2026", "Done": "6.2.2026", "Out": "9.2.2026"},
        headings={"received": "In", "stage.cleaning": "Clean", "ready": "Done", "ended": "Out"},
    )

    assert bad == []
    assert [stage for stage, _at in past.moves] == ["cleaning", "ready"]
    assert past.stages_known


@pytest.mark.parametrize(
    ("cells", "reason"),
    [
        ({"In": ""}, "There is no day of arrival"),
        ({"In": "9.2.2026", "Out": "2.2.2026"}, "“ended” (2026-02-02) lies before “received” (2026-02-09)"),
        ({"In": "9.2.2026", "Done": "8.2.2026", "Out": "10.2.2026"}, "“ready” (2026-02-08) lies before"),
        ({"In": "3.3.2026", "What": "Radio"}, "still to come"),
        ({"In": "31.12.1989", "What": "Radio"}, f"before {EARLIEST}"),
        ({"In": "2.2.2026"}, "The device is missing"),
        ({"In": "2.2.2026", "What": "Radio", "Mail": "nobody"}, "not one e-mail address"),
    ],
)
def test_a_row_that_cannot_be_true_is_told_with_its_line(cells: dict[str, str], reason: str) -> None:
    good, bad = read({"In": "2.2.2026", "What": "Radio"}, cells)

    assert [past.line for past in good] == [2]
    assert [fault.line for fault in bad] == [3]
    assert reason in str(bad[0].reason)


def test_every_impossible_day_of_a_row_is_told() -> None:
    _good, bad = read({"In": "1.1.1889", "Out": "32.1.2026"})

    assert len(bad) == 2


def test_a_device_that_came_today_did_not_come_later_than_now() -> None:
    past = one(In="2.3.2026", Done="2.3.2026", Out="2.3.2026")

    assert past.ended == NOW


def test_a_repair_on_a_closed_day_happened_at_noon() -> None:
    assert one(In="1.3.2026", What="Radio").received == datetime(2026, 3, 1, 12, tzinfo=UTC)  # a Sunday
