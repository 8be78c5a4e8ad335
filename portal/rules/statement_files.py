"""A statement as a table for a spreadsheet: what was charged, then what was paid, as they stand in the document."""

from __future__ import annotations

import csv
import io

from portal.rules.cells import safe_cell
from portal.rules.money import Price
from portal.rules.numbers import spoken
from portal.rules.statements import Document

COLUMNS = (
    "statement",
    "repair",
    "part",
    "text",
    "quantity",
    "unit price",
    "amount",
    "currency",
    "on",
    "how",
    "reference",
)


def table(number: int, repair: str, made: Document) -> str:
    """The lines as CSV (RFC 4180), then net, tax by rate, gross, paid and open. Amounts have a point and no marks."""
    text = io.StringIO()
    rows = csv.writer(text)
    rows.writerow(COLUMNS)

    def row(part: str, minor: int, *more: str, quantity: str = "", unit: str = "", words: str = "") -> None:
        cells = [part, safe_cell(words), quantity, unit, Price(minor, made.currency).plain, made.currency]
        rows.writerow([number, spoken(repair), *cells, *map(safe_cell, more or ("", "", ""))])

    for entry in made.entries:
        unit = "" if entry.unit_minor is None else Price(entry.unit_minor, made.currency).plain
        row(
            entry.part.value,
            entry.amount_minor,
            entry.on,
            entry.how,
            entry.reference,
            quantity=entry.quantity,
            unit=unit,
            words=entry.text,
        )
    if made.by_rate:
        row("net", made.amounts.net)
    for rate, amounts in made.by_rate.items():
        row("tax", amounts.tax, words=f"{rate.normalize():f} %")
    for part, minor in (
        ("total", made.amounts.gross),
        ("paid", made.paid_minor),
        ("open", made.open_minor),
        ("owed back", made.credit_minor),
    ):
        row(part, minor)
    return text.getvalue()
