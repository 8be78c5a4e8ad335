"""While data is only stored, no deed uses it, unless its owner agrees, or a claim or another's rights need it.

GDPR Art. 18(2) and (3).
"""

from __future__ import annotations

from collections.abc import Callable
from datetime import timedelta

import pytest

from notifications.instants import FixedClock
from portal.actions import own_data, photos, questions, restriction, rights
from portal.actions import publication as publishing
from portal.actions.contacts import ContactTyped, change_contact
from portal.actions.desk import COMMAND, CUSTOMER, By, Desk
from portal.actions.handover import hand_over, return_unrepaired
from portal.actions.moves import hold
from portal.actions.notes import note
from portal.actions.posting import Packed, post_back
from portal.actions.return_ways import Wanted, choose
from portal.actions.rights import Asked
from portal.rules.offers import TypedLine, TypedOffer, TypedOption
from portal.rules.posting import PACKING
from portal.rules.refusals import Refused, Unfit
from portal.rules.restriction import Ground, Use
from portal.store import keeping, visits
from portal.store import rights as rows
from portal.store.photo_files import PhotoFiles
from tests.actions.aftermath import assert_the_journal_rebuilds_the_row, everything, journal_of, messages, ticket_of
from tests.actions.bench import bring_to, with_code
from tests.conftest import BENCH
from tests.pictures.samples import sharp

EXTRA = TypedOffer(found="", options=[TypedOption("New port", [TypedLine("Port", "1", "18.50")])])
PACKED = Packed("The town’s carrier", "QH 0042", "2026-03-02", tuple(PACKING))


@pytest.fixture
def restricted(desk: Desk, number: str) -> str:
    """A repair whose owner has its data only stored."""
    own_data.restrict(desk, number)
    return number


def allowed(desk: Desk, number: str) -> dict[Use, Ground]:
    with desk.reading() as connection:
        return {each.use: each.ground for each in rows.allowed_uses_of(connection, ticket_of(desk, number).visit_id)}


def stands(desk: Desk, number: str) -> bool:
    with desk.reading() as connection:
        return visits.by_id(connection, ticket_of(desk, number).visit_id).restricted_at is not None


def request_of(desk: Desk, number: str) -> rows.Kept:
    with desk.reading() as connection:
        return next(each for each in rows.of_visit(connection, ticket_of(desk, number).visit_id) if each.restricts)


def write_to_them(desk: Desk, by: By, number: str, files: PhotoFiles) -> None:
    note(desk, by, number, "It is open on the bench.", audience="customer")


def ask_for_money(desk: Desk, by: By, number: str, files: PhotoFiles) -> None:
    questions.draft(desk, by, number, EXTRA, put_at_once=True)


def photograph_for_them(desk: Desk, by: By, number: str, files: PhotoFiles) -> None:
    photos.add(desk, files, by, number, sharp())


def name_a_second(desk: Desk, by: By, number: str, files: PhotoFiles) -> None:
    change_contact(desk, by, number, "second", ContactTyped("Bo", "bo@example.org", may_be_told=True))


def publish(desk: Desk, by: By, number: str, files: PhotoFiles) -> None:
    publishing.allow(desk, by, number)


USES: list[tuple[Use, Callable[[Desk, By, str, PhotoFiles], None]]] = [
    (Use.WRITE, write_to_them),
    (Use.WRITE, ask_for_money),
    (Use.PHOTO, photograph_for_them),
    (Use.DISCLOSE, name_a_second),
    (Use.PUBLISH, publish),
]


@pytest.mark.parametrize(("use", "deed"), USES)
@pytest.mark.parametrize("by", [BENCH, COMMAND], ids=["bench", "command"])
def test_a_deed_that_would_use_it_is_refused_whole_and_goes_through_once_it_is_allowed(
    desk: Desk, restricted: str, files: PhotoFiles, use: Use, deed: Callable, by: By
) -> None:
    before = everything(desk)
    with pytest.raises(Refused, match="only stored since 2026-03-02"):
        deed(desk, by, restricted, files)
    assert everything(desk) == before
    assert not list(files.all())

    restriction.allow_uses(desk, BENCH, restricted, [use], "consent", "Said so at the counter.")
    deed(desk, by, restricted, files)

    assert_the_journal_rebuilds_the_row(desk, restricted)


