"""Sentences that rules say to people: an English template with its facts, translated only where it is shown."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field


@dataclass(frozen=True)
class Sentence:
    """An English template with `{named}` facts; the template is the catalogue's key.

    A fact may itself be a Sentence, or one of the policy's texts by language; plain `str` takes the English template
    and each text's first language.
    """

    template: str
    facts: Mapping[str, object] = field(default_factory=dict)

    def __str__(self) -> str:
        return self.template.format(**{name: _plain(fact) for name, fact in self.facts.items()})


def _plain(fact: object) -> object:
    return next(iter(fact.values()), "") if isinstance(fact, Mapping) else fact


def say(template: str, **facts: object) -> Sentence:
    """Make a Sentence. The catalogue tool looks for calls of this name, so pass the template as a literal."""
    return Sentence(template, facts)
