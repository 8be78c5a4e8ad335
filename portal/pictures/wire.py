"""How a child answers: one line of JSON, then the bytes. Nothing that could make the parent run anything."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import astuple

from portal.pictures.limits import Clean
from portal.pictures.refused import refuse
from portal.rules.picture_parts import Drawn, Part
from portal.rules.refusals import Unfit
from portal.rules.sentences import Sentence

NOTHING = b"null\n"  # for a pair that is better left as it was taken


def write_pair(before: bytes, after: bytes) -> bytes:
    """Two pictures for the child that aligns them."""
    return b"%d\n" % len(before) + before + after


def read_pair(sent: bytes) -> tuple[bytes, bytes]:
    """The two pictures again."""
    length, _, rest = sent.partition(b"\n")
    return rest[: int(length)], rest[int(length) :]


def write_drawing(data: bytes, drawn: Drawn, parts: Sequence[Part]) -> bytes:
    """A picture for the child that draws on it, with what and where."""
    head = {"drawn": drawn.value, "parts": [astuple(part) for part in parts]}
    return json.dumps(head).encode() + b"\n" + data


def read_drawing(sent: bytes) -> tuple[bytes, Drawn, list[Part]]:
    """The same again."""
    line, _, data = sent.partition(b"\n")
    head = json.loads(line)
    return data, Drawn(head["drawn"]), [Part(*part) for part in head["parts"]]


def write(answer: Clean | Unfit) -> bytes:
    """The answer as bytes."""
    if isinstance(answer, Unfit):
        reason = answer.reasons[0]
        return json.dumps({"refused": reason.template, "facts": dict(reason.facts)}).encode() + b"\n"
    head = {
        "large": len(answer.large),
        "width": answer.width,
        "height": answer.height,
        "seems_blurred": bool(answer.seems_blurred),
        "seems_dark": bool(answer.seems_dark),
    }
    return json.dumps(head).encode() + b"\n" + answer.large + answer.small


def read(out: bytes) -> Clean | Unfit | None:
    """The answer out of bytes; None for what is not one."""
    line, _, rest = out.partition(b"\n")
    try:
        head = json.loads(line)
        if "refused" in head:
            return refuse(Sentence(str(head["refused"]), head["facts"]))
        large = int(head["large"])
        return Clean(
            rest[:large],
            rest[large:],
            int(head["width"]),
            int(head["height"]),
            bool(head["seems_blurred"]),
            bool(head["seems_dark"]),
        )
    except (ValueError, KeyError, TypeError):
        return None
