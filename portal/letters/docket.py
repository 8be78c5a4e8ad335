"""The docket that goes with the first mail: the owner’s paper as PDF, or as HTML where that extra is missing."""

from __future__ import annotations

import importlib.util
import logging
from collections.abc import Sequence
from functools import cache
from urllib.parse import urlsplit

from notifications.letters import Attachment
from portal import resources
from portal.language import language
from portal.letters.rendering import environment
from portal.letters.told import Facts, Letterbox, Told
from portal.print_sheets import docket_sheet
from portal.qr import QUIET_ZONE, modules, svg
from portal.rules.numbers import spoken
from portal.rules.print_sizes import LARGEST_CODE_MM, PAPERS, module_mm
from portal.rules.sentences import say

IS_ATTACHED = say("Your docket is attached, to keep or to print.")
log = logging.getLogger(__name__)
_PAGES = ("a4", "letter")  # nobody has a receipt roll at home


def attached(desk: Letterbox, told: Told, context: Facts) -> Sequence[Attachment]:
    """The docket, for the owner: whoever has it may answer for the visit, which not every second person may."""
    if told.contact.role != "owner":
        return ()
    page = docket(desk, told, context)
    name = language(told.visit.language, told.policy.shop.zone).gettext("Docket")
    file = f"{name}-{spoken(told.tickets[0].number)}"
    made = None if desk.hasty else pdf(page)
    if made is None:
        return (Attachment(f"{file}.html", "text/html", page.encode()),)
    return (Attachment(f"{file}.pdf", "application/pdf", made),)


def docket(desk: Letterbox, told: Told, context: Facts) -> str:
    """The docket as one HTML page with nothing outside of it."""
    policy, visit = told.policy, told.visit
    words = language(visit.language, policy.shop.zone)
    size = policy.prints.docket if policy.prints.docket in _PAGES else _PAGES[0]
    address = desk.links.code(visit.ref, visit.docket_version)
    side = len(modules(address)) + 2 * QUIET_ZONE
    parts = urlsplit(desk.links.base_url)
    return (
        environment(words)
        .get_template("messages/taken_in/docket.html")
        .render(
            language=words,
            shop=policy.shop,
            terms=policy.terms,
            tickets=told.tickets,
            prices=context["prices"],
            made_at=visit.made_at,
            accepted_at=context["accepted_at"],
            code=svg(address, module_mm(side, LARGEST_CODE_MM), label=words.gettext("QR code")),
            short_address=parts.netloc + parts.path,
            size=size,
            stub=False,
            style=print_style() + docket_sheet(PAPERS[size]),
        )
    )


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


def _nothing_from_outside(url: str) -> dict[str, object]:
    raise ValueError(f"A docket is made of nothing from outside, and it asked for {url[:40]!r}.")


@cache
def print_style() -> str:
    """The print's style sheet, which a page of the site links to."""
    fonts = ":root { --body: serif; --figures: monospace }\n"
    return fonts + (resources.static() / "print.css").read_text(encoding="utf-8")
