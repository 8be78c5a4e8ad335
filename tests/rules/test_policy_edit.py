"""Forms change a policy's text as little as they can: remarks, order and spelling of the rest stay."""

from __future__ import annotations

import tomllib
from datetime import date

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from portal.rules.policy import Policy, Stage
from portal.rules.policy_check import check
from portal.rules.policy_difference import DiffLine, policy_difference
from portal.rules.policy_edit import add_stage, close_shop, edit_stage, remove_stage, reopen_shop, reorder_stages
from portal.rules.refusals import Refused, Unfit
from tests.rules.policies import WHOLE

KEYS = ["received", "cleaning", "board_work", "testing", "ready"]
REMARKED = """\
# the shop's stages

# for what comes in
[[stages]]
key = "received" # the first
label = { en = "Received" }

# for what is dusty
# and sticky
[[stages]]
key = "cleaning"
label.en = "Cleaning"
# cautions = []

[[stages]]
key = "ready"
label = { en = "Ready" }

# kinds of device
[[kinds]]
key = "other"
"""


def policy(text: str) -> Policy:
    assert [str(fault) for fault in check(text)] == []
    return Policy.model_validate(tomllib.loads(text))


def stage(text: str, key: str) -> Stage:
    found = policy(text).stage(key)
    assert found is not None
    return found


def changed_lines(old: str, new: str) -> list[str]:
    return [
        f"{line.kind}: {line.text}" for place in policy_difference(old, new) for line in place if line.kind != "stays"
    ]


def test_a_label_is_changed_and_nothing_else():
    text = edit_stage(WHOLE, "board_work", label={"en": "Circuit work", "de": "Platinenarbeit"})

    assert changed_lines(WHOLE, text) == [
        'goes: label = { en = "Board work", de = "Platinenarbeit" }',
        'comes: label = { en = "Circuit work", de = "Platinenarbeit" }',
    ]


def test_a_sentence_gates_and_switches_are_changed_and_remarks_stay():
    text = edit_stage(
        WHOLE,
        "cleaning",
        sentence={"en": "We clean it.", "de": "Wir reinigen es."},
        enter={"contact_reachable": "warn"},
        leave={"tray_settled": "block"},
        flags={"tell": True, "may_be_skipped": True},
    )

    cleaning = stage(text, "cleaning")
    assert cleaning.sentence == {"en": "We clean it.", "de": "Wir reinigen es."}
    assert [(gate.gate, gate.when_shut) for gate in cleaning.enter] == [("contact_reachable", "warn")]
    assert [(gate.gate, gate.when_shut) for gate in cleaning.leave] == [("tray_settled", "block")]
    assert (cleaning.tell, cleaning.may_be_skipped, cleaning.back_without_reason) == (True, True, True)
    assert "back_without_reason = true  # dust is met while opening" in text


def test_a_stage_without_gates_has_none_left():
    assert stage(edit_stage(WHOLE, "ready", enter={}), "ready").enter == []


def test_saving_a_form_unchanged_changes_not_a_letter():
    for key in KEYS:
        old = stage(WHOLE, key)
        text = edit_stage(
            WHOLE,
            key,
            label=old.label,
            sentence=old.sentence,
            enter={gate.gate: gate.when_shut for gate in old.enter},
            leave={gate.gate: gate.when_shut for gate in old.leave},
            flags={name: getattr(old, name) for name in ("tell", "may_be_skipped", "back_without_reason")},
        )
        assert text == WHOLE


def test_a_new_stage_stands_behind_the_one_it_follows():
    text = add_stage(
        WHOLE,
        "drying",
        {"en": "Drying", "de": "Trocknung"},
        {"en": "It dries.", "de": "Es trocknet."},
        after="received",
    )

    assert [stage.key for stage in policy(text).stages] == ["received", "drying", "cleaning", *KEYS[2:]]


def test_a_stage_that_goes_takes_its_remarks_along():
    assert remove_stage(REMARKED, "cleaning") == REMARKED.replace(
        REMARKED[REMARKED.index("# for what is dusty") : REMARKED.index('[[stages]]\nkey = "ready"')], ""
    )


def test_a_caution_for_a_stage_that_goes_is_shown_in_the_others():
    cautions = {caution.key: caution.stages for caution in policy(remove_stage(WHOLE, "cleaning")).cautions}

    assert cautions["solvent"] == ["board_work"]


def test_a_stage_that_moves_takes_its_remarks_along():
    text = reorder_stages(REMARKED, ["ready", "cleaning", "received"])

    assert [line for line in text.splitlines() if line.startswith(("#", "key"))] == [
        "# the shop's stages",
        'key = "ready"',
        "# for what is dusty",
        "# and sticky",
        'key = "cleaning"',
        "# cautions = []",
        "# for what comes in",
        'key = "received" # the first',
        "# kinds of device",
        'key = "other"',
    ]


