"""What is said of a photo is put right afterwards."""

from __future__ import annotations

import pytest

from portal.actions import conversation, photo_pairs
from portal.actions import photo_words as deeds
from portal.actions import photos as photo_deeds
from portal.actions.desk import Desk, NotFound
from portal.actions.intake import NewVisit, take_in
from portal.pictures import worker
from portal.rules.conversation import Writer
from portal.rules.refusals import Refused, Unfit
from portal.store import journal, photos
from portal.store.photo_files import PhotoFiles
from portal.store.photos import Photo
from tests.actions.aftermath import messages, ticket_of
from tests.actions.photo_shelf import keep, kept
from tests.conftest import BENCH


def describe(desk: Desk, number: str, photo: Photo, **said: str) -> None:
    """Change what is said; whatever is not told stays."""
    fields = {name: getattr(photo, name) or "" for name in ("moment", "caption", "stage", "audience")}
    deeds.describe(desk, BENCH, number, photo.ref, **fields | said)


def last_event(desk: Desk, number: str) -> str:
    with desk.reading() as connection:
        return journal.entries(connection, ticket_of(desk, number).id)[-1].event


def test_everything_said_of_it_can_be_changed(desk: Desk, files: PhotoFiles, number: str, before) -> None:
    keep(desk, files, number, before, "other")
    (photo,) = kept(desk, number)
    stage = "cleaning"

    describe(desk, number, photo, moment="before", caption="The  socket", stage=stage, audience="bench")

    (now,) = kept(desk, number)
    assert (now.ref, now.moment, now.caption, now.stage, now.audience) == (
        photo.ref,
        "before",
        "The socket",
        stage,
        "bench",
    )
    assert last_event(desk, number) == "photo_described"


def test_the_customer_is_told_only_of_what_they_may_see_from_now_on(
    desk: Desk, files: PhotoFiles, number: str, before
) -> None:
    photo_deeds.keep(desk, files, BENCH, number, before, audience="bench")
    (photo,) = kept(desk, number)
    told = len(messages(desk))

    describe(desk, number, photo, caption="Nearer")
    assert len(messages(desk)) == told
    describe(desk, number, photo, audience="customer")

    ticket = ticket_of(desk, number)
    assert messages(desk)[told:] == [("noted", ticket.ref, {"entry": ticket.revision})]
    assert last_event(desk, number) == "photo_released"
    describe(desk, number, kept(desk, number)[0], caption="Nearer still")
    assert len(messages(desk)) == told + 1


def test_a_photo_in_a_pair_stays_of_its_moment(desk: Desk, files: PhotoFiles, number: str, before, after) -> None:
    first, second = keep(desk, files, number, before, "before"), keep(desk, files, number, after, "after")
    photo_pairs.keep(desk, files, BENCH, number, first, second, None)
    (photo, _other) = kept(desk, number)

    with pytest.raises(Refused, match="in a pair"):
        describe(desk, number, photo, moment="other")

    describe(desk, number, photo, caption="As it came")
    assert kept(desk, number)[0].caption == "As it came"


def test_what_the_customer_sent_stays_theirs_to_see(desk: Desk, files: PhotoFiles, number: str, before) -> None:
    conversation.write(desk, files, number, Writer.OWNER, "Look", photo=before.large, confirmed=True)
    worker.dismiss()
    (photo,) = kept(desk, number)

    with pytest.raises(Unfit, match="stays theirs") as found:
        describe(desk, number, photo, audience="bench")

    assert found.value.field == "audience"


@pytest.mark.parametrize(
    ("field", "value"),
    [("moment", "never"), ("stage", "nowhere"), ("audience", "everybody"), ("caption", "x" * 121)],
)
def test_what_does_not_fit_is_refused_at_its_field(
    desk: Desk, files: PhotoFiles, number: str, before, field: str, value: str
) -> None:
    keep(desk, files, number, before, "other")
    (photo,) = kept(desk, number)

    with pytest.raises(Unfit) as found:
        describe(desk, number, photo, **{field: value})

    assert found.value.field == field
    assert kept(desk, number) == [photo]


def test_a_stage_that_the_shop_has_no_more_may_stay(desk: Desk, files: PhotoFiles, number: str, before) -> None:
    keep(desk, files, number, before, "other")
    (photo,) = kept(desk, number)
    with desk.writing() as connection:
        photos.change(connection, photo.ref, {"stage": "once"})
    (photo,) = kept(desk, number)

    describe(desk, number, photo, caption="Old")

    assert kept(desk, number)[0].stage == "once"


def test_another_repairs_photo_is_not_found(
    desk: Desk, files: PhotoFiles, number: str, arrival: NewVisit, before
) -> None:
    keep(desk, files, number, before, "other")
    other = take_in(desk, BENCH, arrival).numbers[0]

    with pytest.raises(NotFound):
        describe(desk, other, kept(desk, number)[0], caption="Mine")
