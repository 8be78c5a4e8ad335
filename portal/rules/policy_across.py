"""What no part of a policy can see alone: texts in every language, keys that stand once, names that exist."""

from __future__ import annotations

import difflib
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import time
from itertools import pairwise
from typing import Any, get_args

from pydantic import BaseModel
from pydantic.fields import FieldInfo

from portal.rules.policy import DAYS, Policy, is_language
from portal.rules.policy_base import IN_EACH_LANGUAGE
from portal.rules.sentences import Sentence, say

Loc = tuple[str | int, ...]


@dataclass(frozen=True)
class Found:
    """A fault at a place in the document."""

    loc: Loc
    found: Sentence
    allowed: Sentence


@dataclass(frozen=True)
class _Languages:
    """The shop's languages; `whole` unless some could not be read, when a text's language cannot be called strange."""

    tags: Sequence[str]
    whole: bool


def across(document: Mapping[str, Any]) -> Iterator[Found]:
    """The faults that lie between parts. Whatever has not its right shape is left to the check of the parts."""
    tags = [tag for tag in _list(_table(document.get("shop")).get("languages", ["en"])) if isinstance(tag, str)]
    yield from _twice(("shop", "languages"), tags, say("each language once"))
    yield from _shapes(
        Policy,
        document,
        (),
        _Languages([tag for tag in tags if is_language(tag)], bool(tags) and all(map(is_language, tags))),
    )
    for name in ("stages", "kinds", "cautions"):
        yield from _keys_twice((name,), document.get(name))
    for place, kind in enumerate(_list(document.get("kinds"))):
        yield from _keys_twice(("kinds", place, "checks"), _table(kind).get("checks"))
    yield from _keys_twice(("terms", "points"), _table(document.get("terms")).get("points"))
    yield from _strangers(document)
    yield from _usual_times(document)
    yield from _overlaps(_table(document.get("hours")))
    yield from _rates(document)
    yield from _law(document)


def nearest(name: str, allowed: Iterable[str]) -> str:
    """The allowed name that looks most like this one, or ""."""
    return next(iter(difflib.get_close_matches(name, list(allowed), 1, 0.6)), "")


def _shapes(model: type[BaseModel], data: Any, loc: Loc, languages: _Languages) -> Iterator[Found]:
    """Walk the document beside its model: unknown keys, and texts that lack a language or have a strange one."""
    if not isinstance(data, dict):
        return
    for name, value in data.items():
        here = (*loc, name)
        field = model.model_fields.get(name)
        if field is None:
            yield Found(here, *_unknown(name, model.model_fields))
        elif IN_EACH_LANGUAGE in field.metadata:
            yield from _languages(value, here, languages)
        elif part := _part(field):
            for step, item in enumerate(value) if isinstance(value, list) else [(None, value)]:
                yield from _shapes(part, item, here if step is None else (*here, step), languages)


def _unknown(name: str, allowed: Iterable[str]) -> tuple[Sentence, Sentence]:
    found = say("an unknown key")
    if like := nearest(name, allowed):
        return found, say("“{like}”, if that is meant", like=like)
    return found, say("{names}", names=", ".join(allowed))


def _languages(texts: Any, loc: Loc, languages: _Languages) -> Iterator[Found]:
    if not isinstance(texts, dict):
        return
    tags = _listed(languages.tags)
    for tag in languages.tags:
        if tag not in texts:
            yield Found((*loc, tag), say("no text"), say("a text in each language of the shop: {tags}", tags=tags))
    for tag in texts:
        if languages.whole and tag not in languages.tags:
            yield Found(
                (*loc, tag),
                say("a text in a language that is not the shop’s"),
                say("{tags}; or add it to shop.languages", tags=tags),
            )


def _listed(names: Iterable[str]) -> str:
    return ", ".join(names)


def _part(field: FieldInfo) -> type[BaseModel] | None:
    """The model within an annotation like `Stage`, `list[Stage]` or `Terms | None`."""
    return next(
        (
            each
            for each in (field.annotation, *get_args(field.annotation))
            if isinstance(each, type) and issubclass(each, BaseModel)
        ),
        None,
    )


