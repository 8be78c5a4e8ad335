"""Delivery: each kind of answer has its end, a crash loses nothing, and a repeat is rare and carries the same name."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime, timedelta
from itertools import pairwise
from random import Random

import pytest

from notifications import claims, outbox
from notifications.channels import ChannelDown, Hopeless, LineBroke, TryLater
from notifications.delivery import retry_after, send_due
from notifications.letters import Later, Unreachable, Withdrawn
from tests.notifications.office import Office, ScriptedChannel

STEPS = ["claimed", "composed", "handing over", "handed over", "settled"]
# What is settled only after a repeat: the sender died after the letter was given away and before that was written down.
GAVE_AWAY = {"handed over"}


def test_what_is_due_goes_out_once(office: Office, mail: ScriptedChannel):
    office.put("a note")

    batch = office.send()

    assert (batch.looked_at, batch.done, batch.failed) == (1, 1, 0)
    assert [letter.to for _id, letter in mail.got] == ["OWNER@example.org"]
    assert (office.row().state, office.row().settled_at) == ("sent", office.clock.now())


def test_the_same_moment_twice_does_nothing_the_second_time(office: Office, mail: ScriptedChannel):
    office.put("a note")
    office.send()

    assert office.send().looked_at == 0
    assert len(mail.got) == 1


def test_what_is_due_longest_goes_first(office: Office, mail: ScriptedChannel):
    for place, minutes in enumerate((5, 1, 3)):
        office.put(f"cause {place}", not_before=office.clock.now() + timedelta(minutes=minutes))
    office.wait(minutes=10)

    office.send()

    assert [letter.text.split(" by")[0] for _id, letter in mail.got] == ["cause 1", "cause 2", "cause 0"]


def test_a_message_waits_for_its_time(office: Office, mail: ScriptedChannel):
    office.put("a note", not_before=office.clock.now() + timedelta(hours=1))
    office.send()
    assert mail.got == []

    office.wait(hours=1)
    office.send()
    assert len(mail.got) == 1


def test_one_line_serves_a_whole_batch(office: Office, mail: ScriptedChannel):
    for place in range(5):
        office.put(f"cause {place}")

    office.send()

    assert (len(mail.got), mail.lines) == (5, 1)


def test_a_stop_waits_for_no_second_message(office: Office, mail: ScriptedChannel):
    office.put("a note")
    office.put("another")
    going = iter([True, False])
    send_due(replace(office.post_office(), going_on=lambda: next(going)))

    assert [row.state for row in office.rows()] == ["sent", "waiting"]


# Answers


def test_a_temporary_refusal_is_tried_again_after_ten_minutes(office: Office, mail: ScriptedChannel):
    office.put("a note")
    mail.answers = [TryLater("450 4.2.0 greylisted")]
    office.send()
    assert (office.row().state, office.row().outcome) == ("waiting", "450 4.2.0 greylisted")

    office.wait(minutes=9)
    assert office.send().looked_at == 0
    office.wait(minutes=4)
    office.send()
    assert office.row().state == "sent"


def test_retries_double_from_ten_minutes_to_four_hours_with_jitter():
    jitter = Random(1)
    waits = [retry_after(attempt, jitter) for attempt in range(1, 30)]

    assert all(later > sooner for sooner, later in pairwise(waits[:5]))
    assert all(timedelta(minutes=10) <= wait <= timedelta(minutes=288) for wait in waits)
    assert len(set(waits)) == len(waits)  # RFC 5321 4.5.4.1 wants retries spread out


def test_temporary_refusals_for_four_days_end_as_failed(office: Office, mail: ScriptedChannel):
    office.put("a note")
    mail.answers = [TryLater("450 try later")] * 100
    for _ in range(5 * 24 * 6):
        office.send()
        office.wait(minutes=10)

    # RFC 5321 4.5.4.1: the give-up time generally needs to be at least 4-5 days.
    assert office.row().state == "failed"
    assert timedelta(days=4) <= office.row().settled_at - office.row().made_at < timedelta(days=4, hours=1)
    assert 20 < office.row().attempts < 40


def test_a_permanent_refusal_is_not_tried_again(office: Office, mail: ScriptedChannel):
    office.put("a note")
    mail.answers = [Hopeless("550 5.1.1 no such mailbox")]
    batch = office.send()
    office.wait(days=1)

    assert office.send().looked_at == 0
    assert (office.row().state, office.row().outcome, batch.failed) == ("failed", "550 5.1.1 no such mailbox", 1)


def test_after_a_permanent_refusal_the_next_channel_is_tried_in_the_same_row(office: Office, mail: ScriptedChannel):
    office.channels["gateway"] = gateway = ScriptedChannel()
    office.put("a note", channels=("mail", "gateway"))
    mail.answers = [Hopeless("550 no such mailbox")]

    office.send()

    assert [letter.text for _id, letter in gateway.got] == ["a note by gateway: \n"]
    assert (office.row().state, office.row().attempts) == ("sent", 1)


def test_a_channel_that_is_not_installed_is_passed_over(office: Office, mail: ScriptedChannel):
    office.put("a note", channels=("pigeon", "mail"))

    office.send()

    assert len(mail.got) == 1


def test_a_recipient_without_an_address_for_the_channel_is_reached_by_the_next(office: Office, mail: ScriptedChannel):
    office.put("a note", channels=("pigeon", "mail"))
    office.channels["pigeon"] = pigeon = ScriptedChannel()
    office.composed = Unreachable("no address")
    office.send()

    assert (pigeon.got, mail.got, office.row().state) == ([], [], "withdrawn")


def test_a_recipient_refused_by_one_channel_and_without_an_address_for_the_other_could_not_be_reached(
    office: Office, mail: ScriptedChannel
):
    office.put("a note", channels=("mail", "pigeon"))
    mail.answers = [Hopeless("550 no such mailbox")]

    office.send()

    assert office.row().state == "failed"


def test_a_channel_gives_up_after_its_own_number_of_tries(office: Office, mail: ScriptedChannel):
    mail.most_attempts = 3
    mail.answers = [TryLater("busy")] * 10
    office.put("a note")
    for _ in range(10):
        office.send()
        office.wait(hours=2)

    assert (office.row().state, len(mail.answers)) == ("failed", 7)


def test_a_channel_that_is_down_is_asked_once_a_sweep_and_costs_nobody_a_try(office: Office, mail: ScriptedChannel):
    for place in range(5):
        office.put(f"cause {place}")
    mail.answers = [ChannelDown("the mail server refuses the login: 535")]

    office.send()

    assert mail.got == []
    assert {(row.state, row.attempts) for row in office.rows()} == {("waiting", 0)}
    office.wait(minutes=10)
    assert office.send().done == 5


def test_a_lost_answer_is_repeated_once_after_half_an_hour_under_the_same_name(office: Office, mail: ScriptedChannel):
    office.put("a note")
    mail.answers = [LineBroke("the line broke")]
    office.send()
    assert (office.row().state, office.row().settled_at) == ("unknown", None)

    office.wait(minutes=29)
    assert office.send().looked_at == 0
    office.wait(minutes=1)
    office.send()

    assert office.row().state == "sent"
    assert len({message_id for message_id, _letter in mail.got}) == 1


def test_a_second_lost_answer_leaves_it_unknown_for_staff(office: Office, mail: ScriptedChannel):
    office.put("a note")
    mail.answers = [LineBroke("the line broke")] * 5
    for _ in range(20):
        office.send()
        office.wait(hours=1)

    assert len(mail.got) == 2
    assert office.row().state == "unknown"
    assert office.row().settled_at is not None


def test_a_refusal_between_two_lost_answers_keeps_the_name(office: Office, mail: ScriptedChannel):
    office.put("a note")
    mail.answers = [LineBroke("the line broke"), TryLater("450"), None]
    for _ in range(5):
        office.send()
        office.wait(hours=1)

    assert [message_id for message_id, _letter in mail.got] == [office.row().message_id] * 2
    assert office.row().state == "sent"


def test_what_costs_money_is_never_repeated_when_its_answer_was_lost(office: Office, mail: ScriptedChannel):
    mail.repeats = 0
    office.put("a note")
    mail.answers = [LineBroke("the line broke")]
    office.send()
    office.wait(days=1)
    office.send()

    assert (len(mail.got), office.row().state) == (1, "unknown")
    assert office.row().settled_at is not None


def test_an_error_inside_a_channel_stops_no_other_message(office: Office, mail: ScriptedChannel):
    office.put("a note")
    office.put("another")
    mail.answers = [KeyError("a fault in the channel")]

    office.send()

    assert [row.state for row in office.rows()] == ["unknown", "sent"]


# Compose's answers


def test_what_is_no_longer_true_is_withdrawn(office: Office, mail: ScriptedChannel):
    office.put("a note")
    office.composed = Withdrawn("the device has left the shop")
    office.send()

    assert (mail.got, office.row().state) == ([], "withdrawn")


def test_later_costs_no_try(office: Office, mail: ScriptedChannel):
    office.put("a note")
    morning = office.clock.now() + timedelta(hours=9)
    office.composed = Later(morning)
    office.send()
    assert (office.row().state, office.row().attempts, office.row().due_at) == ("waiting", 0, morning)


def test_later_that_is_now_does_not_go_round_for_ever(office: Office):
    office.put("a note")
    office.composed = Later(office.clock.now())

    assert office.send().looked_at == 1


def test_a_letter_that_cannot_be_written_stops_no_other_and_is_tried_again(office: Office, mail: ScriptedChannel):
    office.put("a note")
    office.composed = KeyError("a fault in a template")
    office.send()
    office.composed = None
    office.put("another")
    office.send()
    assert [row.state for row in office.rows()] == ["waiting", "sent"]

    office.wait(minutes=15)
    office.send()
    assert office.row().state == "sent"


def test_what_was_never_tried_in_its_time_is_expired(office: Office, mail: ScriptedChannel):
    office.put("a note", expires_at=office.clock.now() + timedelta(hours=1))
    office.wait(hours=1)
    office.send()

    assert (mail.got, office.row().state) == ([], "expired")


# Leases and crashes


@pytest.mark.parametrize("step", STEPS)
def test_a_crash_at_any_step_loses_nothing_and_repeats_at_most_once(office: Office, mail: ScriptedChannel, step: str):
    office.put("a note")
    office.crash(step)
    for _ in range(4):
        office.wait(minutes=31)
        office.send()

    assert office.row().state == "sent"
    assert len(mail.got) == (2 if step in GAVE_AWAY else 1)
    assert len({message_id for message_id, _letter in mail.got}) == 1


@pytest.mark.parametrize("step", STEPS)
def test_nobody_touches_a_claim_before_its_lease_is_over(office: Office, mail: ScriptedChannel, step: str):
    office.put("a note")
    office.crash(step)
    before = len(mail.got)
    office.wait(minutes=29)

    assert office.send().looked_at == 0
    assert len(mail.got) == before


def test_a_crash_in_doubt_waits_half_an_hour_even_with_a_short_lease(office: Office, mail: ScriptedChannel):
    office.lease = timedelta(minutes=1)
    office.put("a note")
    office.crash("handed over")
    office.wait(minutes=29)
    office.send()
    assert len(mail.got) == 1

    office.wait(minutes=1)
    office.send()
    assert len(mail.got) == 2


@pytest.mark.parametrize("step", ["claimed", "composed"])
def test_a_message_that_kills_its_sender_ends_as_failed(office: Office, mail: ScriptedChannel, step: str):
    mail.most_attempts = 5
    office.put("a note")
    for _ in range(5):
        office.crash(step)
        office.wait(minutes=31)
    office.send()

    assert (office.row().state, mail.got) == ("failed", [])


def test_a_message_that_kills_its_sender_while_handed_over_ends_as_unknown(office: Office, mail: ScriptedChannel):
    office.put("a note")
    for _ in range(2):
        office.crash("handed over")
        office.wait(minutes=31)
    office.send()

    assert (office.row().state, len(mail.got)) == ("unknown", 2)


def test_a_message_that_kills_its_sender_holds_up_no_other(office: Office, mail: ScriptedChannel):
    office.put("a note")
    office.put("another")
    office.crash("composed")

    office.send()

    assert [row.state for row in office.rows()] == ["claimed", "sent"]


def test_a_late_settle_with_an_old_lease_changes_nothing(office: Office):
    office.put("a note")
    with office.writing() as connection:
        first = claims.claim(connection, office.clock.now())
    office.wait(minutes=31)
    with office.writing() as connection:
        second = claims.claim(connection, office.clock.now())
    assert first is not None
    assert second is not None
    before = office.row()

    with office.writing() as connection:
        now = office.clock.now()
        assert not claims.sent(connection, first, now)
        assert not claims.failed(connection, first, now, "550")
        assert not claims.unknown(connection, first, now, "broke")
        assert not claims.later(connection, first, now, "450", counts=True)
        assert not claims.next_channel(connection, first, now, "550")
        assert not claims.begin(connection, first, now, now)

    assert office.row() == before
    assert before.lease == second.lease


# Gathering


def test_messages_of_one_gather_key_that_wait_together_go_out_as_one(office: Office, mail: ScriptedChannel):
    for entry in (3, 4, 5):
        office.put(f"entry {entry}", gather="notes", facts={"entry": entry})

    office.send()

    assert [letter.text for _id, letter in mail.got] == ["entry 3 by mail: 3, 4, 5\n"]
    assert {row.state for row in office.rows()} == {"sent"}


def test_a_message_joins_the_one_that_waits_already(office: Office, mail: ScriptedChannel):
    in_five = office.clock.now() + timedelta(minutes=5)
    office.put("entry 3", gather="notes", facts={"entry": 3}, not_before=in_five)
    office.wait(minutes=4)
    office.put("entry 4", gather="notes", facts={"entry": 4}, not_before=office.clock.now() + timedelta(minutes=5))
    office.wait(minutes=1)

    office.send()

    assert [letter.text for _id, letter in mail.got] == ["entry 3 by mail: 3, 4\n"]


@pytest.mark.parametrize("other", [{"recipient": "SECOND"}, {"gather": "others"}], ids=["recipient", "key"])
def test_messages_of_other_people_or_keys_are_not_gathered(
    office: Office, mail: ScriptedChannel, other: dict[str, str]
):
    office.put("entry 3", gather="notes")
    office.put("entry 4", **({"gather": "notes"} | other))

    office.send()

    assert len(mail.got) == 2


def test_what_went_out_together_is_repeated_together(office: Office, mail: ScriptedChannel):
    for entry in (3, 4):
        office.put(f"entry {entry}", gather="notes", facts={"entry": entry})
    office.crash("handed over")
    office.put("entry 5", gather="notes", facts={"entry": 5})
    office.send()
    office.wait(minutes=31)
    office.send()

    first, newer, again = mail.got
    assert first[0] == again[0] != newer[0]
    assert (again[1].text, newer[1].text) == ("entry 3 by mail: 3, 4\n", "entry 5 by mail: 5\n")
    assert {row.state for row in office.rows()} == {"sent"}


def test_what_was_surely_refused_can_be_gathered_anew(office: Office, mail: ScriptedChannel):
    office.put("entry 3", gather="notes", facts={"entry": 3})
    mail.answers = [TryLater("450")]
    office.send()
    office.put("entry 4", gather="notes", facts={"entry": 4})
    office.wait(minutes=15)
    office.send()

    assert [letter.text for _id, letter in mail.got] == ["entry 3 by mail: 3, 4\n"]


def test_a_group_of_which_one_was_withdrawn_is_written_anew(office: Office, mail: ScriptedChannel):
    for entry in (3, 4):
        office.put(f"entry {entry}", gather="notes", facts={"entry": entry})
    compose = office._compose

    def withdraw_meanwhile(due, channel, now):
        with office.writing() as connection:
            outbox.withdraw(connection, now, "corrected", cause="entry 4")
        return compose(due, channel, now)

    office._compose = withdraw_meanwhile
    office.send()

    assert [letter.text for _id, letter in mail.got] == ["entry 3 by mail: 3\n"]
    assert [row.state for row in office.rows()] == ["sent", "withdrawn"]


# Nights on which the clocks change: 2026-03-29 and 2026-10-25, at 01:00Z in London and in Berlin (tzdata).


@pytest.mark.parametrize("night", ["2026-03-29", "2026-10-25"])
def test_nothing_due_in_a_clock_change_night_is_lost_or_goes_twice(office: Office, mail: ScriptedChannel, night: str):
    office.clock.at = datetime.fromisoformat(f"{night}T00:00:00+00:00")
    for minute in range(0, 180, 10):
        office.put(f"minute {minute}", not_before=office.clock.now() + timedelta(minutes=minute))
    sent_in = []
    for _ in range(37):
        sent_in.append(office.send().done)
        office.wait(minutes=5)

    assert [letter.text.split(" by")[0] for _id, letter in mail.got] == [f"minute {each}" for each in range(0, 180, 10)]
    assert max(sent_in) == 1
