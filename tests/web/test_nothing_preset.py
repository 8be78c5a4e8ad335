"""No control on any page of the site agrees to anything beforehand: every page is walked, a new one too.

SI 2013/3134 reg. 40 and Directive 2011/83/EU Art. 22: a default option that somebody must undo is no consent.
"""

from __future__ import annotations

import re

from flask import Flask

from portal.actions.desk import Desk
from tests.actions.test_cancelling import by_post, put  # noqa: F401 (a fixture)
from tests.web.browser import Browser
from tests.web.test_roles import paths, rules

# What is set beforehand all the same: where things are, or that nobody was asked. None of it agrees to anything.
SET = {
    "moment": {"other"},  # of a photo: neither before nor after
    "audience": {"bench"},  # of a photo: nobody but the bench sees it
    "wants": {"all"},  # how much somebody wants to hear, as it stands
    "way": {"mail", "sms", "ring", ""},
    "language": {"en", "de"},
    "kind": {"other", "console"},  # of a device
    "seal": {"not looked at"},
    "liquid": {"not looked at"},
    "backed_up": {"not asked"},
    "may_reset": {"not asked"},
    "signed_out": {"not asked"},
    "maker_warranty": {"not asked"},
    "may_open": {"not asked"},
    "unlocking": {"not asked"},
    "came_by": {"counter", "post"},
    "whose": {"owner"},  # who asks about data
    "role": {"bench"},  # the lesser of the two
    "after": None,  # which stage a new one comes after: any
}


def value_of(tag: str) -> str:
    """What a control or an option sends."""
    found = re.search(r'\svalue="([^"]*)"', tag)
    return found[1] if found else "on"


def name_of(tag: str) -> str:
    found = re.search(r'\sname="([^"]*)"', tag)
    return found[1] if found else ""


def set_beforehand(page: str) -> set[tuple[str, str]]:
    """(name, value) of every box that is ticked and every option that is chosen as the page comes."""
    boxes = re.findall(r"<input\b[^>]*\schecked\b[^>]*>", page)
    found = {(name_of(box), value_of(box)) for box in boxes}
    for select, options in re.findall(r"(<select\b[^>]*>)(.*?)</select>", page, re.DOTALL):
        tags = re.findall(r"<option\b[^>]*>", options)
        chosen = next((tag for tag in tags if " selected" in tag), tags[0])  # a browser sends the first of none
        found.add((name_of(select), value_of(chosen)))
    return {(name, value) for name, value in found if value}


def test_a_box_that_is_ticked_and_a_choice_that_is_made_are_found() -> None:
    page = '<input type="checkbox" name="yes" checked><select name="way"><option value="a"><option value="b"></select>'

    assert set_beforehand(page) == {("yes", "on"), ("way", "a")}
    assert set_beforehand('<input type="radio" name="x" value="1"><select name="y"><option value=""></select>') == set()


def test_no_control_on_any_page_agrees_to_anything_beforehand(
    app: Flask,
    keeper_client: Browser,
    desk: Desk,
    number: str,
    by_post: str,  # noqa: F811
) -> None:
    for each in (number, by_post):
        put(desk, each)
    walked, found = 0, set()

    for each in [*paths(app, number, "GET", rules), *paths(app, by_post, "GET", rules)]:
        page = keeper_client.get(each)
        if page.status_code == 200 and page.mimetype == "text/html":
            walked += 1
            found |= {(each, name, value) for name, value in set_beforehand(page.text)}

    assert [
        (each, name, value)
        for each, name, value in sorted(found)
        if name not in SET or ((allowed := SET[name]) is not None and value not in allowed)
    ] == []
    assert walked >= 80
