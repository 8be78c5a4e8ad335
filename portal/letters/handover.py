"""Messages about the end of a repair: ready, handed over without the code, posted, here again after all."""

from __future__ import annotations

from collections.abc import Mapping

from sqlalchemy import Connection

from notifications.letters import Withdrawn
from portal.actions import collection_codes
from portal.actions.balance import owing
from portal.language import language
from portal.letters.collection import storage_told
from portal.letters.told import Facts, Letterbox, StillTrue, Told
from portal.rules.hours import weekly
from portal.rules.policy import Policy
from portal.rules.stages import Ending
from portal.rules.tokens import LinkKind
from portal.store import handovers


def _ready(desk: Letterbox, connection: Connection, told: Told) -> Facts | Withdrawn:
    if not _is_ready(told):
        return Withdrawn("the device is not ready any more")
    return {
        **_how_to_have_it(desk, connection, told),
        **storage_told(desk, connection, told),
        "stage": told.policy.stages[-1],
    }


def _ready_undone(_desk: Letterbox, _connection: Connection, told: Told) -> Facts | Withdrawn:
    if _is_ready(told) or told.tickets[0].ending:
        return Withdrawn("the device is ready again")
    return {}


def _without_code(_desk: Letterbox, _connection: Connection, told: Told) -> Facts | Withdrawn:
    return {} if told.tickets[0].ending is Ending.COLLECTED else Withdrawn("the handover was undone")


def _reopened(desk: Letterbox, connection: Connection, told: Told) -> Facts | Withdrawn:
    if told.tickets[0].ending:
        return Withdrawn("the device has left the shop again")
    ready = _is_ready(told)
    return _how_to_have_it(desk, connection, told) | ({} if ready else {"code": ""})


def _posted(_desk: Letterbox, connection: Connection, told: Told) -> Facts | Withdrawn:
    parcel = handovers.parcel(connection, told.tickets[0].id)
    if told.tickets[0].ending is not Ending.POSTED or parcel is None:
        return Withdrawn("the parcel came back, or never went off")
    return {"parcel": parcel}


def _came_back(desk: Letterbox, connection: Connection, told: Told) -> Facts | Withdrawn:
    if told.tickets[0].ending:
        return Withdrawn("the device has left the shop again")
    return _how_to_have_it(desk, connection, told)


def _is_ready(told: Told) -> bool:
    ticket = told.tickets[0]
    return ticket.ending is None and ticket.stage == told.policy.stages[-1].key


def _how_to_have_it(desk: Letterbox, connection: Connection, told: Told) -> dict[str, object]:
    """The contact's code where they may collect, what is to be paid, when the shop is open, where to choose."""
    ticket, contact = told.tickets[0], told.contact
    used = handovers.codes_used(connection, ticket.id)
    code = collection_codes.of_contact(desk.links.secret, contact, ticket.ref, used) if contact.may_collect else ""
    link = desk.links.customer(LinkKind.CONTACT, contact.ref, contact.link_version)
    return {
        "code": code,
        "owing_minor": owing(connection, ticket, told.policy),
        "hours": _hours(told.policy, told.visit.language),
        "choose_link": f"{link}/collect",
    }


def _hours(policy: Policy, tag: str) -> list[str]:
    """The weekly hours, a line for each run of days that are alike."""
    words = language(tag, policy.shop.zone)
    return [
        f"{words.weekdays(first, last)}: "
        + ", ".join(f"{words.hour(span.opens)}–{words.hour(span.closes)}" for span in spans)
        for first, last, spans in weekly(policy.hours)
    ]


EVENTS: Mapping[str, StillTrue] = {
    "ready": _ready,
    "ready_undone": _ready_undone,
    "handed_over_without_code": _without_code,
    "reopened": _reopened,
    "posted": _posted,
    "parcel_came_back": _came_back,
}
