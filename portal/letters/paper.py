"""Paper as a file of its own, which goes with a mail or is saved: PDF, or HTML where that extra is missing."""

from __future__ import annotations

import importlib.util
import logging
from functools import cache

from notifications.letters import Attachment
from portal import resources
from portal.print_sheets import docket_sheet
from portal.rules.print_sizes import PAPERS

log = logging.getLogger(__name__)


def file(name: str, page: str, *, hasty: bool = False) -> Attachment:
    """A page as a file of this name; `hasty` for HTML, which is made at once."""
    made = None if hasty else pdf(page)
    if made is None:
        return Attachment(f"{name}.html", "text/html", page.encode())
    return Attachment(f"{name}.pdf", "application/pdf", made)


def has_pdf() -> bool:
    """Whether the extra `pdf` is installed."""
    return importlib.util.find_spec("weasyprint") is not None


def pdf(page: str) -> bytes | None:
    """The page as PDF, or None where the extra `pdf` is not installed or its libraries are missing."""
    if not has_pdf():
        return None
    for noisy in ("weasyprint", "fontTools"):  # what they say is of fonts and styles, and of no use in a log
        logging.getLogger(noisy).setLevel(logging.ERROR)
    try:
        import weasyprint  # only here: of an extra, and slow to import
    except OSError as fault:  # it needs Pango beside it
        log.warning("The extra “pdf” is installed, but a library that it needs is not: %s.", type(fault).__name__)
        return None
    made: bytes = weasyprint.HTML(string=page, url_fetcher=_nothing_from_outside).write_pdf()
    return made


def style(size: str) -> str:
    """The style of a page for this paper, which holds what a page of the site links to."""
    return _print_style() + docket_sheet(PAPERS[size])


def _nothing_from_outside(url: str) -> dict[str, object]:
    raise ValueError(f"A paper is made of nothing from outside, and it asked for {url[:40]!r}.")


@cache
def _print_style() -> str:
    fonts = ":root { --body: serif; --figures: monospace }\n"
    return fonts + (resources.static() / "print.css").read_text(encoding="utf-8")
