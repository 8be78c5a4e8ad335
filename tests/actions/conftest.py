"""A photo store in a folder, and two pictures that can be laid over one another."""

from __future__ import annotations

from pathlib import Path

import pytest

from portal.pictures.limits import Clean
from portal.store.photo_files import PhotoFiles
from tests.actions.photo_shelf import as_clean
from tests.pictures.scenes import movement, scene, seen


@pytest.fixture(scope="module")
def before() -> Clean:
    return as_clean(scene(1))


@pytest.fixture(scope="module")
def after() -> Clean:
    """The same, from a camera that was held otherwise."""
    return as_clean(seen(scene(1), movement(6, 1.08, shift=(30, -20))))


@pytest.fixture
def files(tmp_path: Path) -> PhotoFiles:
    return PhotoFiles(str(tmp_path / "photos"))
