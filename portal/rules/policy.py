"""The policy: what the shop decides for itself, as one typed document. TOML on disk, numbered revisions in the store.

Text that customers read stands in every language of the shop: `label.en = "…"`, `label.de = "…"`.
"""

from __future__ import annotations

import zoneinfo
from datetime import date
from decimal import Decimal
from typing import Annotated, Literal

import holidays
import phonenumbers
from babel.core import Locale, UnknownLocaleError
from babel.numbers import list_currencies
from pydantic import (
    AfterValidator,
    BeforeValidator,
    Field,
    StrictBool,
    StringConstraints,
    model_validator,
)

from portal.rules.gates import GATES
from portal.rules.policy_approvals import Approvals
from portal.rules.policy_base import (
    VERSION_PATTERN,
    Key,
    Line,
    NotAllowed,
    Part,
    Passages,
    TimeOfDay,
    Words,
    not_a_number,
)
from portal.rules.policy_bench import Bench, Caution, Check, Kind
from portal.rules.policy_cancellation import Cancellation
from portal.rules.policy_collection import Collection
from portal.rules.policy_complaints import Complaints
from portal.rules.policy_forecast import Forecast
from portal.rules.policy_formal import Formal
from portal.rules.policy_handover import Handover
from portal.rules.policy_messages import Messages
from portal.rules.policy_money import Money
from portal.rules.policy_prints import Prints
from portal.rules.policy_privacy import Privacy
from portal.rules.policy_retention import Retention, usual
from portal.rules.sentences import Sentence, say

__all__ = ["Bench", "Caution", "Check", "Key", "Kind", "Line", "Part", "Policy", "Words"]
DAYS = ("monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday")


def _zone(name: str) -> str:
    if name not in zoneinfo.available_timezones():
        raise NotAllowed(say("“{name}”", name=name), say("the name of a time zone, like “Europe/London”"))
    return name


def _country(code: str) -> str:
    if code not in phonenumbers.SUPPORTED_REGIONS:
        raise NotAllowed(say("“{name}”", name=code), say("the two capital letters of a country, like “GB” or “DE”"))
    return code


def _currency(code: str) -> str:
    if code not in list_currencies():
        raise NotAllowed(say("“{name}”", name=code), say("a currency’s three letters, like “GBP” or “EUR”"))
    return code


def is_language(tag: str) -> bool:
    """Whether it is a language's tag in its proper spelling (BCP 47), with dates and numbers known."""
    try:
        return str(Locale.parse(tag, sep="-")).replace("_", "-") == tag
    except (ValueError, UnknownLocaleError):
        return False


def _language(tag: str) -> str:
    if not is_language(tag):
        raise NotAllowed(say("“{name}”", name=tag), say("a language’s tag, like “en”, “de” or “de-CH”"))
    return tag


def _public_holidays(name: str) -> str:
    country, _, region = name.partition("-")
    known = holidays.list_supported_countries()
    if name and (country not in known or (region and region not in known[country])):
        raise NotAllowed(
            say("“{name}”", name=name),
            say("a country, or a country and a region, like “DE”, “DE-BE” or “GB-ENG”; empty for none"),
        )
    return name


def _gate(name: str) -> str:
    if name not in GATES:
        raise NotAllowed(say("“{name}”", name=name), say("{names}", names=", ".join(GATES)))
    return name


Day = Annotated[date, BeforeValidator(not_a_number(say("a date, like 2026-12-24")))]


class Shop(Part):
    """Who the customers deal with."""

    name: Line
    address: list[Line] = Field(min_length=1, max_length=6)
    phone: Annotated[str, StringConstraints(strip_whitespace=True, max_length=40)] = ""
    email: Annotated[str, StringConstraints(strip_whitespace=True, max_length=254)] = ""
    country: Annotated[str, AfterValidator(_country)] = "GB"  # ISO 3166-1, reads phone numbers
    zone: Annotated[str, AfterValidator(_zone)] = "Europe/London"
    currency: Annotated[str, AfterValidator(_currency)] = "GBP"
    tax_percent: Decimal | None = Field(
        default=None, ge=0, lt=100
    )  # None: the shop charges no tax and shows no tax line
    languages: list[Annotated[str, AfterValidator(_language)]] = Field(default=["en"], min_length=1)


class Opening(Part):
    """One span of opening hours in the shop's own time."""

    opens: TimeOfDay
    closes: TimeOfDay

    @model_validator(mode="after")
    def _in_order(self) -> Opening:
        if self.opens >= self.closes:
            raise NotAllowed(
                say(
                    "closing at {closes} after opening at {opens}",
                    opens=f"{self.opens:%H:%M}",
                    closes=f"{self.closes:%H:%M}",
                ),
                say("“opens” earlier than “closes” on the same day; a span over midnight is written as two"),
            )
        return self


