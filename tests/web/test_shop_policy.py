"""The keeper changes the policy in the browser: the difference is shown first, and only a button saves it."""

from __future__ import annotations

import html
import re

import pytest
from werkzeug.test import TestResponse

from portal.actions import shop
from portal.actions.desk import COMMAND, By, Desk
from portal.actions.intake import TakenIn
from portal.rules.policy import Policy
from portal.store import policies
from tests.web.browser import Browser, hidden_fields
from tests.web.conftest import on_both

SAVE = "/shop/policy"


def in_force(desk: Desk) -> tuple[int, Policy]:
    with desk.reading() as connection:
        return desk.shelf.read(connection)


def filled(browser: Browser, page: str, action: str) -> dict[str, str]:
    """All that the form to `action` holds when the page has just been opened."""
    text = browser.get(page).text
    form = re.search(rf'<form[^>]*action="{re.escape(action)}".*?</form>', text, re.DOTALL)
    assert form, text
    fields = hidden_fields(text, action)
    for tag in re.findall(r"<input\b[^>]*>", form[0]):
        name, value = re.search(r'name="([^"]*)"', tag), re.search(r'value="([^"]*)"', tag)
        if name and ('type="checkbox"' not in tag or " checked" in tag):
            fields[name[1]] = html.unescape(value[1]) if value else ""
    for name, inside in re.findall(r'<textarea[^>]*name="([^"]*)"[^>]*>(.*?)</textarea>', form[0], re.DOTALL):
        fields[name] = html.unescape(inside).removeprefix("\n")
    for name, options in re.findall(r'<select[^>]*name="([^"]*)"[^>]*>(.*?)</select>', form[0], re.DOTALL):
        chosen = re.search(r'value="([^"]*)" selected', options) or re.search(r'value="([^"]*)"', options)
        fields[name] = chosen[1] if chosen else ""
    return fields


def shown_then_saved(browser: Browser, shown: TestResponse) -> TestResponse:
    """Press the button under a difference; line ends go as browsers send them."""
    assert shown.status_code == 200, shown.text
    assert "Nothing is saved yet" in shown.text
    text = re.search(r'<textarea name="text"[^>]*>\n(.*?)</textarea>', shown.text, re.DOTALL)
    assert text
    fields = hidden_fields(shown.text, SAVE) | {"text": html.unescape(text[1]).replace("\n", "\r\n")}
    return browser.post(SAVE, data=fields)


@on_both
def test_a_stage_gets_another_label_once_the_difference_was_looked_over(
    keeper_client: Browser, desk: Desk, keeper: By
) -> None:
    page = "/shop/stages/testing"
    fields = filled(keeper_client, page, page) | {"label.en": "On the test stand"}

    shown = keeper_client.post(page, data=fields)
    assert "<del>label = { en = &#34;Testing&#34;" in shown.text
    assert "<ins>label = { en = &#34;On the test stand&#34;" in shown.text
    assert in_force(desk)[0] == 1

    answer = shown_then_saved(keeper_client, shown)
    assert (answer.status_code, answer.location) == (303, "/shop/?saved=1")
    revision, policy = in_force(desk)
    assert revision == 2
    assert policy.stages[3].label["en"] == "On the test stand"
    with desk.reading() as connection:
        assert policies.revisions(connection)[0].made_by == keeper.staff_id


def test_gates_and_switches_are_set(keeper_client: Browser, desk: Desk) -> None:
    page = "/shop/stages/board_work"
    fields = filled(keeper_client, page, page) | {
        "leave.customer_note": "warn",
        "enter.intake_recorded": "block",
        "may_be_skipped": "1",
    }
    fields.pop("tell")

    shown_then_saved(keeper_client, keeper_client.post(page, data=fields))

    stage = in_force(desk)[1].stages[2]
    assert [(each.gate, each.when_shut) for each in stage.leave] == [("customer_note", "warn")]
    assert [(each.gate, each.when_shut) for each in stage.enter] == [("intake_recorded", "block")]
    assert (stage.tell, stage.may_be_skipped) == (False, True)


