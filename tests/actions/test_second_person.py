"""What is held of a visit's second person is theirs: told to them, erased for them, and never to the owner's harm."""

from __future__ import annotations

import io
import json
import shutil
import zipfile
from datetime import timedelta
from pathlib import Path
from random import Random

import pytest

from notifications.instants import FixedClock
from portal.actions import archives, conversation, erasure, rights
from portal.actions.contacts import ContactTyped, change_contact
from portal.actions.desk import CUSTOMER, Desk, NotFound
from portal.actions.handover import return_unrepaired
from portal.actions.rights import Asked
from portal.letters.disclosure import packed
from portal.links import Links
from portal.main import Installation
from portal.rules.conversation import Writer
from portal.rules.refusals import Refused, Unfit
from portal.rules.retention import Kept
from portal.store import disclosure, keeping, visits
from portal.store import rights as rows
from portal.store.engine import open_engine, sqlite_url
from portal.store.ledger import FileLedger
from portal.store.photo_files import PhotoFiles
from tests.actions.aftermath import everything, messages, ticket_of
from tests.conftest import BENCH


@pytest.fixture
def files(tmp_path: Path) -> PhotoFiles:
    return PhotoFiles(str(tmp_path / "photos"))


@pytest.fixture
def shared(desk: Desk, files: PhotoFiles, number: str) -> str:
    """A repair with a second person, who wrote something on their page."""
    change_contact(desk, BENCH, number, "second", ContactTyped("Ben Oakes", "ben@example.org", may_be_told=True))
    conversation.write(desk, files, number, Writer.SECOND, "Please ring me after five.")
    conversation.write(desk, files, number, Writer.OWNER, "It is blue.")
    return number


def roles(desk: Desk, number: str) -> list[str]:
    with desk.reading() as connection:
        return [each.role for each in visits.contacts_of(connection, ticket_of(desk, number).visit_id)]


def recipients(desk: Desk, event: str) -> set[str]:
    tables = everything(desk)
    return {row for row in map(str, tables["outbox"]) if event in row}


def test_all_that_is_held_of_them_and_nothing_of_the_owner(desk: Desk, files: PhotoFiles, shared: str) -> None:
    """Art. 15(1), (3) and (4) GDPR."""
    rights.enter(desk, BENCH, Asked("access", "mail", number=shared, words="And of me?", whose="second"))
    with zipfile.ZipFile(io.BytesIO(packed(desk, files, shared, "second"))) as bundle:
        told = json.loads(bundle.read("data.json"))
        page = bundle.read("read-me.html").decode()

    assert [row["email"] for row in told["contacts"]] == ["ben@example.org"]
    assert [row["text"] for row in told["journal"]] == ["Please ring me after five."]
    assert [row["words"] for row in told["requests"]] == ["And of me?"]
    assert {row["event"] for row in told["outbox"]} >= {"link_again", "request_told"}
    assert "second person named with the repairs" in page
    for of_the_owner in ("ada@example.org", "Ada Marsh", "It is blue.", "Handheld console"):
        assert of_the_owner not in json.dumps(told)
        assert of_the_owner not in page


def test_the_owners_copy_holds_neither_their_requests_nor_what_was_sent_to_them(desk: Desk, shared: str) -> None:
    rights.enter(desk, BENCH, Asked("access", "mail", number=shared, words="And of me?", whose="second"))
    with desk.reading() as connection:
        told = disclosure.of_visit(connection, ticket_of(desk, shared).visit_id)

    assert "requests" not in told
    assert "ben@example.org" not in repr(told)
    assert "link_again" not in {row["event"] for row in told["outbox"]}


def test_where_there_is_none_it_is_said_so(desk: Desk, files: PhotoFiles, number: str) -> None:
    with pytest.raises(NotFound, match="No second person"):
        packed(desk, files, number, "second")
    with pytest.raises(Unfit) as unfit:
        rights.enter(desk, BENCH, Asked("access", "mail", number=number, whose="second"))
    assert unfit.value.field == "whose"
    with pytest.raises(Unfit):
        rights.enter(desk, BENCH, Asked("access", "mail", number=number, whose="neighbour"))
    with pytest.raises(Refused, match="No second person"):
        erasure.erase_second(desk, BENCH, number, "Asked for.")


def test_what_becomes_of_their_request_is_told_to_them_and_not_to_the_owner(desk: Desk, shared: str) -> None:
    rights.enter(desk, BENCH, Asked("access", "mail", number=shared, whose="second"))
    with desk.reading() as connection:
        owner, second = visits.contacts_of(connection, ticket_of(desk, shared).visit_id)

    (told,) = recipients(desk, "request_told")
    assert second.ref in told
    assert owner.ref not in told


