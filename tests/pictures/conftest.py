"""Tools from Debian that check pictures from outside."""

from __future__ import annotations

import shutil
from collections.abc import Iterator

import pytest

from portal.pictures import worker
from tests.web.conftest import add_staff, app, database_url, desk, password_hash, staff_client  # noqa: F401 (the site)


@pytest.fixture
def exiftool() -> str:
    """Reads every tag there is (Debian: libimage-exiftool-perl)."""
    return _tool("exiftool")


@pytest.fixture
def heif_enc() -> str:
    """Makes HEIC pictures, which our own library only reads (Debian: libheif-examples)."""
    return _tool("heif-enc")


def _tool(name: str) -> str:
    path = shutil.which(name)
    if path is None:
        pytest.skip(f"{name} is not installed")
    return path


@pytest.fixture(autouse=True)
def _no_child_is_left() -> Iterator[None]:
    yield
    worker.dismiss()
