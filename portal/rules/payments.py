"""Money that came in and went back: how, when, under which reference. Never the number of a card."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from enum import StrEnum

from portal.rules.imei import check_digit
from portal.rules.money import Price, parse_amount
from portal.rules.refusals import AskFirst, Refused, Unfit
from portal.rules.sentences import Sentence, say
from portal.rules.text import line


class Kind(StrEnum):
    """Which way money went."""

    DEPOSIT = "deposit"  # before the work was done
    PAYMENT = "payment"
    REFUND = "refund"


class How(StrEnum):
    """By what means."""

    CASH = "cash"
    CARD = "card terminal"
    TRANSFER = "bank transfer"
    OTHER = "other"


KIND_WORDS: Mapping[Kind, Sentence] = {
    Kind.DEPOSIT: say("Deposit"),
    Kind.PAYMENT: say("Payment"),
    Kind.REFUND: say("Given back"),
}
HOW_WORDS: Mapping[How, Sentence] = {
    How.CASH: say("in cash"),
    How.CARD: say("by card, at the shop’s terminal"),
    How.TRANSFER: say("by bank transfer"),
    How.OTHER: say("by other means"),
}
LONGEST_REFERENCE = 60
# The number on a payment card has 12 to 19 digits, the last of them its check digit (ISO/IEC 7812-1, the lengths from
# memory). People write it in groups.
_DIGITS = re.compile(r"(?<!\d)\d(?:[ .\-–]?\d){11,18}(?!\d)")
_APART = re.compile(r"[ .\-–]")


@dataclass(frozen=True)
class Moved:
    """An amount that moved, in minor units. `by` is the staff member's name or ""; `undone` why it does not count."""

    ref: str
    kind: Kind
    amount_minor: int
    currency: str
    how: How
    reference: str
    on: date
    by: str = ""
    undone: str | None = None

    @property
    def counts(self) -> bool:
        """Whether it was not reversed."""
        return self.undone is None

    @property
    def price(self) -> Price:
        """The amount as money."""
        return Price(self.amount_minor, self.currency)


def paid(moved: Iterable[Moved]) -> int:
    """What came in and was not given back, in minor units."""
    return sum(-each.amount_minor if each.kind is Kind.REFUND else each.amount_minor for each in moved if each.counts)


def no_card_number(field: str, text: str) -> str:
    """The text again. Raises Unfit where the number of a card may stand in it: such numbers are never kept here."""
    for found in _DIGITS.finditer(text):
        digits = _APART.sub("", found[0])
        if check_digit(digits[:-1]) == digits[-1]:
            raise Unfit(
                field,
                say("This looks like the number of a card. It is never written down here: leave it out, please."),
            )
    return text


def fit_reference(typed: str) -> str:
    """A reference as kept, or "". Raises Unfit (field "reference")."""
    text = line("reference", say("The reference"), typed, limit=LONGEST_REFERENCE)
    return no_card_number("reference", text)


def fit_how(typed: str) -> How:
    """The means as chosen. Raises Unfit (field "how")."""
    if typed not in tuple(How):
        raise Unfit("how", say("How was it paid? Allowed: {allowed}.", allowed=", ".join(How)))
    return How(typed)


def fit_amount(typed: str, currency: str) -> int:
    """An amount above nothing, in minor units. Raises Unfit (field "amount")."""
    minor = parse_amount("amount", say("The amount"), typed, currency)
    if not minor:
        raise Unfit("amount", say("The amount must be above nothing."))
    return minor


def may_take(minor: int, open_minor: int, currency: str, kind: Kind, *, confirmed: bool) -> None:
    """Raise AskFirst where more is paid than is open; a deposit comes before there is anything to pay."""
    if kind is Kind.PAYMENT and minor > open_minor and not confirmed:
        raise AskFirst(
            say(
                "Only {open} are still to be paid, and {amount} are taken. The rest would be owed back.",
                open=Price(open_minor, currency),
                amount=Price(minor, currency),
            )
        )


def may_refund(minor: int, credit_minor: int, currency: str) -> None:
    """Raise Refused where more would be given back than is owed."""
    if minor > credit_minor:
        raise Refused(
            say(
                "Only {credit} are owed back. What was charged is let off first, then it can be given back.",
                credit=Price(credit_minor, currency),
            )
        )


def standing(moved: Sequence[Moved], ref: str) -> Moved:
    """The entry with this public id, if it still counts. Raises Refused."""
    found = next((each for each in moved if each.ref == ref), None)
    if found is None:
        raise Refused(say("There is no such payment on this repair."))
    if not found.counts:
        raise Refused(say("This payment was reversed already."))
    return found