def test_both_may_ask_the_same_on_their_pages(desk: Desk, shared: str) -> None:
    for whose in ("owner", "second"):
        rights.enter(desk, CUSTOMER, Asked("access", "page", number=shared, whose=whose))
    with desk.reading() as connection:
        asked = rows.of_visit(connection, ticket_of(desk, shared).visit_id)
    assert [each.whose for each in asked] == ["owner", "second"]


@pytest.mark.parametrize("right", ["restriction", "objection"])
def test_their_restriction_or_objection_silences_them_and_leaves_the_owner_as_it_was(
    desk: Desk, shared: str, right: str
) -> None:
    ref = rights.enter(desk, BENCH, Asked(right, "mail", number=shared, whose="second"))
    rights.settle(desk, BENCH, ref, "done", "As you ask.")

    with desk.reading() as connection:
        owner, second = visits.contacts_of(connection, ticket_of(desk, shared).visit_id)
        assert visits.by_id(connection, owner.visit_id).restricted_at is None
        assert not rights.of(connection, ref).restricts
    assert (second.wants, second.no_reminders) == ("none", True)
    assert (owner.wants, owner.no_reminders) == ("all", False)


def test_they_are_erased_while_the_device_is_still_here_and_the_owner_stays(desk: Desk, shared: str) -> None:
    told = erasure.erase_second(desk, BENCH, shared, "Asked for by mail.")

    assert (told.second_person, set(told.gone)) == (True, {Kept.CONTACT, Kept.MESSAGE, Kept.PUSH})
    assert roles(desk, shared) == ["owner"]
    after = repr(everything(desk))
    for of_them in ("ben@example.org", "Ben Oakes"):
        assert of_them not in after
    assert "ada@example.org" in after
    assert {event for event, *_rest in messages(desk)} == {"taken_in"}
    with desk.reading() as connection:
        (counted,) = keeping.purged(connection)
    assert (counted.kept, counted.count) == (Kept.CONTACT, 1)


def test_what_they_wrote_about_the_repair_stays_in_its_record_and_it_is_said_so(desk: Desk, shared: str) -> None:
    """Art. 17(3)(e) GDPR."""
    erasure.erase_second(desk, BENCH, shared, "Asked for by mail.")

    assert "Please ring me after five." in repr(everything(desk))
    assert "stays in its record" in str(erasure.SECOND_STAYS)


def test_the_same_form_twice_erases_once(desk: Desk, shared: str) -> None:
    key = "k" * 32
    erasure.erase_second(desk, BENCH, shared, "Asked for.", deed_key=key)
    before = everything(desk)

    assert erasure.erase_second(desk, BENCH, shared, "Asked for.", deed_key=key).second_person
    assert everything(desk) == before


def test_an_erasure_of_the_visit_covers_them_too(desk: Desk, files: PhotoFiles, shared: str) -> None:
    return_unrepaired(desk, BENCH, shared, "Beyond repair.")

    assert erasure.erase(desk, files, BENCH, shared, "Asked for by mail.").second_person
    assert "ben@example.org" not in repr(everything(desk))


def test_they_do_not_come_back_from_an_archive(
    installation: Installation, number: str, clock: FixedClock, tmp_path: Path, sqlite_template: Path
) -> None:
    desk = installation.desk
    change_contact(desk, BENCH, number, "second", ContactTyped("Ben Oakes", "ben@example.org", may_be_told=True))
    archives.make(desk, installation.photo_files, tmp_path / "shop.sqlite")
    clock.at += timedelta(hours=1)
    erasure.erase_second(desk, BENCH, number, "Asked for by mail.")
    assert isinstance(desk.ledger, FileLedger)

    other = _empty_desk(tmp_path, sqlite_template, clock, desk)
    archives.restore(other, PhotoFiles(str(tmp_path / "elsewhere")), tmp_path / "shop.sqlite")

    assert roles(other, number) == ["owner"]
    assert "ben@example.org" not in repr(everything(other))
    other.engine.dispose()


def _empty_desk(tmp_path: Path, template: Path, clock: FixedClock, known: Desk) -> Desk:
    file = tmp_path / "other.db"
    shutil.copyfile(template, file)
    return Desk(
        open_engine(sqlite_url(file)), clock, Links("https://b.example", b"s" * 32), Random(1), ledger=known.ledger
    )