class Closed(Part):
    """Closed from the first day to the last, both included, with a line that customers read."""

    first: Day
    last: Day
    note: Words = Field(default_factory=dict)

    @model_validator(mode="after")
    def _in_order(self) -> Closed:
        if self.first > self.last:
            raise NotAllowed(
                say("a last day, {last}, before the first, {first}", first=self.first, last=self.last),
                say("“first” on or before “last”"),
            )
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
    public_holidays: Annotated[str, AfterValidator(_public_holidays)] = ""

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
    enter: list[GateAt] = []
    leave: list[GateAt] = []
    tell: StrictBool = False  # whether customers get a message when a device comes here
    may_be_skipped: StrictBool = False
    back_without_reason: StrictBool = False

    def label_sentence(self) -> Sentence:
        """The label, to put into a sentence."""
        return Sentence("{label}", {"label": self.label})


class Point(Part):
    """One point of the terms."""

    key: Key
    title: Words
    text: Passages


class Terms(Part):
    """The terms that customers accept: a text with a version, since what was accepted must be known for ever."""

    version: Annotated[str, StringConstraints(pattern=VERSION_PATTERN)]
    points: list[Point] = Field(min_length=1, max_length=40)


class People(Part):
    """What is asked of the staff."""

    keepers_need_second_factor: StrictBool = False


class Warranty(Part):
    """What the shop gives on its repairs; the law may give more."""

    months: int = Field(default=3, ge=0, le=120)


class Policy(Part):
    """The whole of what the shop decides for itself."""

    shop: Shop
    hours: Hours = Hours()
    stages: list[Stage] = Field(min_length=2)
    kinds: list[Kind] = Field(min_length=1)
    cautions: list[Caution] = Field(default=[], max_length=60)
    bench: Bench = Bench()
    prints: Prints = Prints()
    messages: Messages = Messages()
    approvals: Approvals = Approvals()
    money: Money = Field(default_factory=Money)
    cancellation: Cancellation | None = None  # None: nothing is said of a right to cancel, and nothing asked
    collection: Collection = Collection()
    formal: Formal = Formal()
    complaints: Complaints = Complaints()
    handover: Handover = Handover()
    forecast: Forecast = Forecast()
    people: People = People()
    warranty: Warranty = Warranty()
    retention: Retention = Field(default_factory=usual)
    privacy: Privacy = Privacy()
    terms: Terms | None = None  # None: the shop has none to show

    @model_validator(mode="after")
    def _keys_are_unique(self) -> Policy:
        for name, keys in (
            ("stages", [stage.key for stage in self.stages]),
            ("kinds", [kind.key for kind in self.kinds]),
            ("cautions", [caution.key for caution in self.cautions]),
            ("prints.labels", [label.key for label in self.prints.labels]),
            ("terms.points", [point.key for point in self.terms.points] if self.terms else []),
            *((f"kinds.{kind.key}.checks", [check.key for check in kind.checks]) for kind in self.kinds),
        ):
            twice = sorted({key for key in keys if keys.count(key) > 1})
            if twice:
                raise NotAllowed(say("{name}: the key “{key}” twice", name=name, key=twice[0]), say("each key once"))
        return self

    @model_validator(mode="after")
    def _cautions_know_their_place(self) -> Policy:
        stages, kinds = {stage.key for stage in self.stages}, {kind.key for kind in self.kinds}
        for caution in self.cautions:
            strange = [*(set(caution.stages) - stages), *(set(caution.kinds) - kinds)]
            if strange:
                raise NotAllowed(
                    say("the caution “{caution}” for “{name}”", caution=caution.key, name=sorted(strange)[0]),
                    say("the keys of the shop’s stages and kinds"),
                )
        return self

    @model_validator(mode="after")
    def _usual_times_are_for_kinds(self) -> Policy:
        kinds = [kind.key for kind in self.kinds]
        for key in self.forecast.usual_days_by_kind:
            if key not in kinds:
                raise NotAllowed(say("a usual time for “{name}”", name=key), say("the keys of the shop’s kinds"))
        return self

    @model_validator(mode="after")
    def _storage_stands_in_the_terms(self) -> Policy:
        storage, points = self.collection.storage, self.terms.points if self.terms else []
        if storage and storage.terms_point not in {point.key for point in points}:
            raise NotAllowed(
                say("a charge for storage that no point of the terms names: “{key}”", key=storage.terms_point),
                say("the key of the point that customers accept it in"),
            )
        return self

    def stage(self, key: str | None) -> Stage | None:
        """The stage with this key, or None (also before arrival)."""
        return next((stage for stage in self.stages if stage.key == key), None)

    def kind(self, key: str) -> Kind | None:
        """The kind with this key, or None."""
        return next((kind for kind in self.kinds if kind.key == key), None)
