"""The pages about the program are held to the program."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path

import pytest

from portal import cli, resources
from portal.rules.gates import GATES
from portal.settings import PREFIX, TABLE

ROOT = Path(__file__).parent.parent
MANUAL = resources.manual()
PAGES = sorted([ROOT / "README.md", ROOT / "DEVELOPERS.md", *MANUAL.rglob("*.md")])


def table(page: str) -> list[list[str]]:
    """The rows of a page's table, without its head, each as its cells."""
    lines = [line for line in (MANUAL / page).read_text().splitlines() if line.startswith("| ")]
    return [[cell.strip() for cell in line.strip("|").split(" | ")] for line in lines[2:]]


def test_the_page_of_settings_tells_each_with_its_default() -> None:
    wanted = [
        [f"`{PREFIX}{name}`", f"`{default}`" if default else "empty", help_] for name, (default, help_) in TABLE.items()
    ]

    assert table("settings.md") == wanted


def test_the_page_of_gates_tells_each() -> None:
    assert [row[0] for row in table("gates.md")] == [f"`{name}`" for name in GATES]
    assert all(row[1] for row in table("gates.md"))


@pytest.mark.parametrize("page", PAGES, ids=lambda page: page.relative_to(ROOT).as_posix())
def test_every_link_between_the_pages_leads_somewhere(page: Path) -> None:
    links = re.findall(r"\]\((?!https?:)([^)#]+)", page.read_text())

    assert [link for link in links if not (page.parent / link).exists()] == []


@pytest.mark.parametrize("page", PAGES, ids=lambda page: page.relative_to(ROOT).as_posix())
def test_every_command_that_a_page_shows_is_one(page: Path) -> None:
    shown = re.findall(r"^\$? ?(?:\S+/)?benchwindow ([^#>\n&|]+)", page.read_text(), re.MULTILINE)

    for words in shown:
        arguments = [word.strip("'\"") for word in re.findall(r"\"[^\"]*\"|\S+", words)]
        assert cli.parser().parse_args(arguments).run is not None


def test_every_setting_that_a_page_names_is_one() -> None:
    named = {name for page in PAGES for name in re.findall(rf"{PREFIX}([A-Z_]*[A-Z])", page.read_text())}

    assert named - set(TABLE) == set()


def test_decisions_are_numbered_without_gaps_and_dated() -> None:
    notes = sorted((MANUAL / "decisions").glob("*.md"))

    assert [int(note.name[:4]) for note in notes] == list(range(1, len(notes) + 1))
    for note in notes:
        title, _, dated = note.read_text().splitlines()[:3]
        assert title.startswith(f"# {note.name[:4]} ")
        assert re.match(r"20\d\d-\d\d-\d\d\. ", dated), note.name


def test_the_readmes_two_commands_are_those_of_the_gate() -> None:
    readme = (ROOT / "README.md").read_text()

    commands = re.findall(r"^python3 -m venv \.venv && (.+)$", readme, re.MULTILINE)
    assert commands == [
        ".venv/bin/pip install -e . && .venv/bin/benchwindow demo",
        ".venv/bin/pip install -e '.[test]' && .venv/bin/pytest -n 2",
    ]
    gate = (ROOT / ".ci" / "run").read_text()
    assert "install -q --disable-pip-version-check -e '.[test]'" in gate
    assert "pytest -n 2 --nothing-skipped" in gate


def test_the_version_is_told_once() -> None:
    version = tomllib.loads((ROOT / "pyproject.toml").read_text())["project"]["version"]

    assert f"## {version} " in (MANUAL / "changelog.md").read_text()


def test_the_pictures_are_small_enough_for_a_readme() -> None:
    pictures = list((ROOT / "seed" / "screens").glob("*.png"))

    assert pictures
    assert all(picture.stat().st_size < 200_000 for picture in pictures)
