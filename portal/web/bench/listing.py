"""The open tickets, grouped by stage, one under the other."""

from __future__ import annotations

from dataclasses import dataclass

from flask import render_template
from flask.typing import ResponseReturnValue

from portal.rules.policy import Policy
from portal.rules.sentences import Sentence, say
from portal.store import tickets
from portal.store.tickets import OpenTicket
from portal.web.bench import blueprint
from portal.web.bench.today import count_waiting
from portal.web.request_context import connection, desk, policy


@dataclass(frozen=True)
class Group:
    """The tickets of one stage, the longest there first. `large_places` for the last one: devices to be fetched."""

    label: Sentence
    tickets: list[OpenTicket]
    large_places: bool


@blueprint.get("/")
def open_tickets() -> ResponseReturnValue:
    """All the shop has."""
    groups = grouped(tickets.open_tickets(connection()), policy())
    return render_template("bench/list.html", groups=groups, now=desk().clock.now(), waiting=count_waiting())


def grouped(found: list[OpenTicket], policy: Policy) -> list[Group]:
    """The tickets by stage in the shop's order, announced ones last; stages without tickets are left out."""
    ready = policy.stages[-1].key
    headings = [(stage.key, stage.label_sentence()) for stage in policy.stages]
    groups = [
        Group(label, [each for each in found if each.ticket.stage == key], key == ready)
        for key, label in [*headings, (None, say("Announced, not here yet"))]
    ]
    return [group for group in groups if group.tickets]
