"""Whether a page can be read by everybody: WCAG 2.2 AA, as far as axe-core sees it, and 1.4.10 for a narrow phone."""

from __future__ import annotations

from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Page

WCAG = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]
OPEN_ALL = "for (const each of document.querySelectorAll('details')) each.open = true"


def faults(page: Page) -> list[tuple[str, list[str]]]:
    """What axe finds: a rule, and the elements that break it."""
    found = Axe().run(page, options={"runOnly": WCAG}).response["violations"]
    return [(fault["id"], [node["html"] for node in fault["nodes"]]) for fault in found]


def reads_well(page: Page, width: int = 320) -> None:
    """As the page stands, axe finds no fault, and nothing is wider than it."""
    assert faults(page) == [], page.url
    assert page.evaluate("document.documentElement.scrollWidth") <= width, page.url


def looks_well(page: Page, width: int = 320) -> None:
    """The same, with everything folded opened."""
    page.wait_for_load_state()  # with its styles: what a form answered is there before them
    page.evaluate(OPEN_ALL)
    reads_well(page, width)
