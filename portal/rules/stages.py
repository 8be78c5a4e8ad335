"""How a ticket may move through the shop's own stages, wait in them, and leave.

Every deed is decided here: plain values in, a list of `Event`s out, or a refusal that tells every reason at once.
`apply` folds an event into the standing, so the journal's events rebuild what the ticket's row says.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta
from enum import StrEnum

from portal.rules.gates import Facts, StandingGate, shut_gates
from portal.rules.policy import Stage
from portal.rules.refusals import AskFirst, Refused, needs
from portal.rules.sentences import Sentence, say


class Hold(StrEnum):
    """Why a ticket waits inside its stage."""

    APPROVAL = "approval"
    PART = "part"
    CUSTOMER = "customer"
    DISPUTE = "dispute"
    SAFETY = "safety"


class Ending(StrEnum):
    """How a ticket ends."""

    COLLECTED = "collected"
    POSTED = "posted back"
    RETURNED = "returned unrepaired"
    GIVEN_UP = "given up by its owner"
    DISPOSED = "disposed of by law"


BY_LAW = Ending.DISPOSED  # to look for; `dispose` alone makes it


@dataclass(frozen=True)
class Standing:
    """Where a ticket stands. `stage` is None before arrival (announced); `ending` is None while the shop has it."""

    stage: str | None = None
    hold: Hold | None = None
    ending: Ending | None = None


@dataclass(frozen=True)
class Event:
    """What happened, in the past tense, with only what rebuilds the standing: never personal data."""

    name: str
    data: Mapping[str, str] = field(default_factory=dict)


def apply(standing: Standing, event: Event) -> Standing:
    """The standing after an event. Events that change no standing (a note, a photo) leave it as it is."""
    match event.name:
        case "arrived" | "moved":
            return replace(standing, stage=event.data["stage"])
        case "held":
            return replace(standing, hold=Hold(event.data["hold"]))
        case "released":
            return replace(standing, hold=None)
        case "ended":
            return replace(standing, ending=Ending(event.data["ending"]), hold=None)
        case "reopened":
            return replace(standing, ending=None)
        case _:
            return standing


def rebuild(events: Iterable[Event]) -> Standing:
    """The standing that a journal tells, from its first event on."""
    standing = Standing()
    for event in events:
        standing = apply(standing, event)
    return standing


def arrive(standing: Standing, stages: Sequence[Stage]) -> list[Event]:
    """A device comes in: its ticket enters the first stage. Raises Refused when it is here already."""
    if standing.stage is not None or standing.ending is not None:
        raise Refused(say("This device has arrived already."))
    return [Event("arrived", {"stage": stages[0].key})]


def next_stages(standing: Standing, stages: Sequence[Stage]) -> list[Stage]:
    """The stages a ticket may go forward to: the next one, and those behind stages that may be skipped."""
    position = _position(standing, stages)
    reachable = []
    for stage in stages[position + 1 :]:
        reachable.append(stage)
        if not stage.may_be_skipped:
            break
    return reachable


def earlier_stages(standing: Standing, stages: Sequence[Stage]) -> list[Stage]:
    """The stages a ticket may go back to."""
    return list(stages[: _position(standing, stages)])


def move(
    standing: Standing,
    to: str,
    stages: Sequence[Stage],
    facts: Facts,
    *,
    why: str = "",
    confirmed: bool = False,
) -> list[Event]:
    """Move to the stage with key `to`: forward over what may be skipped, or back with a reason.

    Raises Refused for a stage the shop does not have, one out of reach, a ticket on hold, or blocking gates (all of
    them at once); Unfit when going back lacks its reason; AskFirst when gates only warn and `confirmed` is False.
    """
    must_be_here(standing)
    target = _find(to, stages)
    here = _position(standing, stages)
    there = stages.index(target)
    if there == here:
        raise Refused(say("The ticket is in “{stage}” already.", stage=target.label_sentence()))
    if standing.hold is not None:
        raise Refused(_held(standing.hold))
    if there < here:
        if not why and not target.back_without_reason:
            raise needs("why", say("The reason for going back"))
        return [Event("moved", {"stage": target.key})]
    if target not in next_stages(standing, stages):
        between = [stage for stage in stages[here + 1 : there] if not stage.may_be_skipped]
        raise Refused(
            *(say("“{stage}” comes first and may not be skipped.", stage=stage.label_sentence()) for stage in between)
        )
    _pass_gates([*stages[here].leave, *target.enter], facts, confirmed)
    return [Event("moved", {"stage": target.key})]


def set_hold(standing: Standing, hold: str) -> list[Event]:
    """Put the ticket on hold, or change what it waits for. Raises Refused for an unknown kind or the same one."""
    must_be_here(standing)
    try:
        kind = Hold(hold)
    except ValueError:
        raise Refused(
            say("There is no hold “{hold}”. Allowed: {allowed}.", hold=hold, allowed=", ".join(Hold))
        ) from None
    if standing.hold is kind:
        raise Refused(_held(kind))
    return [Event("held", {"hold": kind.value})]


def lift_hold(standing: Standing) -> list[Event]:
    """End the hold. Raises Refused when there is none."""
    must_be_here(standing)
    if standing.hold is None:
        raise Refused(say("The ticket is not on hold."))
    return [Event("released")]


def hand_over(
    standing: Standing,
    stages: Sequence[Stage],
    ending: Ending = Ending.COLLECTED,
    *,
    facts: Facts | None = None,
    confirmed: bool = False,
) -> list[Event]:
    """The owner has the device back, repaired. Only from the last stage, through its gates, and not while on hold.

    The gates are not asked where `facts` is None. Raises Refused, or AskFirst when gates only warn.
    """
    must_be_here(standing)
    ready = stages[-1]
    reasons = []
    if standing.hold is not None:
        reasons.append(_held(standing.hold))
    if standing.stage != ready.key:
        reasons.append(
            say(
                "A device is handed over from “{ready}”. Move it there, or give it back unrepaired with a reason.",
                ready=ready.label_sentence(),
            )
        )
    if reasons:
        raise Refused(*reasons)
    if facts is not None:
        _pass_gates(ready.leave, facts, confirmed)
    return [Event("ended", {"ending": ending.value})]


def return_unrepaired(standing: Standing, why: str, *, tray_settled: bool = True) -> list[Event]:
    """Given back as it came, from any stage; needs a reason and an empty tray. A dispute is settled first."""
    must_be_here(standing)
    if not tray_settled:
        raise Refused(
            say("Something taken out still lies in the tray. Put it back, or hand it to the customer and record that.")
        )
    if standing.hold is Hold.DISPUTE:
        raise Refused(_held(standing.hold))
    if not why:
        raise needs("why", say("The reason for giving it back unrepaired"))
    return [Event("ended", {"ending": Ending.RETURNED.value})]


def give_up(standing: Standing) -> list[Event]:
    """Its owner gives the device up, from any stage. A dispute is settled first."""
    must_be_here(standing)
    if standing.hold is Hold.DISPUTE:
        raise Refused(_held(standing.hold))
    return [Event("ended", {"ending": Ending.GIVEN_UP.value})]


def dispose(standing: Standing) -> list[Event]:
    """It was disposed of by law, from the last stage's shelf. A dispute is settled first."""
    must_be_here(standing)
    if standing.hold is not None:
        raise Refused(_held(standing.hold))
    return [Event("ended", {"ending": Ending.DISPOSED.value})]


