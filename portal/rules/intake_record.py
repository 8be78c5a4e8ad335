"""The intake record: what a device was like when it came, what came with it, and what its owner answered."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from enum import StrEnum
from typing import TypeVar

from portal.rules.counts import parse_count
from portal.rules.imei import serial
from portal.rules.policy_bench import Hazard, Kind
from portal.rules.refusals import Refused, Unfit
from portal.rules.secrets import ask_about_secrets
from portal.rules.sentences import Sentence, say
from portal.rules.text import line, passage

MOST = 60  # marks, or items, of one device
_Thing = TypeVar("_Thing")


class Seal(StrEnum):
    """The state of the maker's or an earlier shop's seal."""

    WHOLE = "whole"
    BROKEN = "broken"
    MISSING = "missing"
    NOT_LOOKED_AT = "not looked at"


class Liquid(StrEnum):
    """Whether liquid has been inside."""

    NOT_LOOKED_AT = "not looked at"
    NONE_SEEN = "none seen"
    SIGNS = "signs seen"
    TOLD = "told by the customer"


class Battery(StrEnum):
    """What makes a cell unsafe: each one flags a safety hold."""

    SWOLLEN = "swollen"
    HOT = "hot"
    WET = "wet"
    PUNCTURED = "punctured"


class Answer(StrEnum):
    """An answer that bites later; never taken as yes unless it is one."""

    NOT_ASKED = "not asked"
    YES = "yes"
    NO = "no"


class Unlocking(StrEnum):
    """Who unlocks the device for testing. There is no place for its passcode."""

    NOT_ASKED = "not asked"
    NO_LOCK = "has no lock"
    IN_PERSON = "owner, in person"
    REMOVED = "lock removed"
    TESTED_WITHOUT = "tested without"


NO_PASSCODE = say(
    "There is no place for the passcode: written down, it opens more than the device. "
    "Unlock it here yourself, remove the lock, or have it tested without."
)
BENCH_SAFETY = say(
    "This battery is not charged and not posted. Keep it where the shop lets such cells wait, away from what burns. "
    "Follow local codes; a qualified person decides what happens with it."
)
CUSTOMER_SAFETY = say(
    "The battery of your device is damaged. We do not charge it, and it must not be posted. "
    "Please do not take it back without asking us first."
)


@dataclass(frozen=True)
class Mark:
    """A mark seen on arrival: a short phrase, with side and place."""

    what: str
    side: str = ""
    place: str = ""


@dataclass(frozen=True)
class Item:
    """Something handed in with the device, counted; what is still inside it is an item too."""

    what: str
    count: str | int = 1
    inside: bool = False


@dataclass(frozen=True)
class Record:
    """What is written down. Lists may be empty; an enum's first sensible value says that nobody looked or asked."""

    shop_sees: str = ""  # what the shop sees first
    serial: str = ""
    marks: Sequence[Mark] = ()
    seal: str = Seal.NOT_LOOKED_AT
    earlier_repair: str = ""
    liquid: str = Liquid.NOT_LOOKED_AT
    battery: Sequence[str] = ()
    items: Sequence[Item] = ()
    came_by: str = "counter"
    carrier: str = ""
    parcel_ref: str = ""
    backed_up: str = Answer.NOT_ASKED
    may_reset: str = Answer.NOT_ASKED  # only an express yes
    signed_out: str = Answer.NOT_ASKED
    maker_warranty: str = Answer.NOT_ASKED
    may_open: str = Answer.NOT_ASKED  # though it is under the maker's warranty
    unlocking: str = Unlocking.NOT_ASKED
    answers_note: str = field(default="")


# The words of the marked choices, as pages and print say them.
CHOICES: Mapping[str, type[StrEnum]] = {
    "seal": Seal,
    "liquid": Liquid,
    "backed_up": Answer,
    "may_reset": Answer,
    "signed_out": Answer,
    "maker_warranty": Answer,
    "may_open": Answer,
    "unlocking": Unlocking,
}


