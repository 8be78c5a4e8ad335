"""Keeps each remark with what it speaks of while stages are moved about.

A TOML reader counts the remarks above a `[[stages]]` to the stage before it. Here they are taken off first
(`loosen`), can be moved with the stage below them, and are put back in the end (`fasten`).
"""

from __future__ import annotations

from dataclasses import dataclass

from tomlkit.container import Container
from tomlkit.items import AoT, Item, Null, Table, Whitespace


@dataclass
class Ends:
    """`leads[n]` is what stands right above stage n; `last` is what follows the last one and stays at the end."""

    leads: list[str]
    last: str


def loosen(stages: AoT) -> Ends:
    """Take the blank lines and remarks off the end of every stage. What stands above the first stays where it is."""
    leads, last = [""], ""
    for place, stage in enumerate(stages.body):
        own, lead = _split(take_tail(stage))
        put_tail(stage, own)
        if place == len(stages.body) - 1:
            last = lead
        else:
            leads.append(lead)
    return Ends(leads, last)


def fasten(stages: AoT, ends: Ends) -> None:
    """Put blank lines and remarks back: one blank line before each stage, its remarks, and what belongs at the end."""
    for stage, lead in zip(stages.body, [*ends.leads[1:], ends.last], strict=True):
        put_tail(stage, "\n" + lead)


def _split(tail: str) -> tuple[str, str]:
    """What belongs to the stage itself (up to a blank line), and what speaks of the next."""
    own, blank, lead = tail.partition("\n\n") if not tail.startswith("\n") else ("", "\n", tail)
    return (own + "\n" if own and blank else own), lead.lstrip("\n")


def _innermost(table: Table) -> Container:
    """The container whose end is the end of the table's text."""
    container = table.value
    while container.body:
        last = next((item for key, item in reversed(container.body) if key is not None), None)
        if isinstance(last, AoT) and last.body:
            container = last.body[-1].value
        elif isinstance(last, Table):
            container = last.value
        else:
            break
    return container


def take_tail(table: Table) -> str:
    """Take the blank lines and remarks off the end of a table, and tell them."""
    container = _innermost(table)
    taken: list[Item] = []
    while container.body and container.body[-1][0] is None:
        taken.append(container.body.pop()[1])
    return "".join(item.as_string() for item in reversed(taken) if not isinstance(item, Null))


def put_tail(table: Table, text: str) -> None:
    """Put blank lines and remarks at the end of a table."""
    if text:
        _innermost(table).body.append((None, Whitespace(text)))
