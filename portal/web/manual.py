"""The manual, readable in the site by whoever works in the shop."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from pathlib import Path

from flask import Blueprint, abort, render_template
from markdown_it import MarkdownIt
from markupsafe import Markup

from portal import resources
from portal.web import guard

blueprint = Blueprint("manual", __name__, url_prefix="/manual")
blueprint.before_request(guard.staff_only)

# What is written as HTML in a chapter is shown as text; addresses that run scripts are no links.
_markdown = MarkdownIt("commonmark", {"html": False}).enable("table")


@dataclass(frozen=True)
class Chapter:
    """A chapter: its path below the manual without `.md`, its heading, and its text as HTML."""

    path: str
    title: str
    html: Markup


@blueprint.get("/")
def contents() -> str:
    """What there is to read."""
    chapters = _chapters()
    return render_template(
        "manual/contents.html",
        chapters=[each for each in chapters if "/" not in each.path],
        decisions=[each for each in chapters if "/" in each.path],
    )


@blueprint.get("/<path:path>")
def chapter(path: str) -> str:
    """One chapter. Chapters link to each other by file name, so `.md` is welcome."""
    found = next((each for each in _chapters() if each.path == path.removesuffix(".md")), None)
    if found is None:
        abort(404)
    return render_template("manual/chapter.html", chapter=found)


@cache
def _chapters() -> tuple[Chapter, ...]:
    folder = resources.manual()
    return tuple(_read(file, folder) for file in sorted(folder.rglob("*.md")))


def _read(file: Path, folder: Path) -> Chapter:
    text = file.read_text(encoding="utf-8")
    first = text.lstrip().split("\n", 1)[0]
    title = first.lstrip("# ").strip() if first.startswith("#") else file.stem
    return Chapter(str(file.relative_to(folder).with_suffix("")), title, Markup(_markdown.render(text)))  # noqa: S704