def test_a_form_sent_as_it_came_changes_nothing(keeper_client: Browser) -> None:
    for key in ("received", "cleaning", "board_work", "testing", "ready"):
        page = f"/shop/stages/{key}"

        shown = keeper_client.post(page, data=filled(keeper_client, page, page))

        assert "Nothing would change" in shown.text, key


@pytest.mark.parametrize(
    ("place", "order"),
    [
        ("1", ["testing", "received", "cleaning", "board_work", "ready"]),
        ("3", ["received", "cleaning", "testing", "board_work", "ready"]),
        ("5", ["received", "cleaning", "board_work", "ready", "testing"]),
        ("99", ["received", "cleaning", "board_work", "ready", "testing"]),
    ],
)
def test_a_stage_goes_to_the_place_it_is_sent_to(
    keeper_client: Browser, desk: Desk, place: str, order: list[str]
) -> None:
    action = "/shop/stages/order"
    fields = filled(keeper_client, "/shop/stages", action) | {"place.testing": place}

    shown_then_saved(keeper_client, keeper_client.post(action, data=fields))

    assert [stage.key for stage in in_force(desk)[1].stages] == order


@pytest.mark.parametrize("place", ["", "0", "-1", "x", "1.5", "9" * 30])
def test_a_place_that_is_none_is_told_beside_its_field(keeper_client: Browser, place: str) -> None:
    action = "/shop/stages/order"
    fields = filled(keeper_client, "/shop/stages", action) | {"place.testing": place}

    answer = keeper_client.post(action, data=fields)

    assert answer.status_code == 422
    assert f"“{place}” is no place." in answer.text
    assert f'name="place.testing" inputmode="numeric" autocomplete="off" value="{place}"' in answer.text


def test_a_new_stage_is_put_in(keeper_client: Browser, desk: Desk) -> None:
    action = "/shop/stages/add"
    fields = filled(keeper_client, "/shop/stages", action) | {
        "key": "drying",
        "label.en": "Drying",
        "label.de": "Trocknen",
        "sentence.en": "Your device is drying.",
        "sentence.de": "Ihr Gerät trocknet.",
        "after": "received",
    }

    shown_then_saved(keeper_client, keeper_client.post(action, data=fields))

    assert [stage.key for stage in in_force(desk)[1].stages][:3] == ["received", "drying", "cleaning"]


def test_a_new_stage_that_does_not_fit_is_told_with_what_was_typed(keeper_client: Browser, desk: Desk) -> None:
    action = "/shop/stages/add"
    fields = filled(keeper_client, "/shop/stages", action) | {"key": "Not A Key", "label.en": "<Drying>"}

    answer = keeper_client.post(action, data=fields)

    assert answer.status_code == 422
    assert 'role="alert"' in answer.text
    assert 'value="Not A Key"' in answer.text
    assert 'value="&lt;Drying&gt;"' in answer.text
    assert in_force(desk)[0] == 1


def test_a_stage_with_devices_in_it_cannot_be_taken_out(keeper_client: Browser, desk: Desk, taken_in: TakenIn) -> None:
    action = "/shop/stages/received/remove"
    fields = hidden_fields(keeper_client.get("/shop/stages/received").text, action)

    answer = shown_then_saved(keeper_client, keeper_client.post(action, data=fields))

    assert answer.status_code == 422
    assert "Open tickets stand in a stage that this policy does not have" in answer.text
    assert in_force(desk)[0] == 1


@on_both
def test_a_change_made_from_an_old_revision_is_not_saved_over_a_newer_one(keeper_client: Browser, desk: Desk) -> None:
    page = "/shop/stages/testing"
    old = filled(keeper_client, page, page) | {"label.en": "On the test stand"}
    shown = keeper_client.post(page, data=old)
    newer = shop.show_policy(desk).replace("We are cleaning your device inside.", "We are cleaning it.")
    shop.load_policy(desk, COMMAND, newer)

    from_form = keeper_client.post(page, data=old)
    saved = shown_then_saved(keeper_client, shown)

    for answer in (from_form, saved):
        assert answer.status_code == 409
        assert "The policy has changed meanwhile" in answer.text
        assert "On the test stand" in answer.text
    assert in_force(desk)[0] == 2


