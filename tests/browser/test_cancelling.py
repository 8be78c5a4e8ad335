"""Agreed at a distance, in a real browser: nothing chosen beforehand, done on a narrow phone, without scripts."""

from __future__ import annotations

import pytest
from playwright.sync_api import expect

from portal.actions.desk import Desk
from portal.rules.numbers import spoken
from portal.rules.questions import State
from tests.actions.test_cancelling import by_post, kept, put  # noqa: F401 (a fixture)
from tests.browser.conftest import Open
from tests.browser.test_bench_pages import SMALL, looked_over
from tests.web.test_questions_pages import docket_path, question_path

PRESET = "document.querySelectorAll('input:checked, textarea:not(:placeholder-shown), select option[selected]').length"


@pytest.mark.parametrize("dark", [False, True], ids=["light", "dark"])
def test_a_customer_chooses_and_agrees_without_scripts(
    open_page: Open,
    as_keeper: Open,
    desk: Desk,
    by_post: str,  # noqa: F811
    dark: bool,
) -> None:
    ref = put(desk, by_post)
    path = f"{question_path(desk, by_post)}/question/{ref}"
    page = open_page(path, width=320, dark=dark)
    assert page.evaluate(PRESET) == 0
    assert page.evaluate(SMALL) == []
    faults = looked_over(page)

    page = open_page(path, width=320, dark=dark, scripts=False)
    page.get_by_label("To agree, type YES here").fill("yes")
    page.get_by_role("button", name="Yes, do this and charge me £48.50").click()
    expect(page.get_by_role("alert")).to_contain_text("Please choose when we may begin.")
    page.get_by_role("radio", name="Wait, and begin once my time to cancel is over.").check()
    page.get_by_label("To agree, type YES here").fill("yes")
    page.get_by_role("button", name="Yes, do this and charge me £48.50").click()
    expect(page.get_by_text("You did not ask us to begin before that time is over")).to_be_visible()
    assert kept(desk, ref).question.state is State.AGREED

    faults += looked_over(open_page(path, width=320, dark=dark))
    money = f"{docket_path(desk, by_post)}/money/{spoken(by_post)}"
    faults += looked_over(open_page(money, width=320, dark=dark))
    faults += looked_over(as_keeper(f"/bench/{spoken(by_post)}/questions", width=320, dark=dark))
    put(desk, by_post)
    faults += looked_over(as_keeper(f"/bench/{spoken(by_post)}/questions", width=320, dark=dark))
    assert faults == []