def test_posting_back_is_refused_and_goes_through_once_it_is_allowed(desk: Desk, number: str) -> None:
    bring_to(desk, number, "ready")
    choose(desk, CUSTOMER, number, Wanted("post", address="12 Harbour Rise\nQuayhaven", confirmed=True))
    own_data.restrict(desk, number)
    with pytest.raises(Refused, match="a carrier would get their address"):
        post_back(desk, BENCH, number, PACKED)

    restriction.allow_uses(desk, BENCH, number, ["post"], "consent", "Asked for it by telephone.")
    post_back(desk, BENCH, number, PACKED)

    assert ticket_of(desk, number).ending == "posted back"


def test_storing_moving_on_and_giving_back_stay_possible(desk: Desk, restricted: str, files: PhotoFiles) -> None:
    note(desk, BENCH, restricted, "Cracked joint.")
    photos.add(desk, files, BENCH, restricted, sharp(), audience="bench")
    hold(desk, BENCH, restricted, "part")
    hold(desk, BENCH, restricted, "none")
    bring_to(desk, restricted, "ready")
    hand_over(desk, BENCH, restricted, with_code(desk, restricted))

    assert ticket_of(desk, restricted).ending == "collected"


def test_what_its_person_does_is_with_their_consent(desk: Desk, restricted: str) -> None:
    publishing.allow(desk, CUSTOMER, restricted)

    assert journal_of(desk, restricted)[-1].event == "publication_allowed"


def test_without_a_restriction_nothing_is_refused_or_needs_to_be_allowed(desk: Desk, number: str) -> None:
    with pytest.raises(Refused, match="No restriction stands"):
        restriction.allow_uses(desk, BENCH, number, ["write"], "consent", "Said so.")


@pytest.mark.parametrize(
    ("uses", "ground", "why", "field"),
    [
        ([], "consent", "Said so.", "uses"),
        (["write", "gossip"], "consent", "Said so.", "uses"),
        (["write"], "", "Said so.", "ground"),
        (["write"], "because", "Said so.", "ground"),
        (["write"], "claim", " ", "why"),
        (["write"], "claim", "x" * 401, "why"),
    ],
)
def test_what_does_not_fit_allows_nothing(
    desk: Desk, restricted: str, uses: list[str], ground: str, why: str, field: str
) -> None:
    before = everything(desk)
    with pytest.raises(Unfit) as unfit:
        restriction.allow_uses(desk, BENCH, restricted, uses, ground, why)

    assert unfit.value.field == field
    assert everything(desk) == before


def test_several_uses_at_once_the_same_again_with_another_ground_and_taken_back(desk: Desk, restricted: str) -> None:
    restriction.allow_uses(desk, BENCH, restricted, ["write", "photo", "write"], "consent", "Said so.")
    restriction.allow_uses(desk, BENCH, restricted, ["write"], "claim", "They want the money back.")
    assert allowed(desk, restricted) == {Use.WRITE: Ground.CLAIM, Use.PHOTO: Ground.CONSENT}

    restriction.end_use(desk, BENCH, restricted, "write")

    assert allowed(desk, restricted) == {Use.PHOTO: Ground.CONSENT}
    with pytest.raises(Refused, match="nothing to take back"):
        restriction.end_use(desk, BENCH, restricted, "write")
    with pytest.raises(Refused, match="nothing is written to them"):
        note(desk, BENCH, restricted, "It is open.", audience="customer")
    assert [entry.audience for entry in journal_of(desk, restricted)[-4:]] == ["bench"] * 4


