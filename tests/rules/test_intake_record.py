"""The intake record: bounded, in known words, without a passcode; a damaged battery is flagged."""

from __future__ import annotations

import pytest

from portal.rules.intake_record import (
    MOST,
    Battery,
    Item,
    Mark,
    Record,
    differences,
    fit,
    fit_items,
    hazards,
    may_be_posted,
    unsafe,
)
from portal.rules.policy import Kind
from portal.rules.refusals import AskFirst, Refused, Unfit


def kind(**more: object) -> Kind:
    return Kind.model_validate({"key": "amplifier", "label": {"en": "Amplifier"}} | more)


def test_an_empty_record_says_that_nobody_looked_or_asked() -> None:
    record = fit(Record())

    assert (record.seal, record.liquid, record.may_reset) == ("not looked at", "not looked at", "not asked")
    assert not unsafe(record)


def test_texts_are_cleaned_and_counts_read() -> None:
    record = fit(Record(marks=[Mark(" scratch ", "top", "left  corner")], items=[Item("charger", " 2 ", inside=False)]))

    assert record.marks == (Mark("scratch", "top", "left corner"),)
    assert record.items == (Item("charger", 2, False),)


@pytest.mark.parametrize(
    ("record", "field"),
    [
        (Record(seal="mended"), "seal"),
        (Record(liquid="beer"), "liquid"),
        (Record(battery=["sad"]), "battery"),
        (Record(may_reset="maybe"), "may_reset"),
        (Record(unlocking="passcode"), "unlocking"),
        (Record(came_by="drone"), "came_by"),
        (Record(marks=[Mark("")]), "marks"),
        (Record(marks=[Mark("scratch")] * (MOST + 1)), "marks"),
        (Record(items=[Item("charger", 0)]), "items"),
        (Record(items=[Item("charger", "-2")]), "items"),
        (Record(items=[Item("charger", "10000")]), "items"),
        (Record(serial="260531793113838"), "serial"),
        (Record(shop_sees="x" * 5000), "shop_sees"),
    ],
)
def test_what_does_not_fit_is_refused_at_its_field(record: Record, field: str) -> None:
    with pytest.raises(Unfit) as refused:
        fit(record)

    assert refused.value.field == field


@pytest.mark.parametrize(
    "record",
    [
        Record(shop_sees="Locked, PIN 1234"),
        Record(answers_note="Passwort: Sommer"),
        Record(marks=[Mark("sticker: PIN 0815")]),
        Record(items=[Item("paper with PIN 4711")]),
    ],
)
def test_a_passcode_in_any_text_is_asked_about_once(record: Record) -> None:
    with pytest.raises(AskFirst):
        fit(record)

    assert fit(record, confirmed=True)


@pytest.mark.parametrize("flag", Battery)
def test_a_damaged_battery_is_flagged_and_not_posted_until_it_is_dealt_with(flag: Battery) -> None:
    record = fit(Record(battery=[flag]))

    assert unsafe(record)
    with pytest.raises(Refused, match="not posted"):
        may_be_posted(record)
    assert not unsafe(record, made_safe=True)
    may_be_posted(record, made_safe=True)


def test_hazards_come_from_the_record_and_the_kind() -> None:
    assert hazards(None, kind()) == frozenset()
    assert hazards(None, kind(mains=True)) == {"mains"}
    assert hazards(Record(battery=["hot"], liquid="signs seen"), None) == {"cell", "liquid"}
    assert hazards(Record(liquid="none seen"), kind()) == frozenset()


def test_a_parcel_is_compared_with_its_announcement_thing_by_thing() -> None:
    announced = fit_items([Item("Console"), Item("cable", 2), Item("disc", 1, inside=True)])
    arrived = fit_items([Item("console"), Item("cable"), Item("charger")])

    assert [str(each) for each in differences(announced, arrived)] == [
        "“cable”: 2 announced, 1 arrived.",
        "“charger”: 0 announced, 1 arrived.",
        "“disc”: 1 announced, 0 arrived.",
    ]
    assert differences(announced, announced) == []
