"""The tray: what was taken out of a device, and how each thing ended: put back, replaced, or handed to the customer.

The counts must meet: a line is closed when what was put back, replaced and handed over adds up to what was taken out.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from enum import StrEnum
from typing import Literal

from portal.rules.counts import parse_count
from portal.rules.refusals import Refused, Unfit, needs
from portal.rules.sentences import say
from portal.rules.text import SHORT, line

MOST_LINES = 500


class End(StrEnum):
    """How a thing of the tray ends."""

    PUT_BACK = "put back"
    REPLACED = "replaced"
    HANDED_OVER = "handed to the customer"


@dataclass(frozen=True)
class NewLine:
    """A line as typed. An uncounted line stands for everything on the mat, and ends as one."""

    what: str
    count: str | int = 1
    counted: bool = True
    taken_from: str = ""
    lies_at: str = ""
    length_warning: str = ""  # how it differs from others that look alike
    whose: str = "customer"


@dataclass(frozen=True)
class TrayLine:
    """A line of the tray. `line` numbers it within its ticket; a struck line was a mistake, and its reason is told."""

    line: int
    what: str
    count: int
    counted: bool = True
    taken_from: str = ""
    lies_at: str = ""
    length_warning: str = ""
    whose: Literal["customer", "shop"] = "customer"
    put_back: int = 0
    replaced: int = 0
    handed_over: int = 0
    replaced_by: str = ""
    struck: bool = False

    @property
    def ended(self) -> int:
        """How many have ended, one way or another."""
        return self.put_back + self.replaced + self.handed_over

    @property
    def left(self) -> int:
        """How many still lie in the tray."""
        return 0 if self.struck else self.count - self.ended


def take_out(new: NewLine, lines: Iterable[TrayLine]) -> TrayLine:
    """The next line of a tray. Raises Unfit for a text or count that does not fit, Refused for a full tray."""
    numbers = [known.line for known in lines]
    if len(numbers) >= MOST_LINES:
        raise Refused(say("The tray has {most} lines already. Join what belongs together.", most=MOST_LINES))
    if new.whose not in ("customer", "shop"):
        raise Unfit("whose", say("A thing of the tray is the customer’s or the shop’s."))
    return TrayLine(
        line=max(numbers, default=0) + 1,
        what=line("what", say("What was taken out"), new.what, required=True),
        count=parse_count(new.count) if new.counted else 1,
        counted=new.counted,
        taken_from=line("taken_from", say("Where it came from"), new.taken_from),
        lies_at=line("lies_at", say("Where it lies"), new.lies_at),
        length_warning=line("length_warning", say("The warning"), new.length_warning),
        whose="shop" if new.whose == "shop" else "customer",
    )


def end(known: TrayLine, how: str, count: str | int | None = None, replaced_by: str = "") -> TrayLine:
    """End some of a line (None: all that is left). Raises Unfit for more than lie there, or a part not named."""
    if known.struck or not known.left:
        raise Refused(say("Nothing of “{what}” is left in the tray.", what=known.what))
    try:
        ending = End(how)
    except ValueError:
        raise Unfit("how", say("“{how}” is no end. Allowed: {allowed}.", how=how, allowed=", ".join(End))) from None
    number = known.left if count is None else parse_count(count)
    if number > known.left:
        raise Unfit(
            "count",
            say(
                "Only {left} of “{what}” lie in the tray, not {count}.", left=known.left, what=known.what, count=number
            ),
        )
    match ending:
        case End.PUT_BACK:
            return replace(known, put_back=known.put_back + number)
        case End.HANDED_OVER:
            return replace(known, handed_over=known.handed_over + number)
        case End.REPLACED:
            part = line("replaced_by", say("The part that replaces it"), replaced_by, required=True)
            joined = "; ".join(dict.fromkeys(filter(None, (known.replaced_by, part))))
            return replace(known, replaced=known.replaced + number, replaced_by=joined[: 2 * SHORT])


def recount(known: TrayLine, count: str | int, why: str) -> TrayLine:
    """Put a count right, with a reason. Raises Unfit for fewer than have ended already, or without the reason."""
    if known.struck or not known.counted:
        raise Refused(say("“{what}” has no count to put right.", what=known.what))
    if not why:
        raise needs("why", say("The reason"))
    number = parse_count(count)
    if number < known.ended:
        raise Unfit("count", say("{ended} of “{what}” have ended already.", ended=known.ended, what=known.what))
    return replace(known, count=number)


def strike(known: TrayLine, why: str) -> TrayLine:
    """Strike a line that was a mistake, with a reason. Raises Unfit without one, Refused when it is struck already."""
    if known.struck:
        raise Refused(say("“{what}” is struck already.", what=known.what))
    if not why:
        raise needs("why", say("The reason"))
    return replace(known, struck=True)


def open_lines(lines: Iterable[TrayLine]) -> list[TrayLine]:
    """The customer's lines of which something still lies in the tray; the shop's own spares keep no device here."""
    return [known for known in lines if known.whose == "customer" and known.left]


def settled(lines: Iterable[TrayLine]) -> bool:
    """Whether every count meets."""
    return not open_lines(lines)