def test_a_second_device_of_the_visit_is_restricted_as_well(desk: Desk, restricted: str) -> None:
    with desk.reading() as connection:
        visit_id = ticket_of(desk, restricted).visit_id
        assert visits.by_id(connection, visit_id).restricted_at is not None


def test_the_person_is_told_a_day_before_a_restriction_ends(desk: Desk, restricted: str, clock: FixedClock) -> None:
    """Art. 18(3) GDPR: they are informed before it is lifted."""
    restriction.allow_uses(desk, BENCH, restricted, ["write"], "consent", "Said so.")
    rights.announce_end(desk, BENCH, request_of(desk, restricted).ref)
    assert messages(desk)[-1][2]["what"] == "lifting"
    with pytest.raises(Refused, match="told already"):
        rights.announce_end(desk, BENCH, request_of(desk, restricted).ref)

    clock.at += timedelta(days=5)
    assert rights.end_announced(desk, clock.now()) == (1, 0)  # nothing has gone out to them yet
    assert stands(desk, restricted)


def test_nobody_who_cannot_be_told_is_told(desk: Desk, restricted: str) -> None:
    change_contact(desk, BENCH, restricted, "owner", ContactTyped("Ada Marsh"))
    before = everything(desk)

    with pytest.raises(Refused, match="Tell them yourself"):
        rights.announce_end(desk, BENCH, request_of(desk, restricted).ref)
    assert everything(desk) == before


def test_the_keeper_who_told_them_says_how_and_ends_it_at_once(desk: Desk, restricted: str) -> None:
    ref = request_of(desk, restricted).ref
    restriction.allow_uses(desk, BENCH, restricted, ["write"], "consent", "Said so.")
    with pytest.raises(Unfit) as unfit:
        rights.lift(desk, BENCH, ref, "")
    assert unfit.value.field == "told"

    rights.lift(desk, BENCH, ref, "By letter of 1 March.")

    assert not stands(desk, restricted)
    assert allowed(desk, restricted) == {}
    with desk.reading() as connection:
        assert rights.of(connection, ref).lift_told == "By letter of 1 March."
    note(desk, BENCH, restricted, "It is open.", audience="customer")


def test_a_year_later_somebody_looks_again_whoever_asked_for_it(desk: Desk, restricted: str, clock: FixedClock) -> None:
    """Recital 39 GDPR: never for ever; and Art. 18: not erased behind the back of who wanted it kept."""
    return_unrepaired(desk, BENCH, restricted, "Beyond repair.")

    def soon() -> set[str]:
        with desk.reading() as connection:
            today = clock.now().date()
            found = keeping.lapsing(connection, today, today + timedelta(days=14))
        return {each.number for each in found}

    assert soon() == set()
    clock.at += timedelta(days=355)
    assert soon() == {ticket_of(desk, restricted).number}


def test_its_owner_ends_it_themselves(desk: Desk, restricted: str) -> None:
    own_data.use_again(desk, restricted)

    assert not stands(desk, restricted)
    assert journal_of(desk, restricted)[-1].event == "data_lifted"
    with pytest.raises(Refused, match="no restriction in force"):
        own_data.use_again(desk, restricted)


def test_of_two_restrictions_the_last_that_ends_ends_it(desk: Desk, restricted: str) -> None:
    second = rights.enter(desk, BENCH, Asked("restriction", "mail", number=restricted))
    rights.settle(desk, BENCH, second, "done", "As you ask.")

    rights.lift(desk, BENCH, second, "By telephone.")
    assert stands(desk, restricted)

    own_data.use_again(desk, restricted)
    assert not stands(desk, restricted)


def test_the_words_of_a_ground_go_with_the_persons_record(desk: Desk, restricted: str) -> None:
    restriction.allow_uses(desk, BENCH, restricted, ["write"], "claim", "Ada Marsh wants her money back.")
    with desk.writing() as connection:
        rows.forget_words(connection, ticket_of(desk, restricted).visit_id)

    assert allowed(desk, restricted) == {}