def test_days_closed_are_put_in_and_taken_back(keeper_client: Browser, desk: Desk) -> None:
    typed = {"first": "2026-12-24", "last": "2027-01-02", "note.en": "Closed over the year’s end", "note.de": "Zu"}
    fields = filled(keeper_client, "/shop/closed", "/shop/closed") | typed
    shown_then_saved(keeper_client, keeper_client.post("/shop/closed", data=fields))
    (span,) = in_force(desk)[1].hours.closed
    assert (str(span.first), str(span.last), span.note["en"]) == ("2026-12-24", "2027-01-02", typed["note.en"])
    assert "Thu, 24 Dec 2026" in keeper_client.get("/shop/closed").text

    action = "/shop/closed/open"
    back = filled(keeper_client, "/shop/closed", action)
    shown_then_saved(keeper_client, keeper_client.post(action, data=back))

    assert in_force(desk)[1].hours.closed == []


@pytest.mark.parametrize(
    ("first", "last", "reason"),
    [
        ("", "2026-12-24", "The first day is missing"),
        ("2026-12-24", "", "The last day is missing"),
        ("2026-12-24", "2026-12-23", "The last day is before the first"),
        ("2026-02-30", "2026-12-23", "“2026-02-30” is not a date"),
    ],
)
def test_days_that_do_not_fit_are_told_beside_their_field(
    keeper_client: Browser, first: str, last: str, reason: str
) -> None:
    fields = filled(keeper_client, "/shop/closed", "/shop/closed") | {"first": first, "last": last, "note.en": "Away"}

    answer = keeper_client.post("/shop/closed", data=fields)

    assert answer.status_code == 422
    assert f'<p class="fault">{reason}' in answer.text
    assert 'value="Away"' in answer.text


def test_the_whole_text_is_changed_and_every_fault_is_named_first(keeper_client: Browser, desk: Desk) -> None:
    fields = filled(keeper_client, "/shop/policy", "/shop/policy/look")
    assert fields["text"] == shop.show_policy(desk)
    broken = fields["text"].replace('zone = "Europe/London"', 'zone = "Moon/Base"')

    answer = keeper_client.post("/shop/policy/look", data=fields | {"text": broken})

    assert answer.status_code == 422
    assert "Moon/Base" in answer.text
    assert "shop.zone" in answer.text
    assert in_force(desk)[0] == 1


def test_text_that_is_no_policy_is_refused_whatever_it_is(keeper_client: Browser, desk: Desk) -> None:
    fields = filled(keeper_client, "/shop/policy", "/shop/policy/look")

    for text in ("", "\x00", "<b>{{7*7}}</b>", "[" * 2000, "a = 1\n" * 30_000, "💡"):
        for action in ("/shop/policy/look", SAVE):
            answer = keeper_client.post(action, data=fields | {"text": text})
            assert answer.status_code == 422, (action, text[:20])

    assert in_force(desk)[0] == 1


def test_revisions_tell_who_and_when_and_what_changed(keeper_client: Browser, desk: Desk, keeper: By) -> None:
    newer = shop.show_policy(desk).replace("We are testing the repair.", "We are testing it.")
    shop.load_policy(desk, keeper, newer)

    listed = keeper_client.get("/shop/policy/revisions").text
    one = keeper_client.get("/shop/policy/revisions/2").text

    assert "Revision 2" in listed
    assert "Kim" in listed
    assert "We are testing it." in one
    assert "<del>" in one
    assert keeper_client.get("/shop/policy/revisions/3").status_code == 404


def test_the_keepers_pages_are_not_open_to_the_bench(staff_client: Browser) -> None:
    for path in ("/shop/", "/shop/stages", "/shop/stages/testing", "/shop/closed", "/shop/policy"):
        assert staff_client.get(path).status_code == 403, path


def test_a_stage_that_is_not_there_has_no_page(keeper_client: Browser) -> None:
    assert keeper_client.get("/shop/stages/lunch").status_code == 404
