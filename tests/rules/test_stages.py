"""How a ticket moves through the shop's stages, waits in them, and leaves."""

from __future__ import annotations

import pytest

from portal.rules.gates import Facts
from portal.rules.refusals import AskFirst, Refused, Unfit
from portal.rules.stages import (
    Ending,
    Event,
    Hold,
    Standing,
    apply,
    arrive,
    earlier_stages,
    hand_over,
    lift_hold,
    move,
    next_stages,
    rebuild,
    return_unrepaired,
    set_hold,
    stranded,
)
from tests.rules.cast import BOARD_WORK, CLEANING, READY, RECEIVED, STAGES, TESTING, stage

OPEN = Facts(fault_described=True, contact_reachable=True, customer_note_in_stage=True)
SHUT = Facts()
ENDED = Standing("ready", None, Ending.COLLECTED)
ANNOUNCED = Standing()


def at(key: str, hold: Hold | None = None) -> Standing:
    return Standing(key, hold)


def reasons(refused: pytest.ExceptionInfo[Refused]) -> list[str]:
    return [str(reason) for reason in refused.value.reasons]


def test_a_device_arrives_in_the_first_stage() -> None:
    assert arrive(ANNOUNCED, STAGES) == [Event("arrived", {"stage": "received"})]


@pytest.mark.parametrize("standing", [at("received"), at("ready", Hold.PART), ENDED])
def test_a_device_arrives_once(standing: Standing) -> None:
    with pytest.raises(Refused, match="has arrived already"):
        arrive(standing, STAGES)


@pytest.mark.parametrize(
    ("here", "there"),
    [
        ("received", "cleaning"),
        ("received", "board_work"),  # over cleaning, which may be skipped
        ("cleaning", "board_work"),
        ("board_work", "testing"),
        ("testing", "ready"),
    ],
)
def test_a_ticket_goes_forward_to_the_next_stage_and_over_one_that_may_be_skipped(here: str, there: str) -> None:
    assert move(at(here), there, STAGES, OPEN) == [Event("moved", {"stage": there})]


@pytest.mark.parametrize(
    ("here", "there", "between"),
    [
        ("received", "testing", ["Board work"]),
        ("received", "ready", ["Board work", "Testing"]),
        ("cleaning", "ready", ["Board work", "Testing"]),
        ("board_work", "ready", ["Testing"]),
    ],
)
def test_a_ticket_skips_no_stage_that_may_not_be_and_hears_of_each(here: str, there: str, between: list[str]) -> None:
    with pytest.raises(Refused) as refused:
        move(at(here), there, STAGES, OPEN)

    assert reasons(refused) == [f"“{label}” comes first and may not be skipped." for label in between]


@pytest.mark.parametrize(("here", "there"), [("ready", "testing"), ("ready", "received"), ("testing", "board_work")])
def test_a_ticket_goes_back_with_a_reason(here: str, there: str) -> None:
    assert move(at(here), there, STAGES, SHUT, why="The fan rattles.") == [Event("moved", {"stage": there})]


def test_going_back_without_a_reason_is_refused_and_asks_for_one() -> None:
    with pytest.raises(Unfit, match="The reason for going back is missing") as refused:
        move(at("testing"), "board_work", STAGES, OPEN)

    assert refused.value.field == "why"


@pytest.mark.parametrize("here", ["board_work", "testing", "ready"])
def test_cleaning_may_be_gone_back_to_without_a_reason(here: str) -> None:
    """Common practice, no source: dust is met while opening and flux after soldering."""
    assert move(at(here), "cleaning", STAGES, SHUT) == [Event("moved", {"stage": "cleaning"})]


def test_a_ticket_does_not_move_to_where_it_is() -> None:
    with pytest.raises(Refused, match="The ticket is in “Testing” already"):
        move(at("testing"), "testing", STAGES, OPEN, why="again")


@pytest.mark.parametrize(
    "there", ["", "shipping", "READY", "ready ", "'; DROP TABLE tickets", "{{7*7}}", "{0}", "x" * 9999]
)
def test_a_stage_that_the_shop_does_not_have_is_refused_with_those_it_has(there: str) -> None:
    with pytest.raises(Refused) as refused:
        move(at("testing"), there, STAGES, OPEN)

    allowed = "received, cleaning, board_work, testing, ready"
    assert reasons(refused) == [f"The shop has no stage “{there}”. Allowed: {allowed}."]


