"""The statement of a repair's account: a document that is never changed. It is no invoice, and no till receipt.

Nothing in it names a person or a device: the number of the repair is its only reference.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from enum import StrEnum
from typing import Any

from portal.rules.account import Account, Charge
from portal.rules.money import Amounts, Rounding, split
from portal.rules.offers import ShownLine
from portal.rules.payments import HOW_WORDS, KIND_WORDS, How, Kind
from portal.rules.sentences import Sentence, say

_ONE = Decimal(1)
NOT_AN_INVOICE = say("This is a statement. It is not an invoice, and not a till receipt.")


class Part(StrEnum):
    """What a line of a statement is."""

    WORK = "work"
    IN_PART = "in part"
    FREE = "free"
    STORAGE = "storage"
    LET_OFF = "let off"
    RECEIVED = "received"
    GIVEN_BACK = "given back"


PART_WORDS: Mapping[Part, Sentence] = {
    Part.WORK: say("The repair, as agreed"),
    Part.IN_PART: say("Cancelled: the part that was done by then"),
    Part.FREE: say("Given free"),
    Part.STORAGE: say("Storage"),
    Part.LET_OFF: say("Let off"),
    Part.RECEIVED: say("Received"),
    Part.GIVEN_BACK: say("Given back"),
}
ROUNDING_WORDS: Mapping[Rounding, Sentence] = {
    Rounding.PER_LINE: say("Tax is rounded to the smallest coin for each line, half of it up."),
    Rounding.PER_TOTAL: say("Tax is rounded to the smallest coin for the total of each rate, half of it up."),
}
CHARGED = (Part.WORK, Part.IN_PART, Part.FREE, Part.STORAGE, Part.LET_OFF)


@dataclass(frozen=True)
class Entry:
    """A line: amounts in minor units, with or without tax as the whole statement is; days as ISO 8601."""

    part: Part
    text: str
    amount_minor: int
    quantity: str = ""
    unit_minor: int | None = None
    on: str = ""
    how: str = ""
    reference: str = ""

    @property
    def count(self) -> Decimal:
        """The quantity as a number; one where there is none."""
        return Decimal(self.quantity or 1)

    @property
    def day(self) -> date | None:
        """The day on which money moved."""
        return date.fromisoformat(self.on) if self.on else None

    def words(self) -> Sentence:
        """What the line is for, as people read it."""
        if self.part in (Part.RECEIVED, Part.GIVEN_BACK):
            kind, how = KIND_WORDS[Kind(self.text)], HOW_WORDS[How(self.how)]
            return say("{kind}, {how}", kind=kind, how=how)
        if self.part is Part.FREE:
            return say("{what}, free of charge", what=self.text)
        if self.part is Part.IN_PART and self.text:
            return say("{what}, cancelled: the part that was done by then", what=self.text)
        if self.part is Part.LET_OFF and self.text:
            return say("Let off: {why}", why=self.text)
        return Sentence("{text}", {"text": self.text}) if self.text else PART_WORDS[self.part]


@dataclass(frozen=True)
class Document:
    """A statement. The charged lines add up to `gross`, or to `net` where prices are shown without tax."""

    currency: str
    prices_include_tax: bool
    entries: Sequence[Entry]
    amounts: Amounts
    by_rate: Mapping[Decimal, Amounts]
    paid_minor: int
    rounding: Rounding | None = None  # where tax was rounded; None without tax, or where that changed on the way

    @property
    def open_minor(self) -> int:
        """What is still to be paid."""
        return max(self.amounts.gross - self.paid_minor, 0)

    @property
    def credit_minor(self) -> int:
        """What the shop owes back."""
        return max(self.paid_minor - self.amounts.gross, 0)

    @property
    def rounding_words(self) -> Sentence | None:
        """How tax was rounded, for those who reckon it over."""
        return ROUNDING_WORDS[self.rounding] if self.rounding else None

    @property
    def charged(self) -> list[Entry]:
        """The lines that make up what is charged."""
        return [entry for entry in self.entries if entry.part in CHARGED]

    @property
    def payments(self) -> list[Entry]:
        """The lines of money that came in or went back."""
        return [entry for entry in self.entries if entry.part not in CHARGED]


def document(found: Account, courtesies: Sequence[str], *, untold: Collection[str] = ()) -> Document:
    """The statement of an account as it stands.

    What was agreed at the start and called by the customer's words, or by the device, goes without them. For what was
    agreed before that was written down with it, `untold` are those words as they stand today.
    """
    with_tax = not found.charges or any(charge.prices_include_tax for charge in found.charges)
    entries = [entry for charge in found.charges for entry in _work(charge, with_tax, untold)]
    entries += [Entry(Part.FREE, what, 0) for what in courtesies]
    if found.storage:
        stored = split(found.storage.amount_minor, found.storage.tax_percent, True)
        entries.append(Entry(Part.STORAGE, "", _shown(stored, with_tax)))
    if found.let_off_minor:
        charged = sum(entry.amount_minor for entry in entries)
        why = "; ".join(dict.fromkeys(each.why for each in found.let_off if each.why))
        entries.append(Entry(Part.LET_OFF, why, _shown(found.amounts, with_tax) - charged))
    for each in found.moved:
        if each.counts:
            back = each.kind is Kind.REFUND
            entries.append(
                Entry(
                    Part.GIVEN_BACK if back else Part.RECEIVED,
                    each.kind.value,
                    -each.amount_minor if back else each.amount_minor,
                    on=each.on.isoformat(),
                    how=each.how.value,
                    reference=each.reference,
                )
            )
    rates = {rate: amounts for rate, amounts in found.by_rate.items() if rate is not None}
    rules = {charge.rounding for charge in found.charges}
    rounding = rules.pop() if rates and len(rules) == 1 else None
    return Document(found.currency, with_tax, entries, found.amounts, rates, found.paid_minor, rounding)


def to_data(made: Document) -> dict[str, Any]:
    """The statement as JSON takes it; decimals are text."""
    return {
        "currency": made.currency,
        "prices_include_tax": made.prices_include_tax,
        "net_minor": made.amounts.net,
        "tax_minor": made.amounts.tax if made.by_rate else None,
        "gross_minor": made.amounts.gross,
        "tax": [
            {"percent": str(rate), "net_minor": each.net, "tax_minor": each.tax, "gross_minor": each.gross}
            for rate, each in made.by_rate.items()
        ],
        "rounding": made.rounding,
        "paid_minor": made.paid_minor,
        "open_minor": made.open_minor,
        "owed_back_minor": made.credit_minor,
        "lines": [
            {
                "part": entry.part.value,
                "text": entry.text,
                "quantity": entry.quantity,
                "unit_minor": entry.unit_minor,
                "amount_minor": entry.amount_minor,
                "on": entry.on,
                "how": entry.how,
                "reference": entry.reference,
            }
            for entry in made.entries
        ],
    }


def from_data(data: Mapping[str, Any]) -> Document:
    """The statement again."""
    return Document(
        data["currency"],
        data["prices_include_tax"],
        [
            Entry(
                Part(each["part"]),
                each["text"],
                each["amount_minor"],
                each["quantity"],
                each["unit_minor"],
                each["on"],
                each["how"],
                each["reference"],
            )
            for each in data["lines"]
        ],
        Amounts(data["net_minor"], data["tax_minor"] or 0, data["gross_minor"]),
        {
            Decimal(each["percent"]): Amounts(each["net_minor"], each["tax_minor"], each["gross_minor"])
            for each in data["tax"]
        },
        data["paid_minor"],
        Rounding(data["rounding"]) if data["rounding"] else None,
    )


def _work(charge: Charge, with_tax: bool, untold: Collection[str]) -> list[Entry]:
    lines = charge.lines
    if charge.prices_include_tax is not with_tax:  # agreed before the shop changed how it shows prices
        lines = [ShownLine(charge.proposal, _ONE, charge.amounts.gross, charge.amounts.gross)]
    part = Part.WORK if charge.percent is None else Part.IN_PART
    return [
        Entry(
            part,
            _told(charge, untold, each.text),
            each.amount_minor,
            f"{each.quantity.normalize():f}",
            each.unit_minor,
        )
        for each in lines
    ]


def _told(charge: Charge, untold: Collection[str], text: str) -> str:
    """A line's words, or "" for those that are not the shop's."""
    if charge.named_by_customer or (charge.at_start and text in untold):
        return ""
    return text


def _shown(amounts: Amounts, with_tax: bool) -> int:
    return amounts.gross if with_tax else amounts.net