def reopen(standing: Standing, ended_at: datetime | None, now: datetime, within_minutes: int) -> list[Event]:
    """Undo an end that was a mistake. Raises Refused where there is none, or it was longer ago."""
    if standing.ending is None or ended_at is None:
        raise Refused(say("This ticket has not ended. There is nothing to undo."))
    if now - ended_at > timedelta(minutes=within_minutes):
        raise Refused(
            say(
                "That is undone within {minutes} minutes only. Take the device in anew if it is here again.",
                minutes=within_minutes,
            )
        )
    return [Event("reopened")]


def stranded(standings: Mapping[str, Standing], stages: Sequence[Stage]) -> list[str]:
    """The numbers of open tickets whose stage is not among `stages`; a policy that strands any is refused."""
    keys = {stage.key for stage in stages}
    return sorted(
        number
        for number, standing in standings.items()
        if standing.ending is None and standing.stage is not None and standing.stage not in keys
    )


def must_be_here(standing: Standing) -> None:
    """Raise Refused for a device that has not arrived, or has left."""
    if standing.ending is not None:
        raise Refused(say("This ticket has ended. Its device is no longer in the shop."))
    if standing.stage is None:
        raise Refused(say("This device is announced but has not arrived yet."))


def _position(standing: Standing, stages: Sequence[Stage]) -> int:
    keys = [stage.key for stage in stages]
    return keys.index(standing.stage) if standing.stage in keys else -1


def _find(key: str, stages: Sequence[Stage]) -> Stage:
    for stage in stages:
        if stage.key == key:
            return stage
    allowed = ", ".join(stage.key for stage in stages)
    raise Refused(say("The shop has no stage “{stage}”. Allowed: {allowed}.", stage=key, allowed=allowed))


def _held(hold: Hold) -> Sentence:
    return say("The ticket is on hold: {hold}. Lift or change the hold first.", hold=HOLD_WORDS[hold])


HOLD_WORDS: Mapping[Hold, Sentence] = {
    Hold.APPROVAL: say("waiting for an approval"),
    Hold.PART: say("waiting for a part"),
    Hold.CUSTOMER: say("waiting for the customer"),
    Hold.DISPUTE: say("in dispute"),
    Hold.SAFETY: say("a damaged battery, until somebody qualified has dealt with it"),
}


def _pass_gates(checks: Sequence[StandingGate], facts: Facts, confirmed: bool) -> None:
    blocking, warning = shut_gates(checks, facts)
    if blocking:
        raise Refused(*blocking, *warning)
    if warning and not confirmed:
        raise AskFirst(*warning)
