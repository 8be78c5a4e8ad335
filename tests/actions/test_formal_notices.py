"""The formal path as deeds: letters made, posted, taken back; what stops them at once; the tool decides nothing."""

from __future__ import annotations

import ast
from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path as File

import pytest

from notifications.instants import FixedClock
from portal import resources
from portal.actions import complaints, formal_path, moves, ownership, payments
from portal.actions import formal_notices as deeds
from portal.actions.collection import remind
from portal.actions.desk import By, Desk
from portal.actions.formal_notices import Sold, Typed
from portal.actions.formal_path import Path
from portal.actions.handover import hand_over
from portal.actions.intake import NewDevice, NewVisit, take_in
from portal.actions.payments import Typed as Payment
from portal.actions.price_terms import TypedTerms
from portal.actions.record import object_to, record
from portal.rules.intake_record import Record
from portal.rules.refusals import Refused, Unfit
from portal.rules.stages import Ending
from portal.store import policies
from portal.store.formal_notices import Kept
from portal.store.photo_files import PhotoFiles
from tests.actions.aftermath import everything, journal_of, messages, ticket_of
from tests.actions.bench import WITHOUT_CODE, bring_to
from tests.conftest import BENCH

LAW = '\n[collection]\nlaw = "england-wales-northern-ireland"\n'
TYPED = Typed(
    recipient="Ada Marsh",
    address="12 Harbour Rise\nQuayhaven",
    goods="Handheld console, blue",
    held_at="1 Example Lane, Exampleton",
    owed="48.50",
    owed_for="The repair, as agreed on 2 March",
    satisfied=True,
    was_due=True,
    checked=True,
)


def put_in_force(desk: Desk, more: str = LAW) -> None:
    with desk.writing() as connection:
        policies.add(connection, resources.default_policy().read_text(encoding="utf-8") + more, desk.clock.now(), None)


@pytest.fixture
def ready(desk: Desk, number: str) -> str:
    """A device that is ready, in a shop whose policy names the law."""
    put_in_force(desk)
    bring_to(desk, number, "ready")
    return number


def path_of(desk: Desk, number: str) -> Path:
    with desk.reading() as connection:
        return formal_path.path(desk, connection, ticket_of(desk, number))


def newest(desk: Desk, number: str) -> Kept:
    return path_of(desk, number).standing.letters[0]


def today(clock: FixedClock) -> str:
    return clock.now().date().isoformat()


def post(desk: Desk, tmp_path: File, number: str, on: str, reference: str = "RN 1234 5678 9GB") -> None:
    notice = newest(desk, number)
    deeds.post(desk, PhotoFiles(str(tmp_path / "photos")), BENCH, number, notice.id, on, reference)


def told_to_collect(desk: Desk, clock: FixedClock, tmp_path: File, number: str) -> None:
    """A notice to collect was posted today, and ten days pass."""
    deeds.make(desk, BENCH, number, "collect", TYPED)
    post(desk, tmp_path, number, today(clock))
    clock.at += timedelta(days=10)


def told_of_sale(desk: Desk, clock: FixedClock, tmp_path: File, number: str) -> None:
    """Both letters were posted, the second on 12 March."""
    told_to_collect(desk, clock, tmp_path, number)
    deeds.make(desk, BENCH, number, "sell", TYPED)
    post(desk, tmp_path, number, today(clock))


def open_words(desk: Desk, number: str) -> list[str]:
    step = path_of(desk, number).sale
    assert step is not None
    return [str(each) for each in step.open]


def test_a_shop_that_names_no_law_has_no_such_path(desk: Desk, number: str) -> None:
    bring_to(desk, number, "ready")

    for kind in ("collect", "sell"):
        with pytest.raises(Refused, match="names no law"):
            deeds.make(desk, BENCH, number, kind, TYPED)
    with pytest.raises(Refused, match="names no law"):
        deeds.untraced(desk, BENCH, number, "Rang twice.", satisfied=True)
    assert path_of(desk, number).sale is None


def test_only_the_keeper_writes_letters(desk: Desk, ready: str, technician: By, keeper: By) -> None:
    with pytest.raises(Refused, match="keeper"):
        deeds.make(desk, technician, ready, "collect", TYPED)

    deeds.make(desk, keeper, ready, "collect", TYPED)


def test_the_fields_are_filled_from_what_is_on_file(desk: Desk, ready: str) -> None:
    known = path_of(desk, ready).suggested

    assert (known.recipient, known.goods, known.ready_on) == ("Ada Marsh", "Handheld console, blue", date(2026, 3, 2))
    assert known.shop_name == "A small repair shop"
    assert known.held_at == "1 Example Lane, Exampleton"
    assert known.owed_minor is None  # no account is kept: it is said by hand


