"""The tray in the store: lines in and out, two people at once, and the doors it shuts."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from threading import Barrier

import pytest

from portal.actions.desk import Desk, Outcome, Stale
from portal.actions.handover import hand_over, return_unrepaired
from portal.actions.moves import move
from portal.actions.tray import Ended, end, end_all, recount, strike, take_out
from portal.rules.refusals import AskFirst, Refused, Unfit
from portal.rules.tray import NewLine, TrayLine
from tests.actions.aftermath import assert_the_journal_rebuilds_the_row, everything, journal_of, ticket_of
from tests.actions.bench import WITHOUT_CODE, bring_to, tray_of
from tests.conftest import BENCH

SCREWS = NewLine("case screws", "8", taken_from="base", lies_at="mat, upper left", length_warning="two are longer")
FAN = NewLine("fan")


def test_lines_are_read_back_as_they_were_written(desk: Desk, number: str) -> None:
    take_out(desk, BENCH, number, [SCREWS, FAN])

    assert tray_of(desk, number) == [
        TrayLine(1, "case screws", 8, True, "base", "mat, upper left", "two are longer"),
        TrayLine(2, "fan", 1),
    ]
    entries = journal_of(desk, number)[-2:]
    assert [entry.data for entry in entries] == [{"line": "1", "count": "8"}, {"line": "2", "count": "1"}]
    assert (entries[0].text, entries[0].audience) == ("8 × case screws; 1 × fan", "bench")
    assert_the_journal_rebuilds_the_row(desk, number)


def test_one_bad_line_keeps_all_out(desk: Desk, number: str) -> None:
    before = everything(desk)

    with pytest.raises(Unfit):
        take_out(desk, BENCH, number, [SCREWS, NewLine("fan", "-1")])
    with pytest.raises(Unfit):
        take_out(desk, BENCH, number, [])
    assert everything(desk) == before


def test_lines_end_one_by_one_and_together(desk: Desk, number: str) -> None:
    take_out(desk, BENCH, number, [SCREWS, FAN])
    end(
        desk,
        BENCH,
        number,
        [Ended(1, "put back", 7), Ended(1, "replaced", 1, "M2 × 6"), Ended(2, "handed to the customer")],
    )

    screws, fan = tray_of(desk, number)
    assert (screws.put_back, screws.replaced, screws.replaced_by) == (7, 1, "M2 × 6")
    assert fan.handed_over == 1
    assert journal_of(desk, number)[-1].data == {
        "line": "2",
        "how": "handed to the customer",
        "count": "1",
        "left": "0",
    }


def test_ending_is_all_or_nothing(desk: Desk, number: str) -> None:
    take_out(desk, BENCH, number, [SCREWS, FAN])
    before = everything(desk)

    with pytest.raises(Unfit):
        end(desk, BENCH, number, [Ended(2, "put back"), Ended(1, "put back", 9)])
    with pytest.raises(Refused, match="no line 7"):
        end(desk, BENCH, number, [Ended(2, "put back"), Ended(7, "put back")])
    assert everything(desk) == before


def test_all_back_takes_one_deed(desk: Desk, number: str) -> None:
    take_out(desk, BENCH, number, [SCREWS, FAN, NewLine("spare", 2, whose="shop")])
    end_all(desk, BENCH, number, "put back")

    assert [line.left for line in tray_of(desk, number)] == [0, 0, 2]
    with pytest.raises(Refused, match="Nothing is left"):
        end_all(desk, BENCH, number, "put back")


def test_an_open_tray_warns_on_the_way_to_testing_and_blocks_at_ready(desk: Desk, number: str) -> None:
    take_out(desk, BENCH, number, [SCREWS])
    bring_to(desk, number, "board_work")

    with pytest.raises(AskFirst, match="still lies in the tray"):
        move(desk, BENCH, number, "testing")
    move(desk, BENCH, number, "testing", confirmed=True)
    with pytest.raises(Refused, match="still lies in the tray"):
        move(desk, BENCH, number, "ready", confirmed=True)
    end_all(desk, BENCH, number, "put back")
    move(desk, BENCH, number, "ready")


def test_a_device_opened_again_when_ready_is_not_handed_over_open(desk: Desk, number: str) -> None:
    bring_to(desk, number, "ready")
    take_out(desk, BENCH, number, [FAN])

    with pytest.raises(Refused, match="still lies in the tray"):
        hand_over(desk, BENCH, number, WITHOUT_CODE)
    end_all(desk, BENCH, number, "put back")
    hand_over(desk, BENCH, number, WITHOUT_CODE)


def test_a_device_goes_back_unrepaired_only_with_all_that_was_in_it(desk: Desk, number: str) -> None:
    take_out(desk, BENCH, number, [SCREWS])

    with pytest.raises(Refused, match="hand it to the customer"):
        return_unrepaired(desk, BENCH, number, "No spare parts.")
    end_all(desk, BENCH, number, "handed to the customer")
    return_unrepaired(desk, BENCH, number, "No spare parts.")


def test_a_correction_stands_in_the_journal_with_its_reason(desk: Desk, number: str) -> None:
    take_out(desk, BENCH, number, [SCREWS, FAN])
    recount(desk, BENCH, number, 1, "7", "One was missing before.")
    strike(desk, BENCH, number, 2, "Typed twice.")

    assert [(line.count, line.struck) for line in tray_of(desk, number)] == [(7, False), (1, True)]
    assert [entry.text for entry in journal_of(desk, number)[-2:]] == ["One was missing before.", "Typed twice."]


def test_a_tray_of_five_hundred_lines_is_kept_and_one_more_refused(desk: Desk, number: str) -> None:
    take_out(desk, BENCH, number, [NewLine(f"screw {place}", place % 9 + 1) for place in range(500)])

    assert len(tray_of(desk, number)) == 500
    with pytest.raises(Refused, match="500 lines already"):
        take_out(desk, BENCH, number, [FAN])
    end_all(desk, BENCH, number, "put back")
    assert not any(line.left for line in tray_of(desk, number))
    assert_the_journal_rebuilds_the_row(desk, number)


def test_whoever_saw_an_older_tray_is_told_what_happened(desk: Desk, number: str) -> None:
    seen = take_out(desk, BENCH, number, [SCREWS]).revision
    end(desk, BENCH, number, [Ended(1, "put back", 8)], seen=seen)

    with pytest.raises(Stale) as stale:
        end(desk, BENCH, number, [Ended(1, "put back", 8)], seen=seen)
    assert [entry.event for entry in stale.value.since] == ["tray_closed"]


def test_two_people_on_one_tray_never_put_back_more_than_came_out(desk: Desk, number: str) -> None:
    take_out(desk, BENCH, number, [SCREWS])
    together = Barrier(2)

    def put_back(_place: int) -> Outcome | Exception:
        together.wait()
        try:
            return end(desk, BENCH, number, [Ended(1, "put back", 5)])
        except (Refused, Stale) as refused:
            return refused

    with ThreadPoolExecutor(2) as pool:
        results = list(pool.map(put_back, range(2)))

    assert sum(isinstance(result, Outcome) for result in results) == 1
    assert [line.put_back for line in tray_of(desk, number)] == [5]
    assert_the_journal_rebuilds_the_row(desk, number)


def test_the_same_form_sent_twice_takes_out_once(desk: Desk, number: str) -> None:
    take_out(desk, BENCH, number, [SCREWS], deed_key="k1")
    take_out(desk, BENCH, number, [SCREWS], deed_key="k1")

    assert len(tray_of(desk, number)) == 1
    assert ticket_of(desk, number).revision == 2
