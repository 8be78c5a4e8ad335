"""How large things are on paper: QR codes made of whole printer dots, and whether their address leads anywhere.

Receipt and label printers put down 8 dots a millimetre (203 dpi); a code's module should be at least 4 dots wide
(DENSO WAVE, qrcode.com, “Module size”), which is half a millimetre there.
"""

from __future__ import annotations

import ipaddress
from dataclasses import dataclass
from urllib.parse import urlsplit

from portal.rules.policy_prints import Label
from portal.rules.sentences import Sentence, say

DOT_MM = 0.125  # at 203 dpi
LEAST_MODULE_MM = 4 * DOT_MM
LARGEST_MODULE_MM = 1.0
LETTER = 0.62  # the width of a monospaced letter to its height, a little generous
LARGEST_CODE_MM = 45.0  # more is no easier to read, and takes the paper from the words
EDGE_MM = 1.0  # what label printers leave blank

# Names that never lead anywhere outside: RFC 6761 (localhost, test, invalid), RFC 6762 (local), RFC 8375 (home.arpa).
_INSIDE_NAMES = ("localhost", "test", "invalid", "local", "home.arpa", "internal", "lan")


@dataclass(frozen=True)
class Paper:
    """A docket's paper. A roll has no height of its own: the printer cuts, and a page is as long as a docket needs."""

    width_mm: float
    height_mm: float
    margin_mm: float

    @property
    def room_mm(self) -> float:
        """How much of the width can be printed on."""
        return self.width_mm - 2 * self.margin_mm

    @property
    def is_roll(self) -> bool:
        """Whether it is a receipt roll."""
        return self.width_mm < 100


# A receipt printer prints 72 of 80 mm and 48 of 58 mm (common practice, no source).
PAPERS: dict[str, Paper] = {
    "a4": Paper(210, 297, 12),
    "letter": Paper(215.9, 279.4, 12),
    "roll80": Paper(80, 297, 4),
    "roll58": Paper(58, 297, 5),
}


@dataclass(frozen=True)
class LabelPlan:
    """Where things are on a label: the code's module, and the number's letters, in millimetres."""

    beside: bool  # text beside the code; else the number beneath it
    module_mm: float
    number_mm: float
    number_width_mm: float


def module_mm(modules: int, room_mm: float) -> float:
    """The module of a code of so many modules a side, quiet zone included, that fits the room: whole printer dots."""
    dots = int(room_mm / modules / DOT_MM + 1e-9)
    return min(max(dots, 1) * DOT_MM, LARGEST_MODULE_MM)


def plan_label(label: Label, modules: int, letters: int) -> LabelPlan:
    """Lay a label out for a code of so many modules a side and a number of so many letters."""
    width, height = label.width_mm - 2 * EDGE_MM, label.height_mm - 2 * EDGE_MM
    beside = label.width_mm >= 1.5 * label.height_mm
    if beside:
        module = module_mm(modules, height)
        number = _letters_mm(width - module * modules - EDGE_MM, letters, 14)
    else:
        number = _letters_mm(width, letters, height / 6)
        module = module_mm(modules, min(width, height - number))
    return LabelPlan(beside, module, number, round(LETTER * letters * number, 2))


def too_fine(module: float) -> Sentence | None:
    """What to do about a code whose modules are too small for the usual printer, or None."""
    if module >= LEAST_MODULE_MM:
        return None
    return say(
        "The code’s smallest squares are only {size} mm wide; many printers and phones need {least} mm. "
        "Use a larger label, or give the site a shorter address.",
        size=f"{module:g}",
        least=f"{LEAST_MODULE_MM:g}",
    )


def leads_only_here(base_url: str) -> Sentence | None:
    """What to do about an address that works on this machine or network only, or None for a public one."""
    host = (urlsplit(base_url).hostname or "").rstrip(".").lower()
    if not _is_inside(host):
        return None
    return say(
        "The address in the code, {address}, only works on this machine or its network. A customer’s phone will not "
        "open it. Give the site a public address and set BENCHWINDOW_BASE_URL to it; the manual says how.",
        address=base_url,
    )


def _is_inside(host: str) -> bool:
    try:
        return not ipaddress.ip_address(host).is_global
    except ValueError:
        return "." not in host or any(host == name or host.endswith(f".{name}") for name in _INSIDE_NAMES)


def _letters_mm(room_mm: float, letters: int, largest_mm: float) -> float:
    """The height of monospaced letters that fit the room."""
    return round(max(min(room_mm / (LETTER * letters), largest_mm), 1), 2)
