"""The site in front of a fresh SQLite database, and browsers: a stranger's, a technician's, the keeper's.

A test that must hold on both databases is marked `on_both` (below).
"""

from __future__ import annotations

from collections.abc import Callable, Iterator

import pytest
from flask import Flask
from sqlalchemy import insert

from portal.actions import hashes
from portal.actions.desk import By, Desk
from portal.main import Installation
from portal.store.tables import staff
from portal.web.app import create_app
from tests.web.browser import PASSWORD, Browser

on_both = pytest.mark.parametrize(
    "database_url", ["sqlite", pytest.param("postgresql", marks=pytest.mark.postgres)], indirect=True
)


@pytest.fixture
def database_url(request: pytest.FixtureRequest) -> str:
    """SQLite, unless the test is marked `on_both`."""
    kind = getattr(request, "param", "sqlite")
    return request.getfixturevalue("sqlite_database" if kind == "sqlite" else "postgres_database")


@pytest.fixture
def desk(installation: Installation) -> Desk:
    """The desk that the site works at."""
    return installation.desk


@pytest.fixture(scope="session")
def password_hash() -> str:
    """The hash of everybody's password, made once."""
    return hashes.kept(PASSWORD)


@pytest.fixture
def add_staff(desk: Desk, password_hash: str) -> Callable[[str, str], By]:
    """Adds somebody to the staff, by name and role, who can log in with PASSWORD."""

    def add(name: str, role: str) -> By:
        values = {"name": name, "role": role, "password_hash": password_hash, "made_at": desk.clock.now()}
        with desk.writing() as connection:
            key = connection.execute(insert(staff), values).inserted_primary_key
        assert key is not None
        return By("staff", key[0])

    return add


@pytest.fixture
def app(installation: Installation) -> Iterator[Flask]:
    """The site. A connection that a request leaves open fails the test."""
    app = create_app(installation)
    app.test_client_class = Browser
    yield app
    assert installation.engine.pool.checkedout() == 0


@pytest.fixture
def client(app: Flask) -> Browser:
    """A browser without a login."""
    return app.test_client()


@pytest.fixture
def staff_client(app: Flask, technician: By) -> Browser:
    """Robin's browser, logged in for the bench."""
    return _logged_in(app, "Robin")


@pytest.fixture
def keeper_client(app: Flask, keeper: By) -> Browser:
    """Kim's browser, logged in as the keeper."""
    return _logged_in(app, "Kim")


def _logged_in(app: Flask, name: str) -> Browser:
    browser = app.test_client()
    answer = browser.log_in(name)
    assert answer.status_code == 303, answer.text
    return browser