@settings(max_examples=30)  # reading TOML with its remarks takes its time
@given(st.permutations(KEYS))
def test_stages_put_into_any_order_and_back_give_the_same_text(order: list[str]):
    text = reorder_stages(WHOLE, order)

    assert [stage.key for stage in policy(text).stages] == order
    assert reorder_stages(text, KEYS) == WHOLE


NAMES = st.text(st.characters(exclude_categories=["Cc", "Cs"]), min_size=1, max_size=20).filter(str.strip)


@settings(max_examples=30)
@given(NAMES, NAMES)
def test_whatever_is_typed_comes_out_as_it_was_typed(english: str, german: str):
    text = edit_stage(WHOLE, "ready", label={"en": english, "de": german})

    assert tomllib.loads(text)["stages"][4]["label"] == {"en": english, "de": german}


def test_a_closed_time_is_added_where_the_hours_are_and_taken_out_again():
    note = {"en": "On holiday.", "de": "Im Urlaub."}

    text = close_shop(WHOLE, date(2027, 8, 2), date(2027, 8, 13), note)
    text = close_shop(text, date(2027, 12, 24), date(2027, 12, 24), {"en": "", "de": " "})

    [summer, christmas] = policy(text).hours.closed
    assert (summer.first, summer.last, summer.note) == (date(2027, 8, 2), date(2027, 8, 13), note)
    assert (christmas.first, christmas.note) == (date(2027, 12, 24), {})
    text = reopen_shop(text, date(2027, 8, 2), date(2027, 8, 13))
    assert policy(text).hours.closed == [christmas]
    assert policy(reopen_shop(text, date(2027, 12, 24), date(2027, 12, 24))) == policy(WHOLE)


HOURS = {
    "none": 'a = 1\n[shop]\nname = "x"\n',
    "in one line": "hours = { monday = [] }\n",
    "a list of closed times": "[hours]\nclosed = [{ first = 2027-01-01, last = 2027-01-02 }]\n\n# end\n",
    "the last table": "[hours]\nmonday = []\n",
}


@pytest.mark.parametrize("text", HOURS.values(), ids=HOURS.keys())
def test_a_shop_can_be_closed_however_its_hours_are_written(text: str):
    closed = close_shop(text, date(2027, 8, 2), date(2027, 8, 13), {"en": "Away."})

    assert tomllib.loads(closed)["hours"]["closed"][-1] == {
        "first": date(2027, 8, 2),
        "last": date(2027, 8, 13),
        "note": {"en": "Away."},
    }


REFUSED = {
    "an unknown stage": (lambda: edit_stage(WHOLE, "drying", label={}), "no stage “drying”. Allowed: received,"),
    "an unknown switch": (
        lambda: edit_stage(WHOLE, "ready", flags={"loud": True}),
        "no switch “loud”",
    ),
    "a key that stands already": (lambda: add_stage(WHOLE, "ready", {}, {}, after="ready"), "“ready” already"),
    "behind an unknown stage": (lambda: add_stage(WHOLE, "drying", {}, {}, after="wet"), "no stage “wet”"),
    "to take out an unknown stage": (lambda: remove_stage(WHOLE, "wet"), "no stage “wet”"),
    "an order that forgets one": (lambda: reorder_stages(WHOLE, KEYS[1:]), "named once, in the new order: received,"),
    "an order that names one twice": (lambda: reorder_stages(WHOLE, [*KEYS, "ready"]), "named once"),
    "a closed time backwards": (
        lambda: close_shop(WHOLE, date(2027, 8, 13), date(2027, 8, 2), {}),
        "before the first",
    ),
}


@pytest.mark.parametrize(("edit", "reason"), REFUSED.values(), ids=REFUSED.keys())
def test_what_a_form_may_not_do_is_refused_in_words(edit, reason: str):
    with pytest.raises(Unfit, match=reason):
        edit()


def test_a_shop_is_reopened_only_where_it_is_closed():
    with pytest.raises(Refused, match="not closed from 2027-08-02 to 2027-08-13"):
        reopen_shop(WHOLE, date(2027, 8, 2), date(2027, 8, 13))


@pytest.mark.parametrize("text", ["[[stages", "stages = [{ key = 'a' }]", "", "stages = 1"])
def test_a_text_that_forms_cannot_change_is_left_to_be_changed_as_text(text: str):
    with pytest.raises(Refused, match="text"):
        remove_stage(text, "a")


def test_the_difference_shows_what_goes_and_what_comes_with_lines_around_it():
    assert policy_difference("a\nb\nc\nd\n", "a\nb\nx\nd\n") == [
        [
            DiffLine("stays", 1, "a"),
            DiffLine("stays", 2, "b"),
            DiffLine("goes", 3, "c"),
            DiffLine("comes", 3, "x"),
            DiffLine("stays", 4, "d"),
        ]
    ]
    assert policy_difference(WHOLE, WHOLE) == []
