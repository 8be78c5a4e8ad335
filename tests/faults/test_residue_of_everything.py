"""Residue: whatever can be written of a repair is written with a mark, and after the last period no byte of it is left.

GDPR (EU) 2016/679 Art. 5(1)(e). Proof and money go last, after six years; then the archives that the clock kept.
"""

from __future__ import annotations

import subprocess
import sys
from datetime import timedelta
from pathlib import Path

import pytest

from notifications.instants import FixedClock
from portal import cli
from portal.actions import (
    answers,
    breaches,
    charges,
    complaints,
    contacts,
    conversation,
    own_data,
    ownership,
    parts,
    pauses,
    payments,
    posting,
    price_terms,
    publication,
    questions,
    record,
    restriction,
    return_ways,
    rights,
    sheet,
    shelf,
    tray,
)
from portal.actions.breaches import Written
from portal.actions.contacts import ContactTyped
from portal.actions.desk import CUSTOMER
from portal.actions.intake import NewDevice, NewVisit, take_in
from portal.actions.parts import Tick
from portal.actions.posting import Packed
from portal.actions.price_terms import TypedTerms
from portal.actions.return_ways import Wanted
from portal.actions.rights import Asked
from portal.main import Installation
from portal.rules.conversation import Writer
from portal.rules.intake_record import Item, Mark, Record
from portal.rules.offers import TypedLine, TypedOffer, TypedOption
from portal.rules.posting import PACKING
from portal.rules.retention import Kept
from portal.rules.summary import SafetyTest
from portal.rules.tray import NewLine
from portal.store.photo_files import LARGE
from tests.actions.bench import bring_to
from tests.conftest import BENCH
from tests.faults.test_residue import SCRIPT, clock, empty_mailbox, house  # noqa: F401 (fixtures)
from tests.pictures.samples import sharp

MARKS: list[str] = []


def mark(name: str) -> str:
    """A mark of its own, so long that no other bytes look like it in base64."""
    MARKS.append(f"qz{name}-{name}zq")
    return MARKS[-1]


def look(folder: Path) -> set[str]:
    """The marks that a search finds which imports nothing of ours."""
    ran = subprocess.run([sys.executable, SCRIPT, folder, *MARKS], capture_output=True, text=True, check=False)
    assert ran.stderr == ""
    return {each for each in MARKS if each in ran.stdout}


def a_life_in_which_everything_happens(house: Installation) -> None:  # noqa: F811
    """Each text that anybody can type about a repair, but for what formal letters say."""
    desk, files, now = house.desk, house.photo_files, house.desk.clock.now()
    visit = NewVisit([NewDevice(mark("device"), mark("fault"))], mark("name"), f"{mark('mail')}@example.org")
    number = take_in(desk, BENCH, visit).numbers[0]
    here = (desk, BENCH, number)
    contacts.change_contact(*here, "second", ContactTyped(mark("second"), f"{mark('other')}@example.org"))
    publication.allow(desk, CUSTOMER, number)
    seen = Record(
        shop_sees=mark("sees"),
        serial=mark("serial"),
        marks=[Mark(mark("scratch"), place=mark("place"))],
        earlier_repair=mark("earlier"),
        items=[Item(mark("item"))],
        carrier=mark("came"),
        parcel_ref=mark("parcel"),
        answers_note=mark("answers"),
    )
    record.record(*here, seen)
    record.object_to(desk, number, 1, mark("objects"))
    shelf.put(*here, place=mark("shelf"))
    price_terms.agree_terms(*here, TypedTerms("fixed price", "80"), "counter", mark("agreed"))
    offer = TypedOffer(
        found=mark("found"),
        why=mark("needed"),
        options=[TypedOption(mark("option"), [TypedLine(mark("line"), "1", "18.50")])],
    )
    asked = questions.draft(*here, offer, put_at_once=True)
    answers.record(*here, asked.ref, "a", "telephone", mark("who"))
    tray.take_out(*here, [NewLine(mark("screws"), 4, taken_from=mark("board"))])
    tray.end_all(*here, "put back")
    parts.order(*here, mark("part"), mark("supplier"), now.date(), reference=mark("order"))
    parts.settle_delivery(desk, BENCH, [Tick(number, 1, "arrived")])
    parts.give(*here, mark("given"))
    sheet.record_safety_test(*here, SafetyTest(True, mark("tester"), mark("device-no"), now.date().isoformat(), "held"))
    conversation.write(desk, files, number, Writer.OWNER, mark("wrote"), photo=sharp())
    conversation.said(*here, "counter", mark("said"))
    conversation.rang(*here, "reached", mark("rang"))
    ownership.question(*here, mark("claims"))
    ownership.add_to_log(*here, mark("log"))
    ownership.settle(*here, mark("settled"))
    complaints.complain(desk, number, mark("complains"))
    complaints.answer(*here, mark("complaint-answer"), closes=True)
    pauses.pause(*here, [Kept.RECORD], mark("pause"), (now + timedelta(days=30)).date().isoformat())
    own_data.restrict(desk, number)
    restriction.allow_uses(*here, ["post", "write"], "claim", mark("allowed"))
    own_data.use_again(desk, number)
    ref = rights.enter(desk, BENCH, Asked("access", "mail", number=number, words=mark("asked")))
    rights.extend(desk, BENCH, ref, mark("extended"))
    rights.settle(desk, BENCH, ref, "done", mark("answered"))
    breach = breaches.record(desk, BENCH, Written(now, mark("breach"), [Kept.CONTACT], number, measures=mark("done")))
    breaches.close(desk, breach)
    bring_to(desk, number, "ready")
    payments.take(*here, payments.Typed("40", "cash", mark("paid")))
    charges.let_off(*here, "5", mark("let-off"))
    return_ways.choose(desk, CUSTOMER, number, Wanted("post", address=f"{mark('street')}\nQuayhaven", confirmed=True))
    packed = Packed(mark("carrier"), mark("tracking"), now.date().isoformat(), tuple(PACKING), mark("unsettled"))
    posting.post_back(*here, packed, confirmed=True)
    posting.arrived(*here, now.date().isoformat())
    list(house.sweep())


@pytest.fixture(autouse=True)
def no_marks() -> None:
    MARKS.clear()


def test_everything_that_was_written_is_there_and_after_seven_years_nothing_of_it(
    house: Installation,  # noqa: F811
    clock: FixedClock,  # noqa: F811
    tmp_path: Path,
) -> None:
    a_life_in_which_everything_happens(house)
    empty_mailbox(house)
    photos_kept = [ref for ref, _path, _written in house.photo_files.all()]
    assert look(house.settings.data) == set(MARKS)
    assert any(house.photo_files.read(ref, LARGE) for ref in photos_kept if ref)
    house.engine.dispose()
    later = (clock.now() + timedelta(days=7 * 366)).isoformat()

    assert cli.main(["--data", str(tmp_path), "retention", "--at", later, "--apply"]) == 0

    assert look(house.settings.data) == set()
    assert list(house.photo_files.all()) == []
