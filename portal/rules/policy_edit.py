"""Small changes to a policy's text, as a form makes them; remarks, order and spelling of the rest stay.

Each takes the TOML as written and gives the new TOML. What comes out is still to be checked: `policy_check.check`.
All raise Refused where the text is no TOML or does not have its stages as `[[stages]]`.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date
from typing import Any

import tomlkit
from tomlkit.exceptions import TOMLKitError
from tomlkit.items import AoT, Array, InlineTable, Table

from portal.rules.policy_remarks import fasten, loosen, put_tail, take_tail
from portal.rules.refusals import Refused, Unfit
from portal.rules.sentences import say

FLAGS = ("tell", "may_be_skipped", "back_without_reason")


def edit_stage(
    text: str,
    key: str,
    *,
    label: Mapping[str, str] | None = None,
    sentence: Mapping[str, str] | None = None,
    enter: Mapping[str, str] | None = None,
    leave: Mapping[str, str] | None = None,
    flags: Mapping[str, bool] | None = None,
) -> str:
    """Change a stage; None leaves a part as it is. Gates are name → "block" or "warn". Raises Unfit (field "key")."""
    document, stages = _open(text)
    stage = stages[_place(stages, key)]
    ends = loosen(document, stages)
    for name, words in (("label", label), ("sentence", sentence)):
        if words is not None:
            _set_words(stage, name, words)
    for name, gates in (("enter", enter), ("leave", leave)):
        if gates is not None and gates != _gates(stage.get(name, [])):
            _set_gates(stage, name, gates)
    for name, on in (flags or {}).items():
        if name not in FLAGS:
            raise Unfit(
                name, say("There is no switch “{name}”. Allowed: {allowed}.", name=name, allowed=", ".join(FLAGS))
            )
        if bool(stage.get(name, False)) != on:
            stage[name] = on
    fasten(stages, ends)
    return tomlkit.dumps(document)


def add_stage(text: str, key: str, label: Mapping[str, str], sentence: Mapping[str, str], *, after: str) -> str:
    """Put a new stage behind the one with key `after`. Raises Unfit for a key that stands already or is none."""
    document, stages = _open(text)
    if key in _keys(stages):
        raise Unfit("key", say("There is a stage “{key}” already.", key=key))
    place = _place(stages, after) + 1
    ends = loosen(document, stages)
    stage = tomlkit.table()
    stage["key"] = key
    stage["label"] = _words(label)
    stage["sentence"] = _words(sentence)
    stages.insert(place, stage)
    ends.leads.insert(place, "")
    fasten(stages, ends)
    return tomlkit.dumps(document)


def remove_stage(text: str, key: str) -> str:
    """Take a stage out, with the remarks right above it. Raises Unfit (field "key") where there is none.

    A caution that was for this stage alone is then shown in every stage: rather once too often than not at all.
    """
    document, stages = _open(text)
    place = _place(stages, key)
    ends = loosen(document, stages)
    del stages[place]
    del ends.leads[place]
    fasten(stages, ends)
    for caution in document.get("cautions", []):
        if key in caution.get("stages", []):
            caution["stages"].remove(key)
    return tomlkit.dumps(document)


def reorder_stages(text: str, keys: Sequence[str]) -> str:
    """Put the stages into this order. Raises Unfit (field "keys") unless it names each stage once."""
    document, stages = _open(text)
    known = _keys(stages)
    if sorted(keys) != sorted(known):
        raise Unfit("keys", say("Each stage is named once, in the new order: {keys}.", keys=", ".join(known)))
    order = [known.index(key) for key in keys]
    ends = loosen(document, stages)
    stages.body[:] = [stages.body[place] for place in order]
    ends.leads[:] = [ends.leads[place] for place in order]
    fasten(stages, ends)
    return tomlkit.dumps(document)


def close_shop(text: str, first: date, last: date, note: Mapping[str, str]) -> str:
    """Close the shop from the first day to the last; customers read the note. Raises Unfit (field "last")."""
    if last < first:
        raise Unfit("last", say("The last day is before the first. Allowed: the first day or a later one."))
    document = _parsed(text)
    hours = document.setdefault("hours", tomlkit.table())
    tail = take_tail(hours) if isinstance(hours, Table) else ""
    inline = isinstance(hours, InlineTable) or isinstance(hours.get("closed"), Array)
    if not inline and isinstance(hours, Table):
        put_tail(hours, "\n")
    closed = hours.setdefault("closed", tomlkit.array() if inline else tomlkit.aot())
    entry: Any = tomlkit.inline_table() if inline else tomlkit.table()
    entry["first"], entry["last"] = first, last
    if filled := {tag: words for tag, words in note.items() if words.strip()}:
        entry["note"] = _words(filled)
    closed.append(entry)
    if isinstance(hours, Table):
        put_tail(hours, tail if inline else "\n" + tail.lstrip("\n"))
    return tomlkit.dumps(document)


def reopen_shop(text: str, first: date, last: date) -> str:
    """Take a closed time out again. Raises Refused where there is none with these days."""
    document = _parsed(text)
    closed = document.get("hours", {}).get("closed", [])
    for place, entry in enumerate(closed):
        if (entry.get("first"), entry.get("last")) == (first, last):
            del closed[place]
            if not closed:
                del document["hours"]["closed"]
            return tomlkit.dumps(document)
    raise Refused(say("The shop is not closed from {first} to {last}.", first=first, last=last))


def _parsed(text: str) -> Any:
    try:
        return tomlkit.parse(text)
    except TOMLKitError:
        raise Refused(say("The policy’s text cannot be read. Mend it as text first.")) from None


def _open(text: str) -> tuple[Any, AoT]:
    document = _parsed(text)
    stages = document.get("stages")
    if not isinstance(stages, AoT):
        raise Refused(say("The stages are not written as [[stages]]. Change them in the policy’s text."))
    return document, stages


def _keys(stages: AoT) -> list[str]:
    return [str(stage.get("key", "")) for stage in stages]


def _place(stages: AoT, key: str) -> int:
    keys = _keys(stages)
    if key not in keys:
        raise Unfit("key", say("There is no stage “{key}”. Allowed: {allowed}.", key=key, allowed=", ".join(keys)))
    return keys.index(key)


def _words(words: Mapping[str, str]) -> InlineTable:
    table = tomlkit.inline_table()
    table.update(words)
    return table


def _set_words(stage: Any, name: str, words: Mapping[str, str]) -> None:
    """Only what differs is written, so that the spelling of the rest stays."""
    old = stage.get(name)
    if not isinstance(old, (InlineTable, Table)):
        stage[name] = _words(words)
        return
    for tag in [tag for tag in old if tag not in words]:
        del old[tag]
    for tag, text in words.items():
        if old.get(tag) != text:
            old[tag] = text


def _gates(gates: Any) -> dict[str, str]:
    return {str(gate.get("gate")): str(gate.get("when_shut", "block")) for gate in gates}


def _set_gates(stage: Any, name: str, gates: Mapping[str, str]) -> None:
    if not gates:
        del stage[name]
        return
    array = tomlkit.array()
    for gate, when_shut in gates.items():
        array.append(_words({"gate": gate, "when_shut": when_shut}))
    stage[name] = array
