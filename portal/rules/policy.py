"""The policy: what the shop decides for itself, as one typed document. TOML on disk, numbered revisions in the store.

Text that customers read stands in every language of the shop: `label.en = "…"`, `label.de = "…"`.
"""

from __future__ import annotations

import zoneinfo
from datetime import date, time
from decimal import Decimal
from typing import Annotated, Literal

from babel.core import Locale, UnknownLocaleError
from babel.numbers import list_currencies
from pydantic import AfterValidator, BaseModel, ConfigDict, Field, StringConstraints, model_validator

from portal.rules.gates import GATES
from portal.rules.sentences import Sentence

Key = Annotated[str, StringConstraints(pattern=r"^[a-z][a-z0-9_]{0,39}$")]
Line = Annotated[str, StringConstraints(strip_whitespace=True, min_length=1, max_length=200)]
Words = dict[str, Line]  # language → text
DAYS = ("monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday")


def _zone(name: str) -> str:
    if name not in zoneinfo.available_timezones():
        raise ValueError("not a time zone; allowed is a name like “Europe/London”")
    return name


def _currency(code: str) -> str:
    if code not in list_currencies():
        raise ValueError("not a currency; allowed is an ISO 4217 code like “GBP” or “EUR”")
    return code


def _language(tag: str) -> str:
    try:
        Locale.parse(tag, sep="-")
    except (ValueError, UnknownLocaleError):
        raise ValueError("not a language; allowed is a tag like “en” or “de”") from None
    return tag


def _gate(name: str) -> str:
    if name not in GATES:
        raise ValueError(f"no such gate; allowed: {', '.join(GATES)}")
    return name


class Part(BaseModel):
    """A part of the policy: fixed once read, and nothing in it that it does not know."""

    model_config = ConfigDict(extra="forbid", frozen=True)


class Shop(Part):
    """Who the customers deal with."""

    name: Line
    address: list[Line] = Field(min_length=1, max_length=6)
    phone: Annotated[str, StringConstraints(strip_whitespace=True, max_length=40)] = ""
    email: Annotated[str, StringConstraints(strip_whitespace=True, max_length=254)] = ""
    country: Annotated[str, StringConstraints(pattern=r"^[A-Z]{2}$")] = "GB"  # ISO 3166-1, reads phone numbers
    zone: Annotated[str, AfterValidator(_zone)] = "Europe/London"
    currency: Annotated[str, AfterValidator(_currency)] = "GBP"
    tax_percent: Decimal | None = Field(
        default=None, ge=0, lt=100
    )  # None: the shop charges no tax and shows no tax line
    languages: list[Annotated[str, AfterValidator(_language)]] = Field(default=["en"], min_length=1)


class Opening(Part):
    """One span of opening hours in the shop's own time."""

    opens: time
    closes: time

    @model_validator(mode="after")
    def _in_order(self) -> Opening:
        if self.opens >= self.closes:
            raise ValueError("closes before it opens; allowed is opens earlier than closes on the same day")
        return self


class Closed(Part):
    """Closed from the first day to the last, both included, with a line that customers read."""

    first: date
    last: date
    note: Words = Field(default_factory=dict)

    @model_validator(mode="after")
    def _in_order(self) -> Closed:
        if self.first > self.last:
            raise ValueError("the last day is before the first; allowed is first on or before last")
        return self


class Hours(Part):
    """Opening hours by day of the week, public holidays of a country (and region), and days closed."""

    monday: list[Opening] = []
    tuesday: list[Opening] = []
    wednesday: list[Opening] = []
    thursday: list[Opening] = []
    friday: list[Opening] = []
    saturday: list[Opening] = []
    sunday: list[Opening] = []
    closed: list[Closed] = []
    public_holidays: Annotated[str, StringConstraints(pattern=r"^([A-Z]{2}(-[A-Z0-9]{1,3})?)?$")] = ""

    def on(self, weekday: int) -> list[Opening]:
        """The opening spans of a weekday, 0 for Monday."""
        spans: list[Opening] = getattr(self, DAYS[weekday])
        return spans


class GateAt(Part):
    """A gate at a stage's door."""

    gate: Annotated[str, AfterValidator(_gate)]
    when_shut: Literal["block", "warn"] = "block"


class Stage(Part):
    """A step of the shop's own."""

    key: Key
    label: Words
    sentence: Words  # what the customer reads while the device is here
    cautions: list[Line] = []
    enter: list[GateAt] = []
    leave: list[GateAt] = []
    tell: bool = False  # whether customers get a message when a device comes here
    may_be_skipped: bool = False
    back_without_reason: bool = False

    def label_sentence(self) -> Sentence:
        """The label to put into a sentence; the first language's, since the bench reads one."""
        return Sentence("{label}", {"label": next(iter(self.label.values()))})


class Check(Part):
    """One line of a test sheet for a kind of device."""

    key: Key
    bench: Line
    customer: Words
    when: Literal["before", "after", "both"] = "both"
    needed: bool = True


class Kind(Part):
    """A kind of device, with its checks."""

    key: Key
    label: Words
    checks: list[Check] = []


class Policy(Part):
    """The whole of what the shop decides for itself."""

    shop: Shop
    hours: Hours = Hours()
    stages: list[Stage] = Field(min_length=2)
    kinds: list[Kind] = Field(min_length=1)

    @model_validator(mode="after")
    def _keys_are_unique(self) -> Policy:
        for name, keys in (
            ("stages", [stage.key for stage in self.stages]),
            ("kinds", [kind.key for kind in self.kinds]),
            *((f"kinds.{kind.key}.checks", [check.key for check in kind.checks]) for kind in self.kinds),
        ):
            twice = sorted({key for key in keys if keys.count(key) > 1})
            if twice:
                raise ValueError(f"{name}: the key {twice[0]!r} stands twice; allowed is each key once")
        return self

    def stage(self, key: str | None) -> Stage | None:
        """The stage with this key, or None (also before arrival)."""
        return next((stage for stage in self.stages if stage.key == key), None)

    def kind(self, key: str) -> Kind | None:
        """The kind with this key, or None."""
        return next((kind for kind in self.kinds if kind.key == key), None)