def _keys_twice(loc: Loc, items: Any) -> Iterator[Found]:
    seen: dict[str, int] = {}
    for place, item in enumerate(_list(items)):
        key = _table(item).get("key")
        if isinstance(key, str) and seen.setdefault(key, place) != place:
            yield Found(
                (*loc, place, "key"),
                say("“{key}”, which stands at [{first}] already", key=key, first=seen[key]),
                say("each key once"),
            )


def _twice(loc: Loc, names: Sequence[str], allowed: Sentence) -> Iterator[Found]:
    for place, name in enumerate(names):
        if name in names[:place]:
            yield Found((*loc, place), say("“{name}” again", name=name), allowed)


def _strangers(document: Mapping[str, Any]) -> Iterator[Found]:
    """Cautions for stages or kinds that the shop does not have."""
    for place, caution in enumerate(_list(document.get("cautions"))):
        for name in ("stages", "kinds"):
            known = [_table(item).get("key") for item in _list(document.get(name))]
            keys = [key for key in known if isinstance(key, str)]
            for step, key in enumerate(_list(_table(caution).get(name))):
                if isinstance(key, str) and key not in keys:
                    yield Found(
                        ("cautions", place, name, step), say("“{name}”", name=key), say("{names}", names=_listed(keys))
                    )


def _usual_times(document: Mapping[str, Any]) -> Iterator[Found]:
    """Usual times for kinds of work that the shop does not have."""
    kinds = [key for item in _list(document.get("kinds")) if isinstance(key := _table(item).get("key"), str)]
    for key in _table(_table(document.get("forecast")).get("usual_days_by_kind")):
        if key not in kinds:
            yield Found(
                ("forecast", "usual_days_by_kind", key),
                say("“{name}”", name=key),
                say("{names}", names=_listed(kinds)),
            )


def _overlaps(hours: Mapping[str, Any]) -> Iterator[Found]:
    for day in DAYS:
        spans = [
            (span["opens"], span["closes"], place)
            for place, span in enumerate(map(_table, _list(hours.get(day))))
            if isinstance(span.get("opens"), time) and isinstance(span.get("closes"), time)
        ]
        spans.sort()
        for (_opens, closes, _first), (opens, _closes, second) in pairwise(spans):
            if opens < closes:
                yield Found(
                    ("hours", day, second, "opens"),
                    say("{opens}, while the shop is open already", opens=f"{opens:%H:%M}"),
                    say("spans that do not overlap"),
                )


def _rates(document: Mapping[str, Any]) -> Iterator[Found]:
    """Other tax rates of a shop that charges no tax, or its own once more."""
    own = _table(document.get("shop")).get("tax_percent")
    for place, rate in enumerate(_list(_table(document.get("approvals")).get("other_tax_percents"))):
        if own is None or rate == own:
            yield Found(
                ("approvals", "other_tax_percents", place),
                say("{rate}", rate=rate),
                say("rates beside the shop’s own tax_percent, where it has one"),
            )


def _law(document: Mapping[str, Any]) -> Iterator[Found]:
    """The law for formal notices of a shop in another country, or in Scotland, where it is another one."""
    law = _table(document.get("collection")).get("law", "none")
    country = _table(document.get("shop")).get("country", "GB")
    holidays = _table(document.get("hours")).get("public_holidays", "")
    if law == "england-wales-northern-ireland" and (country != "GB" or holidays == "GB-SCT"):
        yield Found(
            ("collection", "law"),
            say("“{law}” for a shop in “{country}”", law=law, country="GB-SCT" if country == "GB" else country),
            say("“none”, or the law of where the devices lie"),
        )


def _list(value: Any) -> list[Any]:
    return value if isinstance(value, list) else []


def _table(value: Any) -> dict[str, Any]:
    return value if isinstance(value, dict) else {}
