"""The manual is read in the site, by staff."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from portal import resources
from portal.web import manual
from tests.web.browser import Browser


def test_every_chapter_is_listed_and_opens(staff_client: Browser) -> None:
    contents = staff_client.get("/manual/").text
    chapters = set(re.findall(r'href="(/manual/[^"]+)"', contents))

    assert len(chapters) == len(list(resources.manual().rglob("*.md")))
    for path in chapters:
        page = staff_client.get(path)
        assert page.status_code == 200, path
        assert "<h1>" in page.text, path


def test_links_between_chapters_lead_somewhere(staff_client: Browser) -> None:
    for path in set(re.findall(r'href="(/manual/[^"]+)"', staff_client.get("/manual/").text)):
        article = staff_client.get(path).text.split('<article class="chapter">')[1]
        for target in re.findall(r'href="([^"#:]+)[#"]', article):
            where = target if target.startswith("/") else f"{path.rsplit('/', 1)[0]}/{target}"
            assert staff_client.get(where).status_code in (200, 403), f"{path} → {target}"


def test_the_manual_is_not_shown_to_a_stranger(client: Browser) -> None:
    assert client.get("/manual/").location == "/login?next=/manual/"


@pytest.mark.parametrize("path", ["nothing", "../secret", "..%2f..%2fpyproject.toml", "decisions", "%00"])
def test_what_is_no_chapter_is_not_found(staff_client: Browser, path: str) -> None:
    assert staff_client.get(f"/manual/{path}").status_code == 404


def test_a_chapter_runs_nothing(tmp_path: Path) -> None:
    file = tmp_path / "x.md"
    file.write_text("# Title\n\n<script>alert(1)</script> [go](javascript:alert(1))\n", encoding="utf-8")

    chapter = manual._read(file, tmp_path)

    assert chapter.title == "Title"
    assert "<script" not in chapter.html
    assert "href" not in chapter.html
