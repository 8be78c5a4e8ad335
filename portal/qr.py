"""QR codes as inline SVG: always black on white, with the quiet zone that the standard asks for."""

from __future__ import annotations

from itertools import groupby

import qrcode
from markupsafe import Markup, escape
from qrcode.constants import ERROR_CORRECT_M
from qrcode.util import MODE_8BIT_BYTE, MODE_ALPHA_NUM, QRData

QUIET_ZONE = 4  # modules on each side (ISO/IEC 18004)
_COMPACT = frozenset("0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ $%*+-./:")  # the alphanumeric mode's 45


def modules(text: str) -> list[list[bool]]:
    """The code's modules, row by row, without the quiet zone; level M, in the compact mode where the text allows."""
    mode = MODE_ALPHA_NUM if set(text) <= _COMPACT else MODE_8BIT_BYTE
    code = qrcode.QRCode(error_correction=ERROR_CORRECT_M, border=0)
    code.add_data(QRData(text, mode=mode))
    code.make(fit=True)
    return [[bool(dark) for dark in row] for row in code.modules]


def svg(text: str, module_mm: float | None = None, label: str = "") -> Markup:
    """The code as an SVG element. With `module_mm` it has a size for print, else its style sheet gives one.

    `label` says what it is to those who do not see it; without one it is passed over.
    """
    rows = modules(text)
    side = len(rows) + 2 * QUIET_ZONE
    size = f' width="{side * module_mm:.3f}mm" height="{side * module_mm:.3f}mm"' if module_mm else ""
    named = f'role="img" aria-label="{escape(label)}"' if label else 'aria-hidden="true"'
    return Markup(  # noqa: S704 (numbers, and the label escaped)
        f'<svg class="code" xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {side} {side}"{size} {named} '
        f'shape-rendering="crispEdges"><rect width="{side}" height="{side}" fill="#fff"/>'
        f'<path fill="#000" d="{_path(rows)}"/></svg>'
    )


def _path(rows: list[list[bool]]) -> str:
    """Dark modules, each run of them in a row as one box."""
    boxes = []
    for y, row in enumerate(rows):
        x = 0
        for dark, run in groupby(row):
            length = len(list(run))
            if dark:
                boxes.append(f"M{x + QUIET_ZONE} {y + QUIET_ZONE}h{length}v1h-{length}z")
            x += length
    return "".join(boxes)
