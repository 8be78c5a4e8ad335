"""`retention`, `disclose`, `erase`, `archive`, `restore`, `release`: what scripts and keepers rely on."""

from __future__ import annotations

import io
import json
import sqlite3
import zipfile
from pathlib import Path

import pytest

from portal.actions.contacts import ContactTyped, change_contact
from portal.actions.desk import COMMAND
from portal.main import open_installation
from tests.conftest import Run

EMAIL = "ada@example.org"


@pytest.fixture
def number(shop: Run) -> str:
    added = shop("ticket", "add", "--device", "Radio", "--fault", "Hums", "--name", "Ada", "--email", EMAIL, "--json")
    return json.loads(added[1])["number"]


def test_retention_says_what_is_due_and_applies_it_once(shop: Run, number: str) -> None:
    shop("ticket", "handover", number, "--unrepaired", "--why", "As it came.")
    status, out, _err = shop("retention", "--at", "2036-01-01T00:00:00+00:00", "--json")
    due = {line["kept"]: line["due"] for line in map(json.loads, out.splitlines())}
    assert (status, due["contact"], due["money"]) == (0, 1, 1)

    _status, out, _err = shop("retention", "--at", "2036-01-01T00:00:00+00:00", "--apply", "--json")
    assert {line["kept"]: line["gone"] for line in map(json.loads, out.splitlines())}["contact"] == 1
    _status, out, _err = shop("retention", "--at", "2036-01-01T00:00:00+00:00", "--apply", "--json")
    assert {line["gone"] for line in map(json.loads, out.splitlines())} == {0}


def test_retention_wants_a_zone(shop: Run) -> None:
    assert shop("retention", "--at", "2036-01-01T00:00:00")[0] == 2


def test_a_person_is_handed_all_that_is_held_of_them_and_nothing_of_the_staff(
    shop: Run,
    number: str,
    tmp_path: Path,
) -> None:
    shop("staff", "add", "Robin", "--role", "bench", stdin="violet anvil fjord marmalade\n")
    shop("ticket", "note", number, "A capacitor is dry.")

    status, _out, err = shop("disclose", number, "--to", str(tmp_path / "ada.zip"))

    assert (status, err) == (0, "")
    assert (tmp_path / "ada.zip").stat().st_mode & 0o777 == 0o600
    with zipfile.ZipFile(io.BytesIO((tmp_path / "ada.zip").read_bytes())) as bundle:
        told = json.loads(bundle.read("data.json"))
        page = bundle.read("read-me.html").decode()
        (tmp_path / "data.sqlite").write_bytes(bundle.read("data.sqlite"))
    assert [row["email"] for row in told["contacts"]] == [EMAIL]
    assert [(row["number"], row["device"], row["fault"]) for row in told["tickets"]] == [
        (number.replace("-", ""), "Radio", "Hums")
    ]
    assert "A capacitor is dry." in [row["text"] for row in told["journal"]]
    assert "violet" not in json.dumps(told)
    assert "by_staff" not in json.dumps(told)
    # Art. 15(1)(a), (c), (d): purposes, recipients, period, beside the copy itself.
    assert "Radio" in page
    assert "to post the device back, to give it to whom you send" in page
    assert "the carrier that takes the parcel" in page
    with sqlite3.connect(tmp_path / "data.sqlite") as plain:
        assert plain.execute("SELECT email FROM contacts").fetchone() == (EMAIL,)
    plain.close()


def test_erase_refuses_while_the_device_is_here_and_says_what_stays_after(shop: Run, number: str) -> None:
    status, _out, err = shop("erase", number, "--why", "asked for")
    assert status == 1
    assert "still needed" in err

    shop("ticket", "handover", number, "--unrepaired", "--why", "As it came.")
    status, out, _err = shop("erase", number, "--why", "asked for")

    assert status == 0
    assert "gone: Name, e-mail address, telephone number, language" in out
    assert "stays until" in out
    assert "Limitation Act" in out


def test_a_shop_is_archived_restored_elsewhere_and_held_until_released(
    shop: Run,
    number: str,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    file, elsewhere = tmp_path / "shop.sqlite", tmp_path / "elsewhere"
    status, out, _err = shop("archive", str(file))
    assert status == 0
    assert "rows" in out
    monkeypatch.setenv("BENCHWINDOW_DATA", str(elsewhere))

    status, out, err = shop("restore", str(file))

    assert status == 0
    assert "links and logins from before are dead" in err
    assert [ticket["number"] for ticket in json.loads(shop("tickets", "--json")[1])] == [number]
    assert json.loads(shop("sweep", "send")[1])["looked_at"] == 0
    assert shop("release", "--send")[1] == "1 messages will be sent.\n"
    assert json.loads(shop("sweep", "send")[1])["done"] == 1
    assert shop("release", "--send")[0] == 1


def test_an_archive_is_tried_out_and_doctor_says_when(shop: Run, number: str, tmp_path: Path) -> None:
    assert "none was made yet" in shop("doctor")[1]
    shop("archive", str(tmp_path / "shop.sqlite"))
    assert "brought back in a test: never" in shop("doctor")[1]

    status, out, _err = shop("restore", "--test", str(tmp_path / "shop.sqlite"))

    assert status == 0
    assert "1 tickets" in out
    assert "brought back in a test 20" in shop("doctor")[1]
    assert shop("restore", "--test")[0] == 1  # no night has made one
    assert shop("restore")[0] == 2


def test_release_wants_to_know_which(shop: Run) -> None:
    assert shop("release")[0] == 2


def test_a_foreign_file_is_refused_in_one_line(run: Run, tmp_path: Path) -> None:
    (tmp_path / "letter.txt").write_text("Dear shop, " * 200)

    status, _out, err = run("restore", str(tmp_path / "letter.txt"))

    assert status == 1
    assert "Nothing was restored" in err.splitlines()[-1]


def test_a_second_person_is_disclosed_and_erased_alone_and_it_is_said_so(
    shop: Run, number: str, tmp_path: Path
) -> None:
    """Art. 15(4) and 17 GDPR."""
    file = tmp_path / "ben.zip"
    for deed in (("disclose", number, "--to", str(file), "--second"), ("erase", number, "--why", "Asked.", "--second")):
        status, _out, err = shop(*deed)
        assert status == 1
        assert "No second person is on file" in err
    assert not file.exists()
    house = open_installation(tmp_path / "shop", environment={})
    change_contact(house.desk, COMMAND, number, "second", ContactTyped("Ben Oakes", "ben@example.org"))
    house.engine.dispose()

    status, out, _err = shop("disclose", number, "--to", str(file), "--second")
    assert (status, "It covers the second person alone." in out) == (0, True)
    with zipfile.ZipFile(file) as bundle:
        told = bundle.read("data.json").decode()
    assert "ben@example.org" in told
    assert "ada@example.org" not in told

    status, out, _err = shop("erase", number, "--why", "Asked for by mail.", "--second")
    assert status == 0
    assert "Covered: the second person of" in out
    assert "stays in its record" in out
    assert b"ben@example.org" not in (tmp_path / "shop" / "benchwindow.db").read_bytes()