def test_what_is_missing_is_told_at_once_and_nothing_is_written(desk: Desk, ready: str) -> None:
    before = everything(desk)

    with pytest.raises(Refused) as refused:
        deeds.make(desk, BENCH, ready, "collect", Typed(was_due=True, checked=True))

    assert [str(reason.facts["what"]) for reason in refused.value.reasons] == [
        "Whose device it is: the name",
        "The owner’s proper address, to post it to",
        "Which goods they are",
        "Where they are held",
        "What is owed for them and fell due before the notice, or that nothing is",
    ]
    assert everything(desk) == before


def test_the_pack_is_checked_before_the_first_letter_and_once(desk: Desk, ready: str, clock: FixedClock) -> None:
    with pytest.raises(Unfit) as unfit:
        deeds.make(desk, BENCH, ready, "collect", replace(TYPED, checked=False))
    assert unfit.value.field == "checked"
    assert path_of(desk, ready).checked_at is None

    deeds.make(desk, BENCH, ready, "collect", TYPED)

    assert path_of(desk, ready).checked_at == clock.now()
    deeds.take_back(desk, BENCH, ready, newest(desk, ready).id, "wrong")
    deeds.make(desk, BENCH, ready, "collect", replace(TYPED, checked=False))


@pytest.mark.parametrize(
    ("typed", "told"),
    [
        ({"was_due": False}, "lawfully due"),
        ({"satisfied": False}, "owns the device"),
        ({"owed": "", "was_due": True}, "What is owed for them"),
        ({"owed": "plenty"}, "not an amount"),
        ({"post_on": "2026-03-01"}, "day of posting is over"),
        ({"sell_from": "2026-06-16"}, "at the earliest"),
        ({"sell_from": "soon"}, "not a date"),
        ({"owed": "0"}, "name a day"),
        ({"address": "x" * 401}, "at most"),
    ],
)
def test_a_notice_of_sale_that_the_act_would_not_have_is_refused(
    desk: Desk, clock: FixedClock, tmp_path: File, ready: str, typed: dict[str, object], told: str
) -> None:
    told_to_collect(desk, clock, tmp_path, ready)
    before = everything(desk)

    with pytest.raises(Refused, match=told):
        deeds.make(desk, BENCH, ready, "sell", replace(TYPED, **typed))

    assert everything(desk) == before


def test_the_day_follows_from_the_posting_and_three_months(
    desk: Desk, clock: FixedClock, tmp_path: File, ready: str
) -> None:
    told_to_collect(desk, clock, tmp_path, ready)

    deeds.make(desk, BENCH, ready, "sell", TYPED)

    # Posted on 12 March, there on the 16th; three months on, and the day after.
    assert newest(desk, ready).sell_from == date(2026, 6, 17)
    assert "The day that the notice names has come." in open_words(desk, ready)


def test_where_nothing_is_owed_the_keeper_names_the_day(
    desk: Desk, clock: FixedClock, tmp_path: File, ready: str
) -> None:
    told_to_collect(desk, clock, tmp_path, ready)

    deeds.make(desk, BENCH, ready, "sell", replace(TYPED, owed="0", was_due=False, sell_from="2026-04-20"))

    assert newest(desk, ready).sell_from == date(2026, 4, 20)


@pytest.mark.parametrize(
    ("on", "reference", "told"),
    [
        ("2026-03-11", "RN1", "cannot have been posted"),  # the letter was made on the 12th
        ("2026-03-13", "RN1", "still to come"),
        ("", "RN1", "not a date"),
        ("2026-03-12", "  ", "reference"),
        ("2026-03-12", "x" * 61, "at most"),
    ],
)
def test_a_posting_that_cannot_be_is_refused(
    desk: Desk, clock: FixedClock, tmp_path: File, ready: str, on: str, reference: str, told: str
) -> None:
    told_to_collect(desk, clock, tmp_path, ready)
    deeds.make(desk, BENCH, ready, "sell", TYPED)
    before = everything(desk)

    with pytest.raises(Refused, match=told):
        post(desk, tmp_path, ready, on, reference)

    assert everything(desk) == before


