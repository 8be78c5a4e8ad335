"""Handing a device over at the counter: who may have it, what goes with it, what is still to be paid."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from enum import StrEnum

from portal.rules.intake_record import Item
from portal.rules.refusals import AskFirst, Refused, Unfit, needs
from portal.rules.sentences import Sentence, say

LEAST_CHECKS = 2


class Proof(StrEnum):
    """What showed that it was the right person."""

    CODE = "code"
    STUB = "docket stub"
    WITHOUT = "without code"


# What the shop looks at where there is no code. Of a document nothing is copied or written down.
CHECKS: Mapping[str, Sentence] = {
    "number": say("They have the docket, or name the number of the repair"),
    "device": say("They describe the device and what was wrong with it"),
    "name": say("They showed something that bears the name on file (looked at, not copied)"),
    "rung": say("The owner was rung at the number on file and says yes"),
}
WRONG_CODE = say(
    "This is not the code for this device. It stands in our message to the customer, and on the page that the link in "
    "that message opens. Without it, say why below."
)
NO_CODE = say("Type the collection code. Without one, go through the list and say why there is none.")


def without_code(why: str, checked: Collection[str], *, may: bool) -> None:
    """Let a device go without its code. Raises Refused for who may not; Unfit (fields "code", "why", "checked")."""
    if not why and not checked:
        raise Unfit("code", NO_CODE)
    if not may:
        raise Refused(say("Without a code only the keeper hands a device over. Ask the keeper, or for the code."))
    if len(set(checked) & CHECKS.keys()) < LEAST_CHECKS:
        raise Unfit("checked", say("At least {least} of the list must be true before it goes.", least=LEAST_CHECKS))
    if not why:
        raise needs("why", say("The reason why there is no code"))


def left_out(items: Sequence[Item], ticked: Collection[int], missing: str) -> list[int]:
    """The places of the items handed in that do not go with the device. Raises Unfit where that has no reason."""
    out = [place for place in range(len(items)) if place not in ticked]
    if out and not missing:
        raise Unfit(
            "missing",
            say(
                "Not ticked: {items}. Tick what goes with the device, or say what became of the rest.",
                items=", ".join(f"{items[place].count} × {items[place].what}" for place in out),
            ),
        )
    return out


def settled_as_it_came(owing: str, *, is_keeper: bool, confirmed: bool) -> None:
    """The same for a device that goes back as it came, for which looking may be due, or work that was begun.

    Raises Refused for who may not let it go unpaid, AskFirst where the keeper has not said that it may.
    """
    if not owing or (is_keeper and confirmed):
        return
    if not is_keeper:
        raise _first_paid(owing)
    raise AskFirst(say("{owing} is still to be paid, although it goes back as it came. Take it first?", owing=owing))


def settled(owing: str, word: str, *, is_keeper: bool) -> None:
    """Whether the balance lets the device go; `owing` is what is open, in words, or "".

    Raises Refused where something is open and the keeper has not said that it may go all the same.
    """
    if not owing:
        return
    if not is_keeper:
        raise _first_paid(owing)
    if not word:
        raise Unfit("unsettled", say("{owing} is still to be paid. Take it first, or say why not.", owing=owing))


def _first_paid(owing: str) -> Refused:
    return Refused(say("{owing} is still to be paid. Take the payment first, or ask the keeper.", owing=owing))
