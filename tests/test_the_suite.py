"""The suite keeps its own promises."""

from __future__ import annotations

import os
import subprocess
import sys
import time
from datetime import datetime
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent
_SPEAKS_MORE = ("CI", "BUILD_NUMBER")  # where one of these is set, pytest repeats reasons in its summary


def run(file: Path, *switches: str) -> subprocess.CompletedProcess[str]:
    """Run a file of tests with this suite's switches."""
    command = [sys.executable, "-m", "pytest", "-q", "-p", "tests.conftest", "-p", "no:cacheprovider", *switches]
    where = ["--rootdir", str(file.parent), str(file)]
    environment = {name: value for name, value in os.environ.items() if name not in _SPEAKS_MORE}
    return subprocess.run([*command, *where], cwd=ROOT, env=environment, capture_output=True, text=True, check=False)


def test_the_process_sits_in_a_zone_that_nobody_expects() -> None:
    assert time.tzname[0] == "+1245"
    assert datetime(2026, 7, 1, 12, 0).astimezone().utcoffset().total_seconds() == (12 * 60 + 45) * 60


SKIPPING = """
import pytest

@pytest.fixture
def server():
    pytest.skip("no server")

def test_in_a_fixture(server): ...

def test_in_the_test():
    pytest.skip("no server")

@pytest.mark.skip(reason="no server")
def test_by_a_mark(): ...

@pytest.mark.xfail
def test_known_to_fail():
    assert False
"""


def test_each_skipped_test_fails_when_nothing_may_be_but_a_known_failure_is_no_skip(tmp_path: Path) -> None:
    file = tmp_path / "test_skipping.py"
    file.write_text(SKIPPING)

    answer = run(file, "--nothing-skipped")

    assert "1 failed, 1 xfailed, 2 errors" in answer.stdout
    assert answer.stdout.count("Nothing may be skipped, but this was. Skipped: no server") == 3


def test_a_whole_file_that_is_skipped_fails_when_nothing_may_be(tmp_path: Path) -> None:
    file = tmp_path / "test_skipping.py"
    file.write_text("import pytest\n\npytest.skip('no server', allow_module_level=True)\n")

    answer = run(file, "--nothing-skipped")

    assert answer.returncode == pytest.ExitCode.INTERRUPTED
    assert "Nothing may be skipped, but this was. Skipped: no server" in answer.stdout


def test_no_source_of_the_house_asks_the_machine_for_the_time_but_its_clock() -> None:
    """Time comes from one clock that tests can set."""
    ticks = "notifications/clock.py"  # wakes the scheduler by the machine's time; what is due is asked of the clock
    asking = {
        file.relative_to(ROOT).as_posix()
        for folder in ("portal", "notifications")
        for file in (ROOT / folder).rglob("*.py")
        if any(
            call in file.read_text(encoding="utf-8")
            for call in ("datetime.now(", "datetime.today(", "utcnow(", "date.today(")
        )
    }

    assert asking - {ticks} == {"notifications/instants.py"}