def test_posted_later_than_reckoned_it_must_be_made_anew(
    desk: Desk, clock: FixedClock, tmp_path: File, ready: str
) -> None:
    told_to_collect(desk, clock, tmp_path, ready)
    deeds.make(desk, BENCH, ready, "sell", TYPED)
    clock.at += timedelta(days=1)

    with pytest.raises(Unfit, match="make it anew"):
        post(desk, tmp_path, ready, today(clock))

    deeds.take_back(desk, BENCH, ready, newest(desk, ready).id, "wrong")
    deeds.make(desk, BENCH, ready, "sell", TYPED)
    post(desk, tmp_path, ready, today(clock))


def test_reminders_end_with_the_notice_and_go_on_when_it_is_taken_back(
    desk: Desk, clock: FixedClock, tmp_path: File, ready: str
) -> None:
    remind(desk, clock.now())
    deeds.make(desk, BENCH, ready, "collect", TYPED)
    post(desk, tmp_path, ready, today(clock))
    for _day in range(40):
        clock.at += timedelta(days=1)
        remind(desk, clock.now())
    assert [event for event, *_rest in messages(desk) if event == "uncollected"] == []

    deeds.take_back(desk, BENCH, ready, newest(desk, ready).id, "agreed")
    for _day in range(3):
        clock.at += timedelta(days=1)
        remind(desk, clock.now())

    assert [facts["place"] for event, _ref, facts in messages(desk) if event == "uncollected"] == [3]


def test_by_the_account_kept_here_what_is_owed_is_read_and_a_payment_stops_the_notice_for_good(
    desk: Desk, clock: FixedClock, tmp_path: File, keeper: By
) -> None:
    put_in_force(desk)
    device = NewDevice("Radio", "Hums", price=TypedTerms("fixed price", "48.50", "New capacitors"))
    number = take_in(desk, BENCH, NewVisit([device], name="Ada")).numbers[0]
    bring_to(desk, number, "ready")
    deeds.make(desk, BENCH, number, "collect", replace(TYPED, owed="1"))  # what is typed does not count
    assert newest(desk, number).owed_minor == 4850
    post(desk, tmp_path, number, today(clock))
    clock.at += timedelta(days=10)
    deeds.make(desk, BENCH, number, "sell", TYPED)
    post(desk, tmp_path, number, today(clock))
    clock.at += timedelta(days=120)
    assert open_words(desk, number) == []

    payments.take(desk, keeper, number, Payment("10", "cash"))

    assert "Nothing has happened since that stops the notice." in open_words(desk, number)
    assert [str(stop) for stop in path_of(desk, number).standing.stops.values()] == ["it was paid"] * 2
    # What is still owed wants a new notice with its own months.
    deeds.make(desk, BENCH, number, "collect", TYPED)
    assert newest(desk, number).owed_minor == 3850


def _disputes(desk: Desk, number: str) -> None:
    moves.hold(desk, BENCH, number, "dispute")
    moves.hold(desk, BENCH, number, "none")


def _complains(desk: Desk, number: str) -> None:
    complaints.complain(desk, number, "I never agreed to that.")


def _objects(desk: Desk, number: str) -> None:
    record(desk, BENCH, number, Record(shop_sees="A scratched lid"))
    object_to(desk, number, 1, "There was no scratch.")
    record(desk, BENCH, number, Record(shop_sees="A lid"))


def _is_claimed(desk: Desk, number: str) -> None:
    ownership.question(desk, BENCH, number, "A neighbour says it was stolen.")


def _goes_back(desk: Desk, number: str) -> None:
    moves.move(desk, BENCH, number, "testing", why="It hums.")
    moves.move(desk, BENCH, number, "ready", confirmed=True)


def _pays(desk: Desk, number: str) -> None:
    deeds.take_back(desk, BENCH, number, newest(desk, number).id, "paid")


@pytest.mark.parametrize("stop", [_disputes, _complains, _objects, _is_claimed, _goes_back, _pays])
def test_what_stops_the_path_stops_it_at_once_and_for_this_letter_for_good(
    desk: Desk, clock: FixedClock, tmp_path: File, ready: str, stop
) -> None:
    told_of_sale(desk, clock, tmp_path, ready)
    clock.at += timedelta(days=120)
    assert open_words(desk, ready) == []

    stop(desk, ready)

    assert open_words(desk, ready) != []
    clock.at += timedelta(days=400)
    assert open_words(desk, ready) != []
    with pytest.raises(Refused):
        deeds.write_down_sale(desk, BENCH, ready, Sold(today(clock), "90", "5", "A solicitor", "On account"))


