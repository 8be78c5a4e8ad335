"""What the docket's page says of a device that is ready: its code for whoever may have it, and what was chosen."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from portal.actions import collection_codes
from portal.language import Language
from portal.rules.handing_over import Proof
from portal.rules.policy import Policy
from portal.rules.return_ways import Way
from portal.rules.sentences import Sentence, say
from portal.rules.stages import Hold
from portal.store.customer_page import Followed
from portal.store.visits import Contact

_CHOSEN = {
    Way.COLLECT: say("You come for it."),
    Way.SEND: say("You send somebody for it."),
    Way.POST: say("We post it to you."),
}
_CHOSEN_DAY = {
    Way.COLLECT: say("You come for it on {day}."),
    Way.SEND: say("You send somebody for it on {day}."),
}


@dataclass(frozen=True)
class Returning:
    """A device that can be had back. `code` is "" where it is not for this reader, `chosen` where nothing is."""

    code: str
    chosen: str


def returning(
    ticket: Followed, policy: Policy, language: Language, secret: bytes, contact: Contact | None
) -> Returning | None:
    """What is said of a ticket, from its journal alone; None for a device that is not ready, or in dispute."""
    is_ready = ticket.ending is None and ticket.stage == policy.stages[-1].key
    if not is_ready or ticket.hold is Hold.DISPUTE:
        return None
    code = ""
    if contact and contact.may_collect:
        used = sum(told.data.get("proof") in (Proof.CODE, Proof.STUB) for told in ticket.journal)
        code = collection_codes.of_contact(secret, contact, ticket.ref, used)
    return Returning(code, language.say(_chosen(ticket)))


def _chosen(ticket: Followed) -> Sentence | str:
    for told in reversed(ticket.journal):
        if told.event in ("moved", "reopened"):
            return ""
        if told.event == "return_day_chosen":
            template = _CHOSEN_DAY[Way(told.data["way"])].template
            return Sentence(template, {"day": date.fromisoformat(told.data["day"])})
        if told.event == "return_chosen":
            return _CHOSEN[Way(told.data["way"])]
    return ""
