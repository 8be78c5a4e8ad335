"""Accepting the terms: kept with who, when, how and which version; once; and never by silence."""

from __future__ import annotations

import pytest

from portal import resources
from portal.actions.desk import CLOCK, COMMAND, CUSTOMER, By, Desk, NotFound
from portal.actions.intake import TakenIn
from portal.actions.shop import load_policy
from portal.actions.terms import accept_terms
from portal.rules.refusals import Refused, Unfit
from portal.store import acceptances, visits
from portal.store.acceptances import Acceptance

DEFAULT = resources.default_policy().read_text(encoding="utf-8")
SIGNATURE = [[[10, 20], [30, 40.5]], [[500, 500]]]


def accepted(desk: Desk, taken_in: TakenIn) -> list[Acceptance]:
    with desk.reading() as connection:
        visit = visits.by_ref(connection, taken_in.visit_ref)
        assert visit is not None
        return acceptances.of_visit(connection, visit.id)


def test_a_visit_begins_with_nothing_accepted(desk: Desk, taken_in: TakenIn):
    assert accepted(desk, taken_in) == []


def test_a_tick_at_the_counter_is_kept_with_who_saw_it(desk: Desk, taken_in: TakenIn, technician: By):
    assert accept_terms(desk, technician, taken_in.visit_ref, "draft-1", "tick")

    now = desk.clock.now()
    assert accepted(desk, taken_in) == [Acceptance("draft-1", 1, "en", "tick", "staff", technician.staff_id, now, None)]


def test_a_signature_is_kept_as_drawn(desk: Desk, taken_in: TakenIn, technician: By):
    accept_terms(desk, technician, taken_in.visit_ref, "draft-1", "signature", strokes=SIGNATURE)

    assert accepted(desk, taken_in)[0].strokes == [[[10, 20], [30, 40]], [[500, 500]]]


def test_customers_accept_on_their_page_in_the_language_they_read(desk: Desk, taken_in: TakenIn):
    accept_terms(desk, CUSTOMER, taken_in.visit_ref, "draft-1", "page", language="de")

    [kept] = accepted(desk, taken_in)
    assert (kept.how, kept.by_kind, kept.language) == ("page", "customer", "de")


def test_accepting_twice_keeps_the_first(desk: Desk, taken_in: TakenIn, technician: By):
    assert accept_terms(desk, technician, taken_in.visit_ref, "draft-1", "tick")
    assert not accept_terms(desk, CUSTOMER, taken_in.visit_ref, "draft-1", "page")

    assert [kept.how for kept in accepted(desk, taken_in)] == ["tick"]


def test_accepting_is_seen_on_the_customers_page(desk: Desk, taken_in: TakenIn):
    def revision() -> int:
        with desk.reading() as connection:
            visit = visits.by_ref(connection, taken_in.visit_ref)
            assert visit is not None
            return visit.revision

    before = revision()
    accept_terms(desk, CUSTOMER, taken_in.visit_ref, "draft-1", "page")
    after = revision()
    accept_terms(desk, CUSTOMER, taken_in.visit_ref, "draft-1", "page")

    assert (after, revision()) == (before + 1, before + 1)


def test_terms_that_are_no_longer_in_force_cannot_be_accepted(desk: Desk, taken_in: TakenIn):
    load_policy(desk, COMMAND, DEFAULT.replace('"draft-1"', '"draft-2"'))

    with pytest.raises(Refused, match="version draft-2 is in force, and you saw draft-1"):
        accept_terms(desk, CUSTOMER, taken_in.visit_ref, "draft-1", "page")
    assert accepted(desk, taken_in) == []


def test_new_terms_are_accepted_beside_the_old(desk: Desk, taken_in: TakenIn):
    accept_terms(desk, CUSTOMER, taken_in.visit_ref, "draft-1", "page")
    load_policy(desk, COMMAND, DEFAULT.replace('"draft-1"', '"draft-2"'))
    accept_terms(desk, CUSTOMER, taken_in.visit_ref, "draft-2", "page")

    assert [(kept.terms_version, kept.policy_revision) for kept in accepted(desk, taken_in)] == [
        ("draft-1", 1),
        ("draft-2", 2),
    ]


def test_a_shop_without_terms_has_none_to_accept(desk: Desk, taken_in: TakenIn):
    load_policy(desk, COMMAND, DEFAULT[: DEFAULT.index("[terms]")])

    with pytest.raises(Refused, match="no terms"):
        accept_terms(desk, CUSTOMER, taken_in.visit_ref, "draft-1", "page")


NOT_ALLOWED = [(CLOCK, "tick"), (CUSTOMER, "tick"), (COMMAND, "page"), (COMMAND, "signature"), (CUSTOMER, "silence")]


@pytest.mark.parametrize(("by", "how"), NOT_ALLOWED, ids=lambda value: getattr(value, "kind", value))
def test_terms_are_accepted_only_in_ways_that_are_an_express_yes(desk: Desk, taken_in: TakenIn, by: By, how: str):
    with pytest.raises(Refused, match=f"not accepted by “{how}” here"):
        accept_terms(desk, by, taken_in.visit_ref, "draft-1", how)
    assert accepted(desk, taken_in) == []


def test_an_empty_box_is_no_signature(desk: Desk, taken_in: TakenIn):
    with pytest.raises(Unfit, match="no signature"):
        accept_terms(desk, CUSTOMER, taken_in.visit_ref, "draft-1", "signature", strokes=[])
    assert accepted(desk, taken_in) == []


def test_a_language_the_shop_does_not_write_was_not_read(desk: Desk, taken_in: TakenIn):
    with pytest.raises(Unfit, match="does not write “fr”"):
        accept_terms(desk, CUSTOMER, taken_in.visit_ref, "draft-1", "page", language="fr")


def test_an_unknown_visit_is_not_found(desk: Desk):
    with pytest.raises(NotFound):
        accept_terms(desk, CUSTOMER, "0000000000", "draft-1", "page")


def test_what_was_accepted_can_be_erased(desk: Desk, taken_in: TakenIn):
    accept_terms(desk, CUSTOMER, taken_in.visit_ref, "draft-1", "signature", strokes=SIGNATURE)

    with desk.writing() as connection:
        visit = visits.by_ref(connection, taken_in.visit_ref)
        assert visit is not None
        assert acceptances.forget(connection, visit.id) == 1
    assert accepted(desk, taken_in) == []
