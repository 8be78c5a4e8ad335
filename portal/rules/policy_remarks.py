"""Keeps each remark with what it speaks of while stages are moved about.

A TOML reader counts the remarks above a `[[stages]]` to whatever stands before it. Here those right above a stage (no
blank line between) are taken off first (`loosen`), can be moved with it, and are put back in the end (`fasten`).
"""

from __future__ import annotations

from dataclasses import dataclass

from tomlkit import TOMLDocument
from tomlkit.container import Container
from tomlkit.items import AoT, Item, Table, Whitespace


@dataclass
class Ends:
    """`leads[n]` is what stands right above stage n; `last` is what follows the last one and stays at the end."""

    leads: list[str]
    last: str


def loosen(document: TOMLDocument, stages: AoT) -> Ends:
    """Take the remarks right above each stage, the blank lines between them, and what follows the last."""
    leads, last = [_take_lead(document, stages)], ""
    for place, stage in enumerate(stages.body):
        tail = take_tail(stage)
        if place == len(stages.body) - 1:
            own, last = _split_at_first_blank(tail)
        else:
            own, lead = _split_before_lead(tail)
            leads.append(lead)
        put_tail(stage, own.rstrip("\n") + "\n" if own.strip() else "")
    return Ends(leads, last)


def fasten(stages: AoT, ends: Ends) -> None:
    """Put them back: one blank line before each stage but the first, its remarks, and at the end what belongs there."""
    for place, (stage, lead) in enumerate(zip(stages.body, ends.leads, strict=True)):
        stage.trivia.indent = lead if place == 0 else "\n" + lead
    put_tail(stages.body[-1], "\n" + ends.last if ends.last else "")


def take_tail(table: Table) -> str:
    """Take the blank lines and remarks off the end of a table, and tell them."""
    container = _innermost(table)
    return _take(container, len(container.body))


def put_tail(table: Table, text: str) -> None:
    """Put blank lines and remarks at the end of a table."""
    if text:
        _innermost(table).body.append((None, Whitespace(text)))


def _take_lead(document: TOMLDocument, stages: AoT) -> str:
    place = next((place for place, (_key, item) in enumerate(document.body) if item is stages), 0)
    if place == 0:
        return ""
    before = document.body[place - 1][1]
    container: Container = document
    end = place
    if isinstance(before, AoT):
        container = _innermost(before.body[-1])
        end = len(container.body)
    elif isinstance(before, Table):
        container = _innermost(before)
        end = len(container.body)
    own, lead = _split_before_lead(_take(container, end))
    if own:
        container.body[end - 1] = (None, Whitespace(own))
    return lead


def _take(container: Container, end: int) -> str:
    """The blank lines and remarks before a place, which are emptied, not removed: keys are known by their place."""
    taken: list[Item] = []
    while end > 0 and container.body[end - 1][0] is None:
        end -= 1
        taken.append(container.body[end][1])
        container.body[end] = (None, Whitespace(""))
    return "".join(item.as_string() for item in reversed(taken))


def _innermost(table: Table) -> Container:
    """The container whose end is the end of the table's text."""
    container = table.value
    while last := next((item for key, item in reversed(container.body) if key is not None), None):
        if isinstance(last, AoT) and last.body:
            container = last.body[-1].value
        elif isinstance(last, Table):
            container = last.value
        else:
            break
    return container


def _split_at_first_blank(tail: str) -> tuple[str, str]:
    lines = tail.splitlines(keepends=True)
    place = next((place for place, line in enumerate(lines) if not line.strip()), len(lines))
    return "".join(lines[:place]), "".join(lines[place:]).lstrip("\n")


def _split_before_lead(tail: str) -> tuple[str, str]:
    lines = tail.splitlines(keepends=True)
    place = len(lines)
    while place > 0 and lines[place - 1].strip():
        place -= 1
    if place == 0:  # no blank line at all: the remarks are under the table before as much as above this one
        return "", tail
    return "".join(lines[:place]), "".join(lines[place:])
