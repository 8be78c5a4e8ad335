"""QR codes as inline SVG: always black on white, with the quiet zone that the standard asks for."""

from __future__ import annotations

import qrcode
from markupsafe import Markup
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


def svg(text: str, module_mm: float | None = None) -> Markup:
    """The code as an SVG element. With `module_mm` it has a size for print, else its style sheet gives one."""
    rows = modules(text)
    side = len(rows) + 2 * QUIET_ZONE
    path = "".join(
        f"M{x + QUIET_ZONE} {y + QUIET_ZONE}h1v1h-1z"
        for y, row in enumerate(rows)
        for x, dark in enumerate(row)
        if dark
    )
    size = f' width="{side * module_mm:.2f}mm" height="{side * module_mm:.2f}mm"' if module_mm else ""
    return Markup(  # noqa: S704 (numbers only)
        f'<svg class="code" xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {side} {side}"{size} role="img" '
        f'shape-rendering="crispEdges"><rect width="{side}" height="{side}" fill="#fff"/>'
        f'<path fill="#000" d="{path}"/></svg>'
    )
