"""The one page that a phone shows where there is no line. It is the same for everybody and holds nobody's data, so
browsers may keep it; whatever is taken on it waits on the phone."""

from __future__ import annotations

import hashlib
from functools import cache
from pathlib import Path
from typing import NamedTuple

from flask import Response, current_app, render_template, url_for

from portal.rules.numbers import CHECK_TABLE
from portal.rules.photo_moments import MOMENT_WORDS
from portal.web.bench import blueprint
from portal.web.request_context import speaking

WORKER = "bench_worker.js"
_PARTS = ("paper.css", "bench.css", "without_line.js", "waiting.js", "waiting_store.js", "shell.js", "scaling.js")


class Shell(NamedTuple):
    """Where a browser finds what it may keep, and the `make` of all of it, which is another once any of it is."""

    worker: str
    page: str
    parts: tuple[str, ...]
    make: str


def shell() -> Shell:
    """What a browser may keep, in the reader's language."""
    return Shell(
        url_for("bench.bench_worker"),
        url_for("bench.without_line"),
        tuple(url_for("static", filename=name) for name in _PARTS),
        _make(speaking().tag),
    )


@cache
def _make(language: str) -> str:
    """A digest of the page in this language and of its parts; of what this program came with, so it is made once."""
    folder = Path(str(current_app.static_folder))
    digest = hashlib.sha256(_page().encode())
    for name in (WORKER, *_PARTS):
        digest.update((folder / name).read_bytes())
    return f"{language}-{digest.hexdigest()[:16]}"


def _page() -> str:
    return render_template("bench/without_line.html", moments=MOMENT_WORDS, check=CHECK_TABLE)


@blueprint.get("/without-a-line")
def without_line() -> str:
    """The page."""
    return _page()


@blueprint.get("/worker.js")
def bench_worker() -> Response:
    """The script that shows it. It lies where the bench's pages do, since it answers for no others."""
    answer = current_app.send_static_file(WORKER)
    answer.headers["Cache-Control"] = "no-store"
    return answer
