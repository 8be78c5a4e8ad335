"""Limits of measured values and the values themselves: exact decimals, the limits included.

Written as a technician writes them: `12.0 V ± 5 %`, `12 V ± 0.5 V`, `4.75–5.25 V`, `≥ 80 %`, `≤ 0.5 Ω`.
Units follow the International System (BIPM, SI Brochure, 9th edition): a prefix changes the size, never the unit.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from decimal import Decimal

from portal.rules.refusals import Unfit
from portal.rules.sentences import say
from portal.rules.text import line

_NUMBER = r"[+\-−]?[0-9]{1,9}(?:[.,][0-9]{1,9})?"
_UNIT = r"[^\W\d_]{1,6}|%|°C|(?:m|µ)?Ω"
_BAND = re.compile(rf"({_NUMBER})\s*(?:{_UNIT})?\s*(?:–|\.\.\.|…|to)\s*({_NUMBER})\s*({_UNIT})")
_AROUND = re.compile(rf"({_NUMBER})\s*({_UNIT})\s*(?:±|\+/-)\s*([0-9]{{1,9}}(?:[.,][0-9]{{1,9}})?)\s*({_UNIT})")
_ONE_SIDED = re.compile(rf"(≥|>=|≤|<=)\s*({_NUMBER})\s*({_UNIT})")
_VALUE = re.compile(rf"({_NUMBER})\s*({_UNIT})?")
_PREFIXES = {"p": -12, "n": -9, "µ": -6, "m": -3, "": 0, "k": 3, "M": 6, "G": 9}
_PREFIXED_UNITS = ("V", "A", "W", "Ω", "Hz", "F", "H", "s", "Wh", "Ah")
_SPELLINGS = str.maketrans({"\u2126": "Ω", "\u03bc": "µ"})  # the ohm sign and the Greek mu
_HINT = "allowed is a form like “12.0 V ± 5 %”, “4.75–5.25 V”, “≥ 80 %” or “≤ 0.5 Ω”"


@dataclass(frozen=True)
class Limits:
    """From `low` to `high`, both included; None is open on that side."""

    low: Decimal | None
    high: Decimal | None
    unit: str

    def hold(self, value: Decimal) -> bool:
        """Whether a value in this unit is within."""
        return (self.low is None or self.low <= value) and (self.high is None or value <= self.high)

    def __str__(self) -> str:
        if self.low is None:
            return f"≤ {self.high} {self.unit}"
        return f"≥ {self.low} {self.unit}" if self.high is None else f"{self.low}–{self.high} {self.unit}"


def parse_limits(text: str) -> Limits | None:
    """Limits as the policy writes them; "" is none. Raises ValueError with a hint for any other form."""
    text = text.translate(_SPELLINGS).strip()
    if not text:
        return None
    if found := _AROUND.fullmatch(text):
        return _around(*found.groups())
    if found := _BAND.fullmatch(text):
        low, high = _decimal(found[1]), _decimal(found[2])
        if low > high:
            raise ValueError(f"the lower limit is above the upper one; {_HINT}")
        return Limits(low, high, _unit(found[3]))
    if found := _ONE_SIDED.fullmatch(text):
        limit, unit = _decimal(found[2]), _unit(found[3])
        return Limits(limit, None, unit) if found[1] in ("≥", ">=") else Limits(None, limit, unit)
    raise ValueError(f"not limits; {_HINT}")


def parse_value(typed: str, unit: str) -> Decimal:
    """A measured value in `unit`; comma or point, with the unit, with another prefix of it, or with none.

    Raises Unfit (field "value") for anything else, such as thousands marks or another unit.
    """
    text = line("value", say("The measured value"), typed, limit=40, required=True).translate(_SPELLINGS)
    found = _VALUE.fullmatch(text)
    if found is None:
        raise Unfit(
            "value",
            say(
                "“{typed}” is not a measured value. Write it like 11.9 or 11.9 {unit}, without thousands marks.",
                typed=text,
                unit=unit,
            ),
        )
    power = _power(_unit(found[2] or unit), unit)
    if power is None:
        raise Unfit("value", say("This value is measured in {unit}, not in {typed}.", unit=unit, typed=found[2]))
    return plain(_decimal(found[1]).scaleb(power))


def plain(value: Decimal) -> Decimal:
    """The same number without an exponent, so that it is written as people write it."""
    return Decimal(f"{value:f}")


def _around(nominal: str, unit: str, spread: str, spread_unit: str) -> Limits:
    middle, width, name = _decimal(nominal), _decimal(spread), _unit(unit)
    if spread_unit == "%" and name != "%":
        width = abs(middle) * width / 100
    else:
        power = _power(_unit(spread_unit), name)
        if power is None:
            raise ValueError(f"the spread is neither in % nor in {name}; {_HINT}")
        width = width.scaleb(power)
    return Limits(plain((middle - width).normalize()), plain((middle + width).normalize()), name)


def _decimal(text: str) -> Decimal:
    return Decimal(text.replace(",", ".").replace("−", "-"))


def _unit(text: str) -> str:
    unit = re.sub(r"(?i:ohms?)$", "Ω", text)
    return f"µ{unit[1:]}" if unit[:1] == "u" and unit[1:] in _PREFIXED_UNITS else unit


def _power(unit: str, wanted: str) -> int | None:
    """The power of ten that brings a value in `unit` to `wanted`, or None where they measure different things."""
    if unit == wanted:
        return 0
    (prefix, base), (wanted_prefix, wanted_base) = _taken_apart(unit), _taken_apart(wanted)
    if base is None or base != wanted_base:
        return None
    return _PREFIXES[prefix] - _PREFIXES[wanted_prefix]


def _taken_apart(unit: str) -> tuple[str, str | None]:
    for base in _PREFIXED_UNITS:
        if unit.endswith(base) and unit[: -len(base)] in _PREFIXES:
            return unit[: -len(base)], base
    return "", None