@pytest.mark.parametrize("there", ["ready", "board_work", "cleaning"])
@pytest.mark.parametrize(
    ("hold", "words"),
    [
        (Hold.APPROVAL, "waiting for an approval"),
        (Hold.PART, "waiting for a part"),
        (Hold.CUSTOMER, "waiting for the customer"),
        (Hold.DISPUTE, "in dispute"),
        (Hold.SAFETY, "a damaged battery, until somebody qualified has dealt with it"),
    ],
)
def test_a_ticket_on_hold_does_not_move(hold: Hold, words: str, there: str) -> None:
    with pytest.raises(Refused) as refused:
        move(at("testing", hold), there, STAGES, OPEN, why="a reason")

    assert reasons(refused) == [f"The ticket is on hold: {words}. Lift or change the hold first."]


def test_every_shut_gate_is_told_at_once_with_what_opens_it() -> None:
    with pytest.raises(Refused) as refused:
        move(at("testing"), "ready", STAGES, SHUT)

    assert not isinstance(refused.value, AskFirst)
    assert reasons(refused) == [
        "Nobody can be told: the visit has no e-mail address and no phone number. Add one to the contact.",
        "The customer has not been told anything in this stage. Write a note for the customer.",
        "The fault is not described. Write down what the customer says is wrong.",
    ]


def test_a_gate_that_only_warns_asks_once_and_lets_through_once_confirmed() -> None:
    unwritten = Facts(fault_described=True, contact_reachable=True)

    with pytest.raises(AskFirst) as refused:
        move(at("testing"), "ready", STAGES, unwritten)

    assert reasons(refused) == ["The customer has not been told anything in this stage. Write a note for the customer."]
    assert move(at("testing"), "ready", STAGES, unwritten, confirmed=True) == [Event("moved", {"stage": "ready"})]


def test_confirming_opens_no_gate_that_blocks() -> None:
    with pytest.raises(Refused, match="Nobody can be told"):
        move(at("testing"), "ready", STAGES, SHUT, confirmed=True)


def test_gates_of_a_stage_that_is_skipped_are_not_asked() -> None:
    shut_on_the_way = stage("cleaning", may_be_skipped=True, enter=[{"gate": "customer_note"}])
    stages = [RECEIVED, shut_on_the_way, BOARD_WORK, READY]

    assert move(at("received"), "board_work", stages, Facts(fault_described=True))
    with pytest.raises(Refused, match="has not been told anything"):
        move(at("received"), "cleaning", stages, Facts(fault_described=True))


def test_the_stages_within_reach_are_those_that_a_move_reaches() -> None:
    assert next_stages(at("received"), STAGES) == [CLEANING, BOARD_WORK]
    assert next_stages(at("board_work"), STAGES) == [TESTING]
    assert next_stages(at("ready"), STAGES) == []
    assert earlier_stages(at("board_work"), STAGES) == [RECEIVED, CLEANING]
    assert earlier_stages(at("received"), STAGES) == []


@pytest.mark.parametrize("hold", list(Hold))
def test_a_hold_is_set_inside_a_stage(hold: Hold) -> None:
    assert set_hold(at("board_work"), hold.value) == [Event("held", {"hold": hold.value})]


def test_a_hold_is_changed_into_another_without_lifting_it() -> None:
    assert set_hold(at("board_work", Hold.APPROVAL), "part") == [Event("held", {"hold": "part"})]


def test_the_same_hold_is_not_set_twice() -> None:
    with pytest.raises(Refused, match="The ticket is on hold: waiting for a part"):
        set_hold(at("board_work", Hold.PART), "part")


@pytest.mark.parametrize("hold", ["", "none", "Part", "lunch", "{0}", "🙂"])
def test_an_unknown_hold_is_refused_with_those_there_are(hold: str) -> None:
    with pytest.raises(Refused) as refused:
        set_hold(at("board_work"), hold)

    assert reasons(refused) == [f"There is no hold “{hold}”. Allowed: approval, part, customer, dispute, safety."]


def test_a_hold_is_lifted() -> None:
    assert lift_hold(at("board_work", Hold.DISPUTE)) == [Event("released")]


def test_no_hold_is_lifted_where_there_is_none() -> None:
    with pytest.raises(Refused, match="The ticket is not on hold"):
        lift_hold(at("board_work"))


@pytest.mark.parametrize("ending", [Ending.COLLECTED, Ending.POSTED])
def test_a_device_is_handed_over_from_the_last_stage(ending: Ending) -> None:
    assert hand_over(at("ready"), STAGES, ending) == [Event("ended", {"ending": ending.value})]


@pytest.mark.parametrize("here", ["received", "cleaning", "board_work", "testing"])
def test_a_device_is_handed_over_from_no_other_stage(here: str) -> None:
    with pytest.raises(
        Refused, match=r"A device is handed over from “Ready”. Move it there, or give it back unrepaired"
    ):
        hand_over(at(here), STAGES)