def test_a_letter_that_was_made_is_not_posted_after_a_dispute(
    desk: Desk, clock: FixedClock, tmp_path: File, ready: str
) -> None:
    told_to_collect(desk, clock, tmp_path, ready)
    deeds.make(desk, BENCH, ready, "sell", TYPED)
    moves.hold(desk, BENCH, ready, "dispute")

    with pytest.raises(Refused, match="counts no more"):
        post(desk, tmp_path, ready, today(clock))
    with pytest.raises(Refused, match="Nobody disputes"):
        deeds.make(desk, BENCH, ready, "collect", TYPED)


def test_one_letter_of_a_kind_stands_at_a_time(desk: Desk, ready: str) -> None:
    deeds.make(desk, BENCH, ready, "collect", TYPED)

    with pytest.raises(Refused, match="such a letter already"):
        deeds.make(desk, BENCH, ready, "collect", TYPED)
    deeds.take_back(desk, BENCH, ready, newest(desk, ready).id, "wrong")
    deeds.make(desk, BENCH, ready, "collect", TYPED)
    with pytest.raises(Unfit):
        deeds.take_back(desk, BENCH, ready, newest(desk, ready).id, "because")


def test_a_collected_device_leaves_the_path(desk: Desk, clock: FixedClock, tmp_path: File, ready: str) -> None:
    told_of_sale(desk, clock, tmp_path, ready)
    hand_over(desk, BENCH, ready, replace(WITHOUT_CODE, unsettled="Paid in cash."), confirmed=True)

    assert "The device is ready to be collected." in open_words(desk, ready)
    with pytest.raises(Refused, match="ended"):
        deeds.make(desk, BENCH, ready, "collect", TYPED)


def test_what_the_keeper_did_is_written_down_and_only_when_nothing_is_open(
    desk: Desk, clock: FixedClock, tmp_path: File, ready: str
) -> None:
    told_of_sale(desk, clock, tmp_path, ready)
    sold = Sold("2026-06-17", "90", "12.50", "Asked a solicitor on 10 June", "On the shop’s account, apart")
    clock.at += timedelta(days=96)  # 16 June: a day too early
    with pytest.raises(Refused, match="day that the notice names"):
        deeds.write_down_sale(desk, BENCH, ready, sold)
    clock.at += timedelta(days=2)
    with pytest.raises(Unfit, match="between"):
        deeds.write_down_sale(desk, BENCH, ready, replace(sold, on="2026-06-16"))
    with pytest.raises(Unfit, match="Who advised"):
        deeds.write_down_sale(desk, BENCH, ready, replace(sold, advice=""))

    deeds.write_down_sale(desk, BENCH, ready, sold)

    ticket = ticket_of(desk, ready)
    assert ticket.ending is Ending.DISPOSED
    entry = next(each for each in journal_of(desk, ready) if each.event == "sold_by_law")
    assert (entry.data["amount_minor"], entry.data["due_minor"]) == ("9000", "2900")  # 90 less 12.50 less 48.50
    assert messages(desk)[-1][0] == "ended"


def test_an_owner_who_cannot_be_traced_takes_steps_that_are_written_down(desk: Desk, ready: str) -> None:
    with pytest.raises(Unfit):
        deeds.untraced(desk, BENCH, ready, " ", satisfied=True)
    deeds.untraced(desk, BENCH, ready, "Letter came back; rang four times.", satisfied=False)
    assert "The shop is satisfied that its customer owns the device." in open_words(desk, ready)

    deeds.untraced(desk, BENCH, ready, "Letter came back; rang four times.", satisfied=True)

    found = path_of(desk, ready)
    assert open_words(desk, ready) == []
    assert found.standing.untraced == "Letter came back; rang four times."
    assert found.sale is not None
    assert found.sale.earliest is None  # no notice, no months: advice says when
    early = Sold("2026-03-01", "90", "5", "A solicitor", "On account")
    with pytest.raises(Unfit, match="between"):
        deeds.write_down_sale(desk, BENCH, ready, early)
    deeds.traced(desk, BENCH, ready)
    assert open_words(desk, ready) != []
    with pytest.raises(Refused, match="Nobody has said"):
        deeds.traced(desk, BENCH, ready)


def test_no_clock_and_no_other_deed_ever_ends_a_ticket_by_law() -> None:
    """The one call of `stages.dispose` is where the keeper writes down what was done."""
    package = File(deeds.__file__).parents[1]
    callers = {
        file.relative_to(package).as_posix()
        for file in package.rglob("*.py")
        for node in ast.walk(ast.parse(file.read_text(encoding="utf-8")))
        if isinstance(node, ast.Attribute) and ast.unparse(node) in ("stages.dispose", "Ending.DISPOSED")
    }

    assert callers == {"actions/formal_notices.py", "rules/stages.py", "rules/journal_words.py"}
