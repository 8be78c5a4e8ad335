"""The test sheet: one tap a check, before and after side by side."""

from __future__ import annotations

from functools import partial

from flask import render_template, request
from flask.typing import ResponseReturnValue

from portal.actions import sheet as deeds
from portal.actions.desk import find
from portal.actions.sheet import Typed
from portal.rules.summary import SafetyTest
from portal.rules.test_sheet import FUNCTION_TEST_ONLY, RESULT_WORDS, When
from portal.store import sheets
from portal.store.tickets import Ticket
from portal.web.bench import blueprint
from portal.web.bench.doing import do, form_context
from portal.web.forms import Answer, typed
from portal.web.request_context import connection, desk, policy


@blueprint.get("/<number>/sheet")
def sheet(number: str) -> ResponseReturnValue:
    """The sheet: after the repair, or before it with `?when=before`."""
    return sheet_page(find(connection(), number))


@blueprint.post("/<number>/sheet")
def fill_in_sheet(number: str) -> ResponseReturnValue:
    """Write what was tried; lines left alone stay as they are."""
    when = _when()
    tried = [
        Typed(key, when, typed(f"result {key}"), typed(f"note {key}"), typed(f"value {key}"))
        for key in request.form.getlist("check")
        if typed(f"result {key}") or typed(f"value {key}").strip() or typed(f"note {key}").strip()
    ]
    deed = partial(deeds.fill_in, typed=tried, confirmed=typed("confirmed") == "1")
    return do(number, "sheet", deed, sheet_page, ".sheet")


@blueprint.post("/<number>/sheet/locked")
def rest_is_locked(number: str) -> ResponseReturnValue:
    """What is behind the lock was not tried."""
    return do(number, "locked", deeds.try_the_rest_locked, sheet_page, ".sheet")


@blueprint.post("/<number>/sheet/soak")
def start_soak(number: str) -> ResponseReturnValue:
    """Start a test that runs for a while."""
    return do(number, "soak", partial(deeds.start_soak, check=typed("check")), sheet_page, ".sheet")


@blueprint.post("/<number>/sheet/let-through")
def let_through(number: str) -> ResponseReturnValue:
    """Let the sheet through, with a reason that the customer reads."""
    return do(number, "let-through", partial(deeds.let_through, why=typed("why")), sheet_page, ".sheet")


@blueprint.post("/<number>/sheet/safety")
def record_safety_test(number: str) -> ResponseReturnValue:
    """Record an electrical safety test that somebody qualified has made, or that none was made."""
    test = SafetyTest(
        typed("made") == "yes", typed("by_whom"), typed("instrument"), typed("tested_on"), typed("safety_result")
    )
    return do(number, "safety", partial(deeds.record_safety_test, test=test), sheet_page, ".sheet")


def sheet_page(found: Ticket, answer: Answer | None = None, form: str = "") -> ResponseReturnValue:
    """The page; after a refusal with what was typed still in it."""
    answer = answer or Answer()
    kind, when = policy().kind(found.kind), _when()
    known = {(tried.check, tried.when.value): tried for tried in sheets.sheet(connection(), found.id)}
    page = render_template(
        "bench/sheet.html",
        ticket=found,
        when=when,
        checks=[check for check in (kind.checks if kind else []) if check.when in ("both", when)],
        known=known,
        mains=bool(kind and kind.mains),
        safety=sheets.safety_test(connection(), found.id),
        results=RESULT_WORDS,
        only=FUNCTION_TEST_ONLY,
        now=desk().clock.now(),
        **form_context(answer, form),
    )
    return page, answer.status


def _when() -> str:
    return When.BEFORE.value if request.values.get("when") == "before" else When.AFTER.value
