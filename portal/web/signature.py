"""A kept signature as the paths of a drawing."""

from __future__ import annotations

from portal.rules.signatures import Strokes


def paths(strokes: Strokes | None) -> list[str]:
    """One SVG path a stroke, in the square that strokes are kept in; nothing where nobody signed."""
    return ["M" + " L".join(f"{x} {y}" for x, y in stroke) for stroke in strokes or []]
