"""Every address of the site: who may open it, and that looking never changes anything. A new page is walked too."""

from __future__ import annotations

import pytest
from flask import Flask
from sqlalchemy import select
from werkzeug.routing import AnyConverter, BaseConverter, IntegerConverter, Rule

from notifications.tables import metadata as notifications_metadata
from portal.actions.desk import By, Desk
from portal.actions.intake import TakenIn
from portal.store.tables import metadata
from tests.web.browser import Browser

# Blueprints whose pages need no login: whoever holds the link, whoever logs in, and the machine that looks on.
OPEN_BLUEPRINTS = {"customer", "health"}
OPEN = {
    "static",
    "account.login",
    "account.log_in",
    "account.log_out",
    "account.lock",
    "account.unlock",
    "account.open_lock",
}
TABLES = [*metadata.sorted_tables, *notifications_metadata.sorted_tables]


def rules(app: Flask) -> list[Rule]:
    return [rule for rule in app.url_map.iter_rules() if rule.endpoint not in OPEN]


def staff_rules(app: Flask) -> list[Rule]:
    return [rule for rule in rules(app) if rule.endpoint.partition(".")[0] not in OPEN_BLUEPRINTS]


def _value(converter: BaseConverter, number: str) -> object:
    if isinstance(converter, AnyConverter):
        return min(converter.items)
    return 1 if isinstance(converter, IntegerConverter) else number


def path(rule: Rule, number: str) -> str:
    """An address of the rule, with the ticket's number where one is wanted."""
    values = {name: _value(rule._converters[name], number) for name in rule.arguments}
    built = rule.build(values, append_unknown=False)
    assert built is not None
    return built[1]


def paths(app: Flask, number: str, method: str, which) -> list[str]:
    return [path(rule, number) for rule in which(app) if rule.methods and method in rule.methods]


def everything(desk: Desk) -> list[list[tuple]]:
    with desk.reading() as connection:
        return [[tuple(row) for row in connection.execute(select(table))] for table in TABLES]


def test_there_is_something_to_walk(app: Flask) -> None:
    assert {"bench", "shop", "people", "account"} <= {rule.endpoint.partition(".")[0] for rule in staff_rules(app)}


def test_a_stranger_is_asked_to_log_in_on_every_page_of_the_staff(app: Flask, client: Browser, number: str) -> None:
    for each in paths(app, number, "GET", staff_rules):
        answer = client.get(each)

        assert (each, answer.status_code) == (each, 302)
        assert answer.location.startswith("/login?next=/"), each


def test_a_stranger_does_no_deed_of_the_staff(app: Flask, client: Browser, desk: Desk, number: str) -> None:
    token, before = client.token("/login"), everything(desk)

    for each in paths(app, number, "POST", staff_rules):
        assert (each, client.post(each, data={"csrf_token": token}).status_code) == (each, 403)

    assert everything(desk) == before


def test_no_deed_of_the_staff_is_done_without_the_sessions_token(
    app: Flask, keeper_client: Browser, desk: Desk, number: str
) -> None:
    before = everything(desk)

    for each in paths(app, number, "POST", staff_rules):
        assert (each, keeper_client.post(each).status_code) == (each, 400)

    assert everything(desk) == before


def keepers_rules(app: Flask) -> list[Rule]:
    """The addresses under /shop/, but for what all staff may read."""
    return [rule for rule in staff_rules(app) if rule.rule.startswith("/shop/") and "manual" not in rule.rule]


@pytest.mark.parametrize("method", ["GET", "POST"])
def test_nobody_at_the_bench_opens_what_is_the_keepers(
    app: Flask, staff_client: Browser, desk: Desk, number: str, method: str
) -> None:
    token, before = staff_client.token("/account"), everything(desk)

    for each in paths(app, number, method, keepers_rules):
        answer = staff_client.open(each, method=method, data={"csrf_token": token} if method == "POST" else None)
        assert (each, answer.status_code) == (each, 403)

    assert everything(desk) == before


@pytest.mark.parametrize("method", ["GET", "HEAD", "OPTIONS"])
def test_looking_changes_nothing(
    app: Flask, keeper_client: Browser, desk: Desk, taken_in: TakenIn, number: str, method: str
) -> None:
    """RFC 9110 section 9.2.1; OWASP ASVS 5.0 3.5.3. Mail scanners follow every link they find."""
    before = everything(desk)

    for each in paths(app, number, "GET", rules):
        answer = keeper_client.open(each, method=method)
        assert answer.status_code < 500, (each, answer.status_code)

    assert everything(desk) == before


def test_every_address_answers_a_method_it_does_not_take_with_405(
    app: Flask, keeper_client: Browser, number: str
) -> None:
    token, adapter = keeper_client.token("/account"), app.url_map.bind("localhost")
    for each in sorted({path(rule, number) for rule in rules(app)}):
        for method in {"PUT", "DELETE", "PATCH", "POST", "GET"} - set(adapter.allowed_methods(each)):
            answer = keeper_client.open(each, method=method, headers={"X-CSRFToken": token})
            assert (each, method, answer.status_code) == (each, method, 405)
            assert "Allow" in answer.headers


def test_no_page_of_the_staff_may_be_kept_by_a_browser_or_a_proxy(
    app: Flask, keeper_client: Browser, keeper: By, number: str
) -> None:
    """OWASP ASVS 5.0 14.3.2."""
    for each in paths(app, number, "GET", staff_rules):
        assert "no-store" in keeper_client.get(each).headers["Cache-Control"], each
