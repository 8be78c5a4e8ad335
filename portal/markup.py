"""Typed text as HTML, for pages and letters alike."""

from __future__ import annotations

from markupsafe import Markup


def paragraphs(text: str) -> Markup:
    """Typed text with its line breaks kept; everything in it is escaped."""
    return Markup("<br>\n").join(text.split("\n"))
