"""Makes the icons of the customer's page from `portal/static/icon.svg`: `python seed/screens/icons.py`.

A home screen wants pictures of fixed sizes. Some phones cut theirs to a circle or a drop: for them there is one with
more paper around the drawing, of which at least the circle in the middle stays (W3C Web Application Manifest, icon
masks: a radius of 40 % of the width).
"""

from __future__ import annotations

import shutil
from pathlib import Path

from PIL import Image
from playwright.sync_api import Browser, sync_playwright

STATIC = Path(__file__).parents[2] / "portal" / "static"
CLOSE = 'viewBox="72 72 368 368"'  # as it is in the file
WHOLE = 'viewBox="0 0 512 512"'


def main() -> None:
    """Draw each size."""
    drawing = (STATIC / "icon.svg").read_text(encoding="utf-8")
    if CLOSE not in drawing:
        raise RuntimeError("The drawing has another frame than it had.")
    with sync_playwright() as playwright:
        chromium = playwright.chromium.launch(executable_path=shutil.which("chromium"), args=["--no-sandbox"])
        for size in (180, 192, 512):
            _picture(chromium, drawing, size, f"icon-{size}.png")
        _picture(chromium, drawing.replace(CLOSE, WHOLE), 512, "icon-512-cut.png")
        chromium.close()


def _picture(chromium: Browser, drawing: str, size: int, name: str) -> None:
    page = chromium.new_page(viewport={"width": size, "height": size})
    page.set_content(
        f"<style>body {{ margin: 0 }} svg {{ display: block; width: 100vw; height: 100vh }}</style>{drawing}"
    )
    file = STATIC / name
    page.screenshot(path=file)
    page.close()
    # Paper and ink need few colours.
    Image.open(file).convert("RGB").quantize(16).save(file, optimize=True)


if __name__ == "__main__":
    main()
