"""What was agreed about the price when a device came in: one of four ways, or nothing yet.

None of them lets the shop charge what nobody agreed to. A fixed price and a fee for looking are agreed charges; no fix,
no fee takes every charge away where the device goes back unrepaired; a limit lets the bench go on without asking each
time, until it is used up.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from enum import StrEnum
from typing import Any

from portal.rules.money import Price, parse_amount
from portal.rules.refusals import Refused, Unfit, needs
from portal.rules.sentences import Sentence, say


class Way(StrEnum):
    """What the customer agrees to at the start."""

    FIXED = "fixed price"
    LOOK_FIRST = "look first"
    NO_FIX_NO_FEE = "no fix no fee"
    LIMIT = "up to a limit"


WAY_WORDS: Mapping[Way, Sentence] = {
    Way.FIXED: say("a fixed price"),
    Way.LOOK_FIRST: say("look first, then ask"),
    Way.NO_FIX_NO_FEE: say("no fix, no fee"),
    Way.LIMIT: say("go ahead up to a limit"),
}
_CUSTOMER: Mapping[Way, Sentence] = {
    Way.FIXED: say("We agreed a fixed price: {amount}."),
    Way.LOOK_FIRST: say("We look first. Looking costs {amount}, whatever you decide then."),
    Way.NO_FIX_NO_FEE: say("No fix, no fee: if we cannot repair it, it costs you nothing."),
    Way.LIMIT: say("We go ahead up to {amount} without asking each time. Above that we ask you first."),
}
_FREE_LOOK = say("We look first, at no cost. Then you get a price, and decide.")


@dataclass(frozen=True)
class PriceTerms:
    """The terms of one ticket. `amount_minor` is the fixed price, the fee for looking (None: free) or the limit.

    In minor units of `currency`, tax included: it is what the customer pays.
    """

    way: Way
    amount_minor: int | None
    currency: str

    @property
    def amount(self) -> Price | None:
        """The amount as money, or None."""
        return None if self.amount_minor is None else Price(self.amount_minor, self.currency)

    @property
    def charges(self) -> bool:
        """Whether the terms themselves agree to a charge."""
        return self.way in (Way.FIXED, Way.LOOK_FIRST) and self.amount_minor is not None

    def words(self) -> Sentence:
        """The terms as the customer reads them."""
        if self.way is Way.LOOK_FIRST and self.amount_minor is None:
            return _FREE_LOOK
        return Sentence(_CUSTOMER[self.way].template, {"amount": self.amount or ""})


def fit(way: str, amount: str, currency: str) -> PriceTerms | None:
    """The terms as typed, or None where nothing was. Raises Unfit (fields "price_way", "price_amount")."""
    if not way.strip():
        if amount.strip():
            raise needs("price_way", say("What the amount stands for"))
        return None
    if way not in tuple(Way):
        allowed = ", ".join(Way)
        raise Unfit("price_way", say("There are no such terms. Allowed: {allowed}.", allowed=allowed))
    chosen = Way(way)
    if chosen is Way.NO_FIX_NO_FEE:
        if amount.strip():
            raise Unfit("price_amount", say("No fix, no fee has no amount of its own. Leave it empty."))
        return PriceTerms(chosen, None, currency)
    if not amount.strip():
        if chosen is Way.LOOK_FIRST:
            return PriceTerms(chosen, None, currency)
        raise needs("price_amount", say("The amount"))
    minor = parse_amount("price_amount", say("The amount"), amount, currency)
    if not minor and chosen is not Way.LOOK_FIRST:
        raise Unfit("price_amount", say("The amount must be above nothing."))
    return PriceTerms(chosen, minor or None, currency)


def left(terms: PriceTerms | None, used_minor: int) -> int | None:
    """How much of a limit is left, in minor units, or None where there is no limit."""
    if terms is None or terms.way is not Way.LIMIT or terms.amount_minor is None:
        return None
    return max(terms.amount_minor - used_minor, 0)


def names(fault: str, device: str) -> list[str]:
    """What a price is called by where nobody of the shop said what for: the fault as told, on one line; the device."""
    return [each for each in (" ".join(fault.split())[:400], device) if each]


def told_by(events: Iterable[tuple[str, Mapping[str, Any]]]) -> tuple[PriceTerms | None, int]:
    """What a journal tells, by events and their data: the terms, and how much of a limit is used, in minor units."""
    terms, used = None, {}
    for name, data in events:
        if name == "price_agreed":
            terms = of_event(data)
        elif name == "gone_ahead":
            used[data["question"]] = int(data["amount_minor"])
        elif name == "yes_taken_back":
            used.pop(data["question"], None)
    return terms, sum(used.values())


def of_event(data: Mapping[str, Any]) -> PriceTerms:
    """The terms that an event `price_agreed` tells of."""
    amount = data.get("amount_minor")
    return PriceTerms(Way(data["price_way"]), None if amount is None else int(amount), data["currency"])


def must_fit_limit(terms: PriceTerms | None, used_minor: int, gross_minor: int) -> None:
    """Raises Refused where work costs more than the customer let the shop go ahead with."""
    room = left(terms, used_minor)
    if room is None:
        raise Refused(say("The customer gave no limit to go ahead within. Ask before it costs."))
    if terms is not None and gross_minor > room:
        raise Refused(
            say(
                "It costs {price}, and only {room} of the customer’s limit are left. Ask first.",
                price=Price(gross_minor, terms.currency),
                room=Price(room, terms.currency),
            )
        )


def charge_stands(terms: PriceTerms | None, *, unrepaired: bool) -> bool:
    """Whether what was agreed to may be charged at the end: not where it was no fix, no fee, and nothing was fixed."""
    return not (unrepaired and terms is not None and terms.way is Way.NO_FIX_NO_FEE)
