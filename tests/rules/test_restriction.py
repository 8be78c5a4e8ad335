"""While data is only stored, what would use it is told from what stores it (GDPR Art. 18(2))."""

from __future__ import annotations

from datetime import date

import pytest

from portal.rules import restriction
from portal.rules.journal_words import _BENCH
from portal.rules.refusals import Refused, Unfit
from portal.rules.restriction import GROUND_WORDS, USE_WORDS, Ground, Use
from portal.rules.stages import Event

SINCE = date(2026, 3, 2)
USES = {
    ("noted", "customer"): Use.WRITE,
    ("corrected", "customer"): Use.WRITE,
    ("window_moved", "customer"): Use.WRITE,
    ("complaint_answered", "customer"): Use.WRITE,
    ("question_drafted", "customer"): Use.WRITE,
    ("question_put", "customer"): Use.WRITE,
    ("question_signed_off", "customer"): Use.WRITE,
    ("question_changed", "customer"): Use.WRITE,
    ("photographed", "customer"): Use.PHOTO,
    ("photo_released", "customer"): Use.PHOTO,
    ("photo_pointed_out", "customer"): Use.PHOTO,
    ("photos_paired", "customer"): Use.PHOTO,
    ("publication_allowed", "customer"): Use.PUBLISH,
}
# Looked at one by one: they store what happened, move the repair on, give the device back, keep the account, raise or
# defend a claim, answer a person's own rights, or end a use.
NO_USE = {
    "announced taken_over arrived moved held released ended reopened received_announced promised shelved recorded",
    "made_safe agreed_record objected tray_opened tray_closed tray_recounted tray_struck tested soak_started",
    "let_through safety_test_recorded cautioned part_ordered part_arrived part_fitted courtesy_given photo_withdrawn",
    "photos_unpaired photo_pair_shown photo_parts_hidden photo_described publication_refused agreed_work_begun",
    "wrote photo_sent said words_read undelivered_decided rang gone_wrong_again stated chose_messages",
    "stopped_reminders push_begun push_stopped link_renewed contact_changed return_chosen return_day_chosen delivered",
    "parcel_came_back wish_given wish_taken_back data_destroyed ownership_questioned ownership_noted",
    "ownership_settled price_agreed gone_ahead money_taken money_given_back money_reversed storage_stated",
    "storage_taken_back let_off let_off_taken_back statement_made question_returned question_withdrawn agreed declined",
    "lapsed yes_taken_back formal_notice_made formal_notice_posted formal_notice_withdrawn owner_untraced owner_traced",
    "sold_by_law complained complaint_closed came_back came_back_as fault_compared verdict_objected kept_on let_go",
    "erased data_asked data_extended data_stopped data_done data_refused data_lifting data_lifted use_allowed",
    "use_ended second_erased cancelled cancel_declared cancel_overruled cancellation_taken_back",
}
DATA = {"ended": {"ending": "collected"}, "contact_changed": {"contact": "owner"}}


def test_every_event_of_the_journal_was_looked_at() -> None:
    looked_at = {name for name, _audience in USES} | {name for line in NO_USE for name in line.split()}

    assert looked_at == set(_BENCH)


@pytest.mark.parametrize(("event", "audience"), USES)
def test_what_uses_the_data_is_told(event: str, audience: str) -> None:
    assert restriction.use_of(Event(event, DATA.get(event, {})), audience) is USES[event, audience]


@pytest.mark.parametrize("event", sorted(name for line in NO_USE for name in line.split()))
def test_what_stores_it_is_none(event: str) -> None:
    for audience in ("bench", "customer"):
        assert restriction.use_of(Event(event, DATA.get(event, {})), audience) is None


@pytest.mark.parametrize("event", ["noted", "corrected", "question_drafted", "photographed", "photos_paired"])
def test_what_stays_with_the_bench_is_none(event: str) -> None:
    assert restriction.use_of(Event(event), "bench") is None


def test_posting_takes_the_address_to_a_carrier_and_collecting_does_not() -> None:
    assert restriction.use_of(Event("ended", {"ending": "posted back"}), "customer") is Use.POST
    assert restriction.use_of(Event("ended", {"ending": "collected"}), "customer") is None


def test_a_second_person_who_is_named_reads_it() -> None:
    assert restriction.use_of(Event("contact_changed", {"contact": "second"}), "bench") is Use.DISCLOSE


@pytest.mark.parametrize("use", Use)
def test_a_refusal_says_since_when_why_and_what_may_be_done(use: Use) -> None:
    with pytest.raises(Refused) as refused:
        restriction.must_be_allowed({use}, set(), SINCE)

    (reason,) = map(str, refused.value.reasons)
    for words in ("2026-03-02", "Art. 18 GDPR", "agree to it", "claim", "somebody else", "ends the restriction"):
        assert words in reason


def test_every_reason_is_told_at_once() -> None:
    with pytest.raises(Refused) as refused:
        restriction.must_be_allowed({Use.WRITE, Use.PHOTO, Use.POST}, {Use.POST}, SINCE)

    assert len(refused.value.reasons) == 2


@pytest.mark.parametrize("use", Use)
def test_what_is_allowed_goes_through(use: Use) -> None:
    restriction.must_be_allowed({use}, {use}, SINCE)
    restriction.must_be_allowed(set(), set(), SINCE)


def test_three_grounds_of_the_law_and_words_for_all() -> None:
    """Art. 18(2) GDPR; public interest is no ground that a repair shop has."""
    assert set(GROUND_WORDS) == set(Ground) == {"consent", "claim", "others"}
    assert set(USE_WORDS) == set(Use)


@pytest.mark.parametrize(("read", "field"), [(restriction.use, "uses"), (restriction.ground, "ground")])
def test_what_is_none_of_them_does_not_fit(read, field: str) -> None:
    with pytest.raises(Unfit) as unfit:
        read("gossip")

    assert unfit.value.field == field
