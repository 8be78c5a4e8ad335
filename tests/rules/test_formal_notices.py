"""The formal path: whose law, what a letter must say, the day it may name, and what stops it at once."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta
from itertools import product

import pytest
from dateutil.relativedelta import relativedelta
from hypothesis import given
from hypothesis import strategies as st

from portal.rules import formal_notices as rules
from portal.rules.formal_notices import (
    ENGLAND_WALES_NORTHERN_IRELAND,
    PACKS,
    Because,
    Case,
    Kind,
    Letter,
    Notice,
    Read,
    complete,
    earliest,
    fit_posting,
    fit_sale_day,
    may_be_written,
    missing,
    sale,
    stopped_by,
)
from portal.rules.policy_check import check
from portal.rules.policy_formal import Formal
from portal.rules.refusals import Refused, Unfit
from tests.rules.policies import WHOLE

FORMAL = Formal(delivery_days=4)
LETTER = Letter(
    shop_name="The Solder Room",
    shop_address="1 Example Lane, Exampleton",
    recipient="Ada Marsh",
    address="12 Harbour Rise, Quayhaven",
    goods="Handheld console, blue",
    held_at="1 Example Lane, Exampleton",
    ready_on=date(2026, 3, 2),
    owed_minor=4850,
    sell_from=date(2026, 12, 8),
)
TODAY = date(2026, 12, 20)
COLLECTED = Notice(Kind.COLLECT, date(2026, 8, 1), 4850, posted_on=date(2026, 8, 2))
SOLD = Notice(Kind.SELL, date(2026, 8, 26), 4850, sell_from=date(2026, 12, 1), posted_on=date(2026, 8, 27))
OWED = Case(
    ENGLAND_WALES_NORTHERN_IRELAND,
    owed_minor=4850,
    satisfied=True,
    was_due=True,
    collect=COLLECTED,
    sell=SOLD,
)
days = st.dates(date(2024, 1, 1), date(2032, 12, 31))


# Each cell: the case, whether a letter of the intention to sell may be written, and whether nothing is open to a sale.
MATRIX = {
    "nothing owed": (
        replace(OWED, owed_minor=0, was_due=None, sell=replace(SOLD, owed_minor=0), collect=COLLECTED),
        True,
        True,
    ),
    "money owed": (OWED, True, True),
    "money owed, and nobody has said that it was due": (replace(OWED, was_due=None), False, False),
    "nobody knows whether money is owed, nor said that it was due": (
        replace(OWED, owed_minor=None, was_due=None),
        False,
        False,
    ),
    "disputed": (replace(OWED, is_disputed=True), False, False),
    "owner untraced, no notice": (replace(OWED, untraced=True, collect=None, sell=None), False, True),
    "owner untraced, and disputed": (
        replace(OWED, untraced=True, collect=None, sell=None, is_disputed=True),
        False,
        False,
    ),
    "the customer is not the owner": (replace(OWED, satisfied=False), False, False),
    "nobody has said whether the customer is the owner": (replace(OWED, satisfied=None), False, False),
    "untraced and not the owner": (
        replace(OWED, untraced=True, collect=None, sell=None, satisfied=False),
        False,
        False,
    ),
    "back at the bench": (replace(OWED, is_ready=False), False, False),
    "paid since": (replace(OWED, stopped=rules.BECAUSE_WORDS[Because.PAID]), True, False),
    "not told to collect": (replace(OWED, collect=None), False, True),
    "told to collect, not posted": (replace(OWED, collect=replace(COLLECTED, posted_on=None)), False, True),
}


@pytest.mark.parametrize("cell", MATRIX)
def test_the_step_is_there_only_where_the_law_lets(cell: str) -> None:
    case, may_write, may_consider = MATRIX[cell]

    try:
        may_be_written(case, Kind.SELL, FORMAL, TODAY)
        written = True
    except Refused:
        written = False
    step = sale(case, FORMAL, TODAY)

    assert written == may_write
    assert step is not None
    assert (not step.open) == may_consider


@pytest.mark.parametrize(
    "where", ["none"], ids=["Scotland, or another country: no law is named, and none can be (see below)"]
)
@pytest.mark.parametrize("cell", MATRIX)
def test_without_a_law_there_is_no_step_at_all(cell: str, where: str) -> None:
    case = replace(MATRIX[cell][0], pack=PACKS[where])

    assert sale(case, FORMAL, TODAY) is None
    for kind in Kind:
        with pytest.raises(Refused, match="names no law"):
            may_be_written(case, kind, FORMAL, TODAY)


@pytest.mark.parametrize(
    ("country", "holidays", "told"),
    [
        ("GB", "GB-ENG", ""),
        ("GB", "GB-NIR", ""),
        ("GB", "GB-SCT", "GB-SCT"),
        ("DE", "DE", "“DE”"),
        ("IE", "IE", "“IE”"),
    ],
)
def test_a_shop_elsewhere_cannot_name_the_law_of_england(country: str, holidays: str, told: str) -> None:
    written = WHOLE.replace('country = "GB"', f'country = "{country}"').replace('"GB-ENG"', f'"{holidays}"')

    faults = [str(fault) for fault in check(written + '\n[collection]\nlaw = "england-wales-northern-ireland"\n')]

    assert [fault.startswith("collection.law: found ") for fault in faults] == ([True] if told else [])
    assert told in "".join(faults)


def test_the_path_is_closed_until_a_policy_opens_it() -> None:
    assert check(WHOLE) == []
    assert PACKS["none"] is None


@pytest.mark.parametrize("months", [0, 1, 2])
def test_no_policy_is_less_patient_than_the_act(months: int) -> None:
    assert [str(fault) for fault in check(WHOLE + f"\n[formal]\nmonths = {months}\n")]


def test_a_letter_to_collect_asks_for_less_than_one_to_sell() -> None:
    case = replace(OWED, satisfied=None, collect=None, sell=None)

    may_be_written(case, Kind.COLLECT, FORMAL, TODAY)

    with pytest.raises(Refused) as refused:
        may_be_written(case, Kind.SELL, FORMAL, TODAY)
    assert [str(reason) for reason in refused.value.reasons] == [
        "Not met yet: The shop is satisfied that its customer owns the device.",
        "Not met yet: A notice to collect was posted, and should have arrived.",
    ]


@pytest.mark.parametrize("kind", Kind)
def test_a_letter_is_refused_with_the_whole_list_of_what_is_missing(kind: Kind) -> None:
    empty = Letter("", "", "", "", "", "", None, None)
    particulars = ENGLAND_WALES_NORTHERN_IRELAND.particulars[kind]

    with pytest.raises(Refused) as refused:
        complete(ENGLAND_WALES_NORTHERN_IRELAND, kind, empty)

    assert [reason.facts["what"] for reason in refused.value.reasons] == [point.says for point in particulars.values()]
    complete(ENGLAND_WALES_NORTHERN_IRELAND, kind, LETTER)


@pytest.mark.parametrize("kind", Kind)
def test_each_particular_alone_is_missed(kind: Kind) -> None:
    for name, point in ENGLAND_WALES_NORTHERN_IRELAND.particulars[kind].items():
        field = "owed_minor" if name == "owed" else name
        nothing = None if field in ("owed_minor", "ready_on", "sell_from") else ""

        assert missing(ENGLAND_WALES_NORTHERN_IRELAND, kind, replace(LETTER, **{field: nothing})) == [point]


def test_that_nothing_is_owed_is_said_and_is_not_missing() -> None:
    assert missing(ENGLAND_WALES_NORTHERN_IRELAND, Kind.SELL, replace(LETTER, owed_minor=0)) == []


def test_only_a_letter_to_sell_names_a_day() -> None:
    assert missing(ENGLAND_WALES_NORTHERN_IRELAND, Kind.COLLECT, replace(LETTER, sell_from=None)) == []


def test_no_point_claims_to_have_been_read_in_the_statute_where_only_others_were() -> None:
    pack = ENGLAND_WALES_NORTHERN_IRELAND
    read = {point.where for point in (*pack.conditions, *pack.account) if point.read is Read.STATUTE}

    assert read == {"s. 12(1)", "s. 12(3)", "s. 12(4)", "s. 12(5)", "s. 13"}
    for kind in Kind:
        assert Read.STATUTE not in {point.read for point in pack.particulars[kind].values()}


def test_a_changed_pack_is_another_one_to_check() -> None:
    pack = ENGLAND_WALES_NORTHERN_IRELAND

    assert replace(pack, account=pack.account[1:]).digest() != pack.digest()


@pytest.mark.parametrize(
    ("there", "months", "first"),
    [
        # Corresponding dates; the day after is the first.
        (date(2026, 8, 31), 3, date(2026, 12, 1)),
        (date(2026, 11, 30), 3, date(2027, 3, 1)),
        (date(2026, 9, 30), 4, date(2027, 1, 31)),
        (date(2027, 11, 29), 3, date(2028, 3, 1)),
        (date(2027, 11, 30), 3, date(2028, 3, 1)),  # a leap year: 29 February, and the day after
    ],
)
def test_the_first_day_is_the_one_after_the_corresponding_date(there: date, months: int, first: date) -> None:
    formal = Formal(delivery_days=4, months=months)

    assert earliest(there - timedelta(days=4), formal, is_owed=True) == first


@given(days, st.integers(2, 21), st.integers(3, 24))
def test_dateutil_and_a_calendar_read_by_hand_say_the_same(posted: date, delivery: int, months: int) -> None:
    formal = Formal(delivery_days=delivery, months=months)
    there = posted + timedelta(days=delivery)

    first = earliest(posted, formal, is_owed=True)

    assert first == there + relativedelta(months=+months, days=+1)
    corresponding = first - timedelta(days=1)
    assert (corresponding.year * 12 + corresponding.month) - (there.year * 12 + there.month) == months
    # The same day of the month, or the last one of a month that has no such day.
    assert corresponding.day == there.day or (corresponding.day < there.day and first.day == 1)


@given(days)
def test_without_money_owed_the_keeper_names_the_day(posted: date) -> None:
    with pytest.raises(Unfit, match="reasonable time"):
        fit_sale_day("", posted, FORMAL, is_owed=False)
    named = posted + timedelta(days=30)
    assert fit_sale_day(named.isoformat(), posted, FORMAL, is_owed=False) == named
    for early in (posted - timedelta(days=1), posted, posted + timedelta(days=FORMAL.delivery_days)):
        with pytest.raises(Unfit, match="at the earliest"):
            fit_sale_day(early.isoformat(), posted, FORMAL, is_owed=False)


@given(days, st.integers(-400, 400))
def test_a_day_that_is_named_is_never_before_the_earliest(posted: date, apart: int) -> None:
    first = earliest(posted, FORMAL, is_owed=True)
    wanted = first + timedelta(days=apart)
    if apart < 0:
        with pytest.raises(Unfit):
            fit_sale_day(wanted.isoformat(), posted, FORMAL, is_owed=True)
    else:
        assert fit_sale_day(wanted.isoformat(), posted, FORMAL, is_owed=True) == wanted
    assert fit_sale_day(" ", posted, FORMAL, is_owed=True) == first


@pytest.mark.parametrize(
    ("typed", "told"),
    [
        ("", "not a date"),
        ("27.8.2026", "not a date"),
        ("2026-02-30", "not a date"),
        ("2026-12-21", "still to come"),
        ("2026-08-25", "cannot have been posted"),
        ("2026-08-28", "make it anew"),  # a day later than the letter reckoned with
    ],
)
def test_a_posting_that_cannot_be_is_refused(typed: str, told: str) -> None:
    notice = replace(SOLD, posted_on=None, sell_from=earliest(date(2026, 8, 27), FORMAL, is_owed=True))

    with pytest.raises(Unfit, match=told):
        fit_posting(typed, notice, FORMAL, TODAY)
    assert fit_posting("2026-08-26", notice, FORMAL, TODAY) == date(2026, 8, 26)


def test_a_day_before_the_posting_is_never_told_as_the_first() -> None:
    early = replace(SOLD, sell_from=date(2026, 8, 1))  # as only a slip in an old file could have it

    step = sale(replace(OWED, sell=early), FORMAL, TODAY)

    assert step is not None
    assert step.earliest == date(2026, 12, 1)


def test_the_day_before_is_open_and_the_day_is_not() -> None:
    first = date(2026, 12, 1)

    before, on = (sale(OWED, FORMAL, day) for day in (first - timedelta(days=1), first))

    assert before is not None
    assert on is not None
    assert [str(each) for each in before.open] == ["The day that the notice names has come."]
    assert (before.earliest, list(on.open)) == (first, [])


@pytest.mark.parametrize(
    ("event", "data", "stops"),
    [
        ("held", {"hold": "dispute"}, "disputes"),
        ("held", {"hold": "customer"}, ""),
        ("complained", {}, "disputes"),
        ("ownership_questioned", {}, "theirs"),
        ("moved", {"stage": "testing"}, "bench"),
        ("ended", {"ending": "collected"}, "left"),
        ("formal_notice_withdrawn", {"notice": "sell", "taken_back_since": "paid"}, "paid"),
        ("money_taken", {"money": "payment"}, "paid"),
        ("rang", {}, ""),
        ("return_day_chosen", {}, ""),
    ],
)
def test_what_stops_a_notice_stops_it_for_good(event: str, data: dict[str, str], stops: str) -> None:
    told = stopped_by([("noted", {}), (event, data), ("released", {})])

    assert (told is not None) == bool(stops)
    assert stops in str(told or "")


@pytest.mark.parametrize(("now", "paid"), [(None, False), (4850, False), (4849, True), (0, True), (9000, False)])
def test_a_payment_after_the_notice_is_seen(now: int | None, paid: bool) -> None:
    assert rules.paid_since(SOLD, now) is paid


@given(
    st.sampled_from([None, 0, 4850]),
    *(st.sampled_from([None, True, False]) for _ in range(2)),
    *(st.booleans() for _ in range(4)),
    days,
)
def test_nothing_is_ever_offered_where_something_forbids_it(
    owed: int | None,
    satisfied: bool | None,
    was_due: bool | None,
    ready: bool,
    disputed: bool,
    untraced: bool,
    stopped: bool,
    today: date,
) -> None:
    case = replace(
        OWED,
        owed_minor=owed,
        satisfied=satisfied,
        was_due=was_due,
        is_ready=ready,
        is_disputed=disputed,
        untraced=untraced,
        stopped=rules.BECAUSE_WORDS[Because.PAID] if stopped else None,
    )

    step = sale(case, FORMAL, today)

    assert step is not None
    lawful = ready and not disputed and satisfied is True and was_due is True and not stopped
    assert (not step.open) == (lawful and today >= date(2026, 12, 1))
    assert disputed is False or step.earliest is None


def test_the_letters_and_their_points_are_told_apart() -> None:
    for kind, other in product(Kind, repeat=2):
        assert (rules.KIND_WORDS[kind] == rules.KIND_WORDS[other]) == (kind is other)
