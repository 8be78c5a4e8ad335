"""One device in the demo shop: who brought it, what is wrong with it, and the deeds that a story may do with it.

Every deed goes through the same action as at the real bench. To let the stories do something new, add a deed here.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import timedelta
from random import Random
from typing import Any

from portal.actions import (
    announce,
    handover,
    moves,
    notes,
    parts,
    photo_pairs,
    photos,
    record,
    sheet,
    shelf,
    terms,
    tray,
    windows,
)
from portal.actions.announce import Announced
from portal.actions.desk import By, Desk, Outcome, find
from portal.actions.intake import NewDevice, NewVisit, take_in
from portal.actions.parts import Tick
from portal.actions.price_terms import TypedTerms
from portal.actions.sheet import Typed
from portal.rules.intake_record import Item, Liquid, Mark, Record, Seal, Unlocking
from portal.rules.limits import parse_limits
from portal.rules.policy import Check, Policy
from portal.rules.summary import SafetyTest
from portal.rules.tray import NewLine
from portal.store import photos as photo_rows
from portal.store.photo_files import PhotoFiles
from seed.pictures import Album, View

Texts = Mapping[str, str]


@dataclass(frozen=True)
class Stage:
    """What is the same for all scenes: the desk, the two people, the words, and the dice."""

    desk: Desk
    files: PhotoFiles
    policy: Policy
    bench: By
    keeper: By
    words: Mapping[str, Any]
    extras: Sequence[Mapping[str, Any]]
    album: Album
    chance: Random


@dataclass
class Scene:
    """One device's time in the shop. `pace` shortens or stretches every wait of its story."""

    house: Stage
    tale: Mapping[str, Any]
    device: str
    language: str
    name: str
    email: str = ""
    phone: str = ""
    pace: float = 1.0
    number: str = ""
    visit_ref: str = ""
    stage: str | None = None
    stops_at: str | None = None  # the stage where its story is left off
    express: bool = False
    place: str = ""
    price: TypedTerms = field(default_factory=TypedTerms)  # what is agreed about the price at the counter
    view: View | None = None  # what was photographed of it
    companion: Scene | None = field(default=None, repr=False)  # a second device handed in at the same time

    @property
    def is_still_here(self) -> bool:
        """Whether its story is left off before its end; only such devices are photographed: who looks at the others?"""
        return self.stops_at is not None

    def chance_of(self, share: float) -> bool:
        """Whether something that happens to this share of devices happens to this one."""
        return self.house.chance.random() < share

    def one_of(self, words: str) -> Any:
        """One of a list of words."""
        return self.house.chance.choice(self.house.words[words])

    def text(self, texts: Texts) -> str:
        """A text in the customer's language."""
        return texts[self.language]

    def take_in(self) -> None:
        """Over the counter, with the companion if there is one."""
        devices = [self._new(), *([self.companion._new()] if self.companion else [])]
        phone_here = self.tale["kind"] == "phone" and bool(self.phone)
        visit = NewVisit(
            devices,
            name=self.name,
            email=self.email,
            phone=self.phone,
            phone_is_on_bench=phone_here,
            language=self.language,
        )
        taken = take_in(self.house.desk, self.house.bench, visit)
        self._stands_in_first_stage(taken.numbers[0], taken.visit_ref)
        if self.companion:
            self.companion._stands_in_first_stage(taken.numbers[1], taken.visit_ref)

    def announce(self) -> None:
        """Told by its owner before it is posted."""
        visit = NewVisit((), name=self.name, email=self.email, phone=self.phone, language=self.language)
        told = Announced(visit, self._new(), "12 Harbour Rise\nQuayhaven", (Item("power supply"),), 12_000)
        taken = announce.announce(self.house.desk, told, f"the demo: {self.name} {self.house.desk.clock.now()}")
        self.number, self.visit_ref = taken.numbers[0], taken.visit_ref

    def parcel_comes(self) -> None:
        """The announced parcel is here, sometimes with a dented box."""
        damage = "One corner of the box is crushed; the device is whole." if self.chance_of(0.3) else ""
        announce.receive(*self._here(), (Item("power supply"),), parcel_damage=damage)
        self.stage = self.house.policy.stages[0].key

    def accept_terms(self) -> None:
        """The customer says yes to the terms at the counter."""
        known = self.house.policy.terms
        if known:
            terms.accept_terms(self.house.desk, self.house.bench, self.visit_ref, known.version, "tick")

    def record(self, *, battery: tuple[str, ...] = ()) -> None:
        """Its condition on arrival."""
        chance, kind = self.house.chance, self.house.policy.kind(self.tale["kind"])
        marks = [mark for mark in (kind.marks if kind else []) if "swollen" not in mark and "liquid" not in mark]
        places = ("front", "back", "left edge", "right edge", "top")
        written = Record(
            shop_sees=self.text(self.tale["found"]),
            marks=[Mark(mark, place=chance.choice(places)) for mark in chance.sample(marks, min(2, len(marks)))],
            seal=chance.choice((Seal.WHOLE, Seal.WHOLE, Seal.BROKEN, Seal.MISSING)).value,
            liquid=(Liquid.TOLD if self.tale.get("liquid") else Liquid.NONE_SEEN).value,
            items=[Item("power supply")] if self.chance_of(0.5) else [],
            unlocking=(Unlocking.IN_PERSON if self.tale["kind"] in ("phone", "laptop") else Unlocking.NO_LOCK).value,
            battery=battery,
        )
        record.record(*self._here(), written)

    def customer_answers_record(self) -> None:
        """The customer agrees on their page that the record is right."""
        record.agree(self.house.desk, self.number, 1)

    def customer_objects(self) -> None:
        """The customer says on their page what is not right."""
        record.object_to(self.house.desk, self.number, 1, self.house.words["objection"])

    def battery_made_safe(self) -> None:
        """Somebody qualified has dealt with the flagged cell."""
        record.make_safe(*self._here(), self.house.words["battery_dealt_with"])

    def photograph(self, moment: str) -> None:
        """A photo for the customer from before or after the repair; of the tray, for the bench."""
        if moment == "tray":
            view = self.house.album.tray()
        else:
            view = self.view = self.view or self.house.album.view_of(self.tale["kind"], self.device)
        photos.keep(
            self.house.desk,
            self.house.files,
            self.house.bench,
            self.number,
            self.house.album.photo(view, moment),
            moment=moment,
            audience="bench" if moment == "tray" else "customer",
        )

    def pair(self) -> None:
        """Its before and its after together, for the customer to compare."""
        if self.view is None:
            return
        with self.house.desk.reading() as connection:
            ticket = find(connection, self.number)
            shown = {photo.moment: photo.ref for photo in photo_rows.of_ticket(connection, ticket.id)}
        aligned = self.house.album.aligned(self.view)
        here = (self.house.desk, self.house.files, self.house.bench, self.number)
        photo_pairs.keep(*here, shown["before"], shown["after"], aligned)

    def lay(self, place: str) -> None:
        """Where it lies from now on."""
        if place != self.place:
            shelf.put(*self._here(), place=place, express=self.express)
            self.place = place

    def promise(self) -> None:
        """Of some devices somebody says by hand by when they will be ready; which ones is no matter of the dice."""
        if int(self.number) % 11 == 0:
            day = self.house.desk.clock.now().date() + timedelta(days=5)
            windows.promise(*self._here(), promised_on=day.isoformat())

    def move(self, stage: str, why: str = "") -> None:
        """To another stage; gates that only warn are passed."""
        moves.move(*self._here(), stage, why=why, confirmed=True)
        self.stage = stage

    def hold(self, kind: str, why: str = "") -> None:
        """It waits ("none": it goes on)."""
        moves.hold(*self._here(), kind, why=why)

    def note(self, text: str) -> Outcome:
        """For the bench."""
        return notes.note(*self._here(), text)

    def tell(self, text: str) -> Outcome:
        """For the customer too."""
        return notes.note(*self._here(), text, audience="customer")

    def correct(self, entry: int, text: str) -> None:
        """Put an entry of the journal right."""
        notes.correct(*self._here(), entry, text)

    def open_up(self) -> None:
        """Screws and covers into the tray."""
        kind = self.house.policy.kind(self.tale["kind"])
        usual = list(kind.tray[:3]) if kind else ["screws"]
        counts = [self.house.chance.randrange(4, 13) if "screw" in what else 1 for what in usual]
        tray.take_out(*self._here(), [NewLine(what, count) for what, count in zip(usual, counts, strict=True)])

    def close_up(self) -> None:
        """Everything back from the tray."""
        tray.end_all(*self._here(), "put back")

    def order(self, days: int) -> None:
        """Order the part that the tale needs; the ticket waits for it."""
        today = self.house.desk.clock.now().date()
        supplier = self.one_of("suppliers")
        parts.order(*self._here(), self.tale["part"], supplier, today + timedelta(days=days), warranty_months=12)

    def part_comes(self) -> None:
        """The ordered part has arrived and goes in."""
        parts.settle_delivery(self.house.desk, self.house.bench, [Tick(self.number, 1, "arrived")])
        parts.fit(*self._here(), 1)

    def give(self, what: str) -> None:
        """Something done free of charge."""
        parts.give(*self._here(), what)

    def test(self, *, failing: bool = False) -> None:
        """The test sheet after the repair; with `failing`, its last check fails and the keeper lets it through."""
        needed = [check for check in self._checks() if check.needed and check.when != "before"]
        if not needed:
            return
        typed = [_passes(check) for check in needed]
        if failing:
            typed[-1] = Typed(needed[-1].key, "after", "fail")
        sheet.fill_in(*self._here(), typed)
        if failing:
            why = self.text(self.house.words["let_through"])
            sheet.let_through(self.house.desk, self.house.keeper, self.number, why)

    def test_mains(self) -> None:
        """A qualified person's electrical safety test, recorded as they told it."""
        day = self.house.desk.clock.now().date().isoformat()
        test = SafetyTest(True, "a qualified electrician of the town", "appliance tester no. 2", day, "passed, as told")
        sheet.record_safety_test(*self._here(), test)

    @property
    def has_mains(self) -> bool:
        """Whether there are parts at mains voltage inside."""
        kind = self.house.policy.kind(self.tale["kind"])
        return bool(kind and kind.mains)

    def give_back(self, reason: str) -> None:
        """Returned unrepaired."""
        handover.return_unrepaired(*self._here(), reason)

    def _here(self) -> tuple[Desk, By, str]:
        return self.house.desk, self.house.bench, self.number

    def _new(self) -> NewDevice:
        fault, kind = self.text(self.tale["fault"]), self.tale["kind"]
        return NewDevice(self.device, fault, kind, express=self.express, price=self.price)

    def _checks(self) -> list[Check]:
        kind = self.house.policy.kind(self.tale["kind"])
        return list(kind.checks) if kind else []

    def _stands_in_first_stage(self, number: str, visit_ref: str) -> None:
        self.number, self.visit_ref, self.stage = number, visit_ref, self.house.policy.stages[0].key


def _passes(check: Check) -> Typed:
    """A good result, with a good value where something is measured."""
    limits = parse_limits(check.limits)
    if limits is None:
        return Typed(check.key, "after", "pass")
    ends = [end for end in (limits.low, limits.high) if end is not None]
    return Typed(check.key, "after", "", value=f"{sum(ends) / len(ends)} {limits.unit}")