def test_a_device_on_hold_is_not_handed_over_and_hears_both_reasons_when_not_ready_either() -> None:
    with pytest.raises(Refused) as refused:
        hand_over(at("testing", Hold.PART), STAGES)

    assert len(reasons(refused)) == 2
    with pytest.raises(Refused, match="on hold: in dispute"):
        hand_over(at("ready", Hold.DISPUTE), STAGES)


@pytest.mark.parametrize("here", [stage.key for stage in STAGES])
@pytest.mark.parametrize("hold", [None, Hold.APPROVAL, Hold.PART, Hold.CUSTOMER])
def test_a_device_is_given_back_unrepaired_from_any_stage_with_a_reason(here: str, hold: Hold | None) -> None:
    events = return_unrepaired(at(here, hold), "No spare parts exist any more.")

    assert events == [Event("ended", {"ending": "returned unrepaired"})]


def test_giving_back_unrepaired_needs_a_reason() -> None:
    with pytest.raises(Unfit, match="The reason for giving it back unrepaired is missing") as refused:
        return_unrepaired(at("received"), "")

    assert refused.value.field == "why"


def test_a_dispute_is_settled_before_the_device_is_given_back() -> None:
    with pytest.raises(Refused, match="in dispute"):
        return_unrepaired(at("received", Hold.DISPUTE), "No spare parts.")


DEEDS = {
    "move": lambda standing: move(standing, "ready", STAGES, OPEN, why="a reason"),
    "hold": lambda standing: set_hold(standing, "part"),
    "lift": lift_hold,
    "hand over": lambda standing: hand_over(standing, STAGES),
    "return": lambda standing: return_unrepaired(standing, "a reason"),
}


@pytest.mark.parametrize("deed", DEEDS)
@pytest.mark.parametrize("ending", list(Ending))
def test_nothing_is_done_to_a_ticket_that_has_ended(deed: str, ending: Ending) -> None:
    with pytest.raises(Refused, match=r"This ticket has ended. Its device is no longer in the shop"):
        DEEDS[deed](Standing("ready", None, ending))


@pytest.mark.parametrize("deed", DEEDS)
def test_nothing_is_done_to_a_device_before_it_has_arrived(deed: str) -> None:
    with pytest.raises(Refused, match="announced but has not arrived yet"):
        DEEDS[deed](ANNOUNCED)


@pytest.mark.parametrize(
    ("before", "event", "after"),
    [
        (ANNOUNCED, Event("arrived", {"stage": "received"}), at("received")),
        (at("received"), Event("moved", {"stage": "ready"}), at("ready")),
        (at("ready"), Event("held", {"hold": "part"}), at("ready", Hold.PART)),
        (at("ready", Hold.PART), Event("released"), at("ready")),
        (
            at("ready", Hold.PART),
            Event("ended", {"ending": "returned unrepaired"}),
            Standing("ready", None, Ending.RETURNED),
        ),
        (ENDED, Event("reopened"), at("ready")),
        (at("ready"), Event("noted"), at("ready")),
        (at("ready"), Event("something of next year"), at("ready")),
    ],
)
def test_an_event_changes_the_standing_by_what_it_says(before: Standing, event: Event, after: Standing) -> None:
    assert apply(before, event) == after


def test_the_events_of_a_whole_repair_rebuild_where_it_stands() -> None:
    events = [
        Event("arrived", {"stage": "received"}),
        Event("noted"),
        Event("moved", {"stage": "board_work"}),
        Event("held", {"hold": "part"}),
        Event("released"),
        Event("moved", {"stage": "ready"}),
    ]

    assert rebuild(events) == at("ready")
    assert rebuild([*events, Event("ended", {"ending": "collected"})]) == ENDED
    assert rebuild([]) == ANNOUNCED


def test_a_ticket_whose_stage_the_shop_gave_up_may_go_to_any_stage_ahead_of_the_first_that_is_needed() -> None:
    """A policy that strands open tickets is refused; a ticket that slipped through is not lost."""
    assert move(at("given_up"), "received", STAGES, OPEN) == [Event("moved", {"stage": "received"})]


def test_tickets_are_stranded_when_their_stage_is_gone_unless_they_ended_or_are_only_announced() -> None:
    standings = {
        "4711-3": at("testing"),
        "1000-5": at("polishing", Hold.PART),
        "2000-1": Standing("polishing", None, Ending.COLLECTED),
        "0900-2": at("polishing"),
        "3000-8": ANNOUNCED,
    }

    assert stranded(standings, STAGES) == ["0900-2", "1000-5"]
