"""Texts in cells of a spreadsheet file."""

from __future__ import annotations

_STARTS = ("=", "+", "-", "@", "\t", "\r", "\n")  # what a spreadsheet takes for a formula, or hides one behind


def safe_cell(text: str) -> str:
    """The text with an apostrophe before it where a spreadsheet would take it for a formula (OWASP: CSV injection)."""
    return f"'{text}" if text.startswith(_STARTS) else text
