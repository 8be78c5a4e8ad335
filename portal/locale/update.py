"""Brings the catalogues in step with the code and the templates: `python -m portal.locale.update`.

New texts are added without a translation, those that are no longer said are taken out, and every translation stays.
A test fails while a text has none.
"""

from __future__ import annotations

import io
import sys
from collections.abc import Iterable, Iterator
from pathlib import Path

from babel.messages.catalog import Catalog, Message
from babel.messages.extract import extract_from_dir
from babel.messages.pofile import read_po, write_po

from portal import resources

KEYWORDS = {"_": None, "gettext": None, "ngettext": (1, 2), "say": None}
PORTAL = Path(__file__).parent.parent
_JINJA = {"newstyle_gettext": "true", "silent": "false"}


def sources() -> Catalog:
    """Every text that the code and the templates say, in English."""
    found = Catalog(charset="utf-8")
    for place, message, comments in sorted(_texts(), key=lambda text: text[0]):
        found.add(message, locations=[(place, 0)], auto_comments=comments)
    return found


def catalogues() -> dict[str, Path]:
    """The catalogues by language."""
    return {file.parent.parent.name: file for file in sorted(resources.catalogues().glob("*/LC_MESSAGES/messages.po"))}


def read(file: Path) -> Catalog:
    """A catalogue as it lies in its file."""
    with file.open("rb") as source:
        return read_po(source, locale=file.parent.parent.name)


def brought_up_to_date(catalogue: Catalog, found: Catalog) -> bytes:
    """The catalogue with exactly the texts of `found`, as its file should be."""
    made_at = catalogue.creation_date
    catalogue.update(found, no_fuzzy_matching=True)
    catalogue.creation_date = made_at  # else every run would change the file
    catalogue.obsolete.clear()
    out = io.BytesIO()
    write_po(out, catalogue, width=120, include_lineno=False, sort_by_file=True, omit_header=False)
    return out.getvalue()


def untranslated(catalogue: Catalog) -> list[Message]:
    """The texts that have no translation, or one that somebody has yet to look at."""
    return [message for message in catalogue if message.id and (message.fuzzy or not all(_strings(message)))]


def _strings(message: Message) -> Iterable[object]:
    return message.string if isinstance(message.string, (tuple, list)) else [message.string]


def update() -> int:
    """Bring all catalogues up to date, print what lacks a translation, and tell how many those are."""
    found, lacking = sources(), 0
    for language, file in catalogues().items():
        file.write_bytes(brought_up_to_date(read(file), found))
        open_texts = untranslated(read(file))
        lacking += len(open_texts)
        for message in open_texts:
            sys.stdout.write(f"{language}: {message.id!r}\n")
    sys.stdout.write(f"{len(found)} texts; {lacking} without a translation\n")
    return lacking


def _texts() -> Iterator[tuple[str, str | tuple[str, ...], list[str]]]:
    python = extract_from_dir(PORTAL, [("**.py", "python")], keywords=KEYWORDS)
    templates = extract_from_dir(
        resources.templates(),
        [("**.html", "jinja2"), ("**.txt", "jinja2")],
        options_map={"**.html": _JINJA, "**.txt": _JINJA},
        keywords=KEYWORDS,
    )
    for root, texts in (("portal", python), ("templates", templates)):
        for place, _line, message, comments, _context in texts:
            yield f"{root}/{place}", message, comments


if __name__ == "__main__":
    update()