def fit(record: Record, *, confirmed: bool = False) -> Record:
    """The record as stored, every text cleaned and every choice known.

    Raises Unfit for the first that does not fit; AskFirst where a text may give a passcode away (`confirmed`: keep it).
    """
    fitted = replace(
        record,
        shop_sees=passage("shop_sees", say("What the shop sees"), record.shop_sees),
        serial=serial(record.serial),
        marks=tuple(_mark(mark) for mark in _bounded("marks", record.marks)),
        earlier_repair=line("earlier_repair", say("The signs of an earlier repair"), record.earlier_repair, limit=400),
        battery=tuple(_choice("battery", Battery, flag) for flag in dict.fromkeys(record.battery)),
        items=tuple(_item(item) for item in _bounded("items", record.items)),
        came_by=_came_by(record.came_by),
        carrier=line("carrier", say("The carrier"), record.carrier, limit=60),
        parcel_ref=line("parcel_ref", say("The parcel’s reference"), record.parcel_ref, limit=60),
        answers_note=passage("answers_note", say("The note"), record.answers_note, limit=400),
        **{name: _choice(name, choices, getattr(record, name)) for name, choices in CHOICES.items()},
    )
    texts = [fitted.shop_sees, fitted.earlier_repair, fitted.answers_note]
    texts += [text for mark in fitted.marks for text in (mark.what, mark.place)]
    texts += [item.what for item in fitted.items]
    ask_about_secrets(*texts, confirmed=confirmed)
    return fitted


def unsafe(record: Record | None, *, made_safe: bool = False) -> bool:
    """Whether a cell is flagged and nobody has dealt with it."""
    return bool(record and record.battery) and not made_safe


def may_be_posted(record: Record | None, *, made_safe: bool = False) -> None:
    """Raise Refused where a flagged cell forbids the post."""
    if unsafe(record, made_safe=made_safe):
        raise Refused(say("A damaged battery is not posted. Ask the carrier and follow local codes."))


def hazards(record: Record | None, kind: Kind | None) -> frozenset[Hazard]:
    """What about this ticket asks for its own acknowledgement of cautions."""
    found: set[Hazard] = set()
    if record and record.battery:
        found.add("cell")
    if record and record.liquid in (Liquid.SIGNS, Liquid.TOLD):
        found.add("liquid")
    if kind and kind.mains:
        found.add("mains")
    return frozenset(found)


def differences(announced: Sequence[Item], arrived: Sequence[Item]) -> list[Sentence]:
    """In what a parcel differs from its announcement, thing by thing; names are compared without regard to case."""
    wanted, found = _totals(announced), _totals(arrived)
    told = {item.what.casefold(): item.what for item in (*arrived, *announced)}
    return [
        say("“{what}”: {announced} announced, {arrived} arrived.", what=told[name], announced=a, arrived=b)
        for name in sorted(wanted.keys() | found.keys())
        if (a := wanted.get(name, 0)) != (b := found.get(name, 0))
    ]


def _totals(items: Sequence[Item]) -> dict[str, int]:
    totals: dict[str, int] = {}
    for item in items:
        totals[item.what.casefold()] = totals.get(item.what.casefold(), 0) + int(item.count)
    return totals


def fit_items(items: Sequence[Item]) -> tuple[Item, ...]:
    """Items as stored. Raises Unfit for too many, or one that does not fit."""
    return tuple(_item(item) for item in _bounded("items", items))


def _bounded(field_name: str, things: Sequence[_Thing]) -> Sequence[_Thing]:
    if len(things) > MOST:
        raise Unfit(field_name, say("{count} lines are too many; at most {most} fit.", count=len(things), most=MOST))
    return things


def _mark(mark: Mark) -> Mark:
    return Mark(
        line("marks", say("The mark"), mark.what, required=True),
        line("marks", say("The side"), mark.side, limit=40),
        line("marks", say("The place"), mark.place, limit=60),
    )


def _item(item: Item) -> Item:
    what = line("items", say("The item"), item.what, required=True)
    return Item(what, parse_count(item.count, field="items"), bool(item.inside))


def _came_by(typed: str) -> str:
    if typed not in ("counter", "post"):
        raise Unfit("came_by", say("A device comes over the counter or by post."))
    return typed


def _choice(field_name: str, choices: type[StrEnum], typed: str) -> str:
    try:
        return choices(typed).value
    except ValueError:
        allowed = ", ".join(choices)
        raise Unfit(
            field_name, say("“{typed}” is not known. Allowed: {allowed}.", typed=typed, allowed=allowed)
        ) from None
