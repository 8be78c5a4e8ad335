"""What differs between two texts of the policy, line by line, so that a keeper sees it before it counts."""

from __future__ import annotations

from dataclasses import dataclass
from difflib import SequenceMatcher
from typing import Literal

CONTEXT_LINES = 2


@dataclass(frozen=True)
class DiffLine:
    """A line that stayed, goes or comes. `number` counts from 1 in the new text, or in the old one for what goes."""

    kind: Literal["stays", "goes", "comes"]
    number: int
    text: str


def policy_difference(old: str, new: str) -> list[list[DiffLine]]:
    """The places that differ, each with the lines around it; none where the texts are the same."""
    before, after = old.splitlines(), new.splitlines()
    matcher = SequenceMatcher(None, before, after, autojunk=False)
    return [
        [line for opcode in group for line in _lines(opcode, before, after)]
        for group in matcher.get_grouped_opcodes(CONTEXT_LINES)
    ]


def _lines(opcode: tuple[str, int, int, int, int], before: list[str], after: list[str]) -> list[DiffLine]:
    tag, old_from, old_to, new_from, new_to = opcode
    if tag == "equal":
        return [DiffLine("stays", place + 1, after[place]) for place in range(new_from, new_to)]
    return [
        *(DiffLine("goes", place + 1, before[place]) for place in range(old_from, old_to)),
        *(DiffLine("comes", place + 1, after[place]) for place in range(new_from, new_to)),
    ]
