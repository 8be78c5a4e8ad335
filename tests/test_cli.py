"""The command: what scripts may rely on."""

from __future__ import annotations

import argparse
import json
import os
import re
import shlex
import sqlite3
import stat
import subprocess
import sys
from collections.abc import Callable, Iterator
from contextlib import closing
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from PIL import Image

from notifications.channels.push import PushChannel
from notifications.instants import FixedClock
from portal import cli, resources
from portal.main import open_installation
from portal.rules.numbers import with_check
from portal.settings import PREFIX
from tests.conftest import Run
from tests.notifications.smtp_peer import make_certificate, serving

PASSPHRASE = "violet anvil fjord marmalade"
HANDHELD = ("ticket", "add", "--device", "Handheld console", "--fault", "Does not charge", "--email", "ada@example.org")


@pytest.fixture
def number(shop: Run) -> str:
    """The number of a handheld console that was just taken in."""
    return added(shop)["number"]


def added(run: Run, *more: str) -> dict[str, str]:
    status, out, err = run(*HANDHELD, *more, "--json")
    assert (status, err) == (0, "")
    return json.loads(out)


def subcommands(parser: argparse.ArgumentParser, path: tuple[str, ...] = ()) -> Iterator[tuple[str, ...]]:
    """Every subcommand that does something, as its words."""
    groups = [action for action in parser._actions if isinstance(action, argparse._SubParsersAction)]
    if not groups:
        yield path
    for group in groups:
        for name, child in group.choices.items():
            yield from subcommands(child, (*path, name))


EVERY = sorted(subcommands(cli.parser()))


@pytest.mark.parametrize("words", EVERY, ids=" ".join)
def test_every_subcommand_explains_itself_with_an_example_that_names_it(run: Run, words: tuple[str, ...]) -> None:
    status, out, _err = run(*words, "--help")

    assert status == 0
    assert f"benchwindow {' '.join(words)}" in out.partition("example:")[2]


@pytest.mark.parametrize("words", EVERY, ids=" ".join)
def test_every_example_is_one_that_the_command_understands(words: tuple[str, ...]) -> None:
    parser = cli.parser()
    child = parser
    for word in words:
        group = next(action for action in child._actions if isinstance(action, argparse._SubParsersAction))
        child = group.choices[word]
    example = (child.epilog or "").partition("benchwindow ")[2]

    assert parser.parse_args(shlex.split(example)).run is not None


def test_python_dash_m_portal_is_the_same_command() -> None:
    said = subprocess.run([sys.executable, "-m", "portal", "--help"], capture_output=True, text=True, check=False)

    assert said.returncode == 0
    assert said.stdout.startswith("usage: benchwindow")


@pytest.mark.parametrize("wrong", [(), ("mend",), ("ticket", "add"), ("ticket", "hold", "4711-8", "tea")], ids=" ".join)
def test_wrong_usage_is_status_2(run: Run, wrong: tuple[str, ...]) -> None:
    status, out, err = run(*wrong)

    assert (status, out) == (2, "")
    assert "usage:" in err


# Making a shop


def test_init_makes_a_secret_that_only_its_owner_may_read(shop: Run, tmp_path: Path) -> None:
    assert stat.S_IMODE((tmp_path / "shop" / "secret").stat().st_mode) == 0o600


def test_init_a_second_time_changes_nothing(shop: Run, tmp_path: Path) -> None:
    secret = (tmp_path / "shop" / "secret").read_text()

    status, out, _err = shop("init")

    assert status == 0
    assert "nothing was changed" in out
    assert (tmp_path / "shop" / "secret").read_text() == secret


def test_init_takes_a_policy_of_ones_own(run: Run, tmp_path: Path) -> None:
    own = tmp_path / "own.toml"
    own.write_text(resources.default_policy().read_text().replace("A small repair shop", "Mill Lane Repairs"))

    assert run("init", "--policy", str(own))[0] == 0
    assert 'name = "Mill Lane Repairs"' in run("policy", "show")[1]


@pytest.mark.parametrize("deed", [("tickets",), ("serve", "--port", "0"), ("clock",), ("sweep",)], ids=" ".join)
def test_without_a_secret_nothing_starts(run: Run, deed: tuple[str, ...], tmp_path: Path) -> None:
    (tmp_path / "shop").mkdir()

    status, out, err = run(*deed)

    assert (status, out) == (1, "")
    assert "There is no secret" in err
    assert "benchwindow init" in err


def test_the_data_folder_may_be_named_before_the_command(run: Run, tmp_path: Path) -> None:
    assert run("--data", str(tmp_path / "elsewhere"), "init")[0] == 0
    assert (tmp_path / "elsewhere" / "benchwindow.db").exists()


# People


def test_somebody_is_added_with_the_password_from_stdin_and_disabled(shop: Run) -> None:
    shop("staff", "add", "Kim", "--role", "keeper", stdin=PASSPHRASE + "\n")

    assert shop("staff", "add", "Robin", "--role", "bench", stdin=PASSPHRASE + "\n")[0] == 0
    assert "Robin\tbench\tmay log in" in shop("staff", "list")[1]
    assert shop("staff", "disable", "Robin")[0] == 0
    assert "Robin\tbench\tdisabled" in shop("staff", "list")[1]


def test_a_short_password_is_refused_in_words(shop: Run) -> None:
    status, out, err = shop("staff", "add", "Kim", "--role", "keeper", stdin="short\n")

    assert (status, out) == (1, "")
    assert "at least 15 are needed" in err


# Tickets


def test_a_ticket_that_is_added_tells_its_number_and_a_link_that_leads_to_it(shop: Run) -> None:
    told = added(shop, "--name", "Ada Marsh", "--phone", "07700 900123", "--language", "de")

    assert re.fullmatch(r"\d+-\d", told["number"])
    assert told["link"].startswith("http://127.0.0.1:8000/t/")


def test_the_list_has_the_keys_that_scripts_read(shop: Run, number: str) -> None:
    (line,) = json.loads(shop("tickets", "--json")[1])

    assert list(line) == ["number", "stage", "hold", "since", "revision", "link"]
    assert (line["number"], line["stage"], line["hold"], line["revision"]) == (number, "received", None, 1)
    assert re.fullmatch(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\dZ", line["since"])


def test_an_empty_shop_lists_nothing_and_that_is_fine(shop: Run) -> None:
    assert shop("tickets") == (0, "", "")
    assert json.loads(shop("tickets", "--json")[1]) == []


@pytest.mark.parametrize("spell", [str, lambda n: n.replace("-", ""), lambda n: f" {n.replace('-', ' ')} "])
def test_a_number_is_taken_with_and_without_separators(shop: Run, number: str, spell: Callable[[str], str]) -> None:
    assert shop("ticket", "note", spell(number), "Looked at it")[0] == 0


def test_every_deed_raises_the_revision(shop: Run, number: str) -> None:
    seen = []
    for deed in (
        ("move", number, "board_work"),
        ("note", number, "The port is torn", "--for", "customer"),
        ("hold", number, "part", "--why", "ordered today"),
        ("hold", number, "none"),
        ("move", number, "testing"),
        ("move", number, "ready"),
    ):
        assert shop("ticket", *deed)[0] == 0, deed
        (line,) = json.loads(shop("tickets", "--json")[1])
        seen.append((line["revision"], line["stage"], line["hold"]))

    assert seen == [
        (2, "board_work", None),
        (3, "board_work", None),
        (4, "board_work", "part"),
        (5, "board_work", None),
        (6, "testing", None),
        (7, "ready", None),
    ]


def test_a_refused_move_says_why_on_stderr_and_moves_nothing(shop: Run, number: str) -> None:
    status, out, err = shop("ticket", "move", number, "ready")

    assert (status, out) == (1, "")
    assert err.splitlines() == [
        "benchwindow: “Board work” comes first and may not be skipped.",
        "benchwindow: “Testing” comes first and may not be skipped.",
    ]
    assert json.loads(shop("tickets", "--json")[1])[0]["stage"] == "received"


@pytest.mark.parametrize(
    ("deed", "says"),
    [
        (("ticket", "move", "{number}", "polishing"), "no stage “polishing”"),
        (("ticket", "move", "{wrong}", "cleaning"), "a digit is wrong or two are swapped"),
        (("ticket", "show", "{unknown}"), "There is no repair"),
        (("ticket", "note", "{number}", ""), "The note is missing"),
        (("ticket", "note", "{number}", "x" * 10_000), "at most"),
        (("ticket", "hold", "{number}", "none"), "not on hold"),
        (("ticket", "handover", "{number}"), "The reason why there is no code is missing"),
        (("ticket", "handover", "{number}", "--why", "Known."), "is handed over from “Ready”"),
        (("ticket", "add", "--device", "X", "--fault", "y", "--email", "not an address"), "address"),
        (("ticket", "add", "--device", "X", "--fault", "y", "--language", "xx"), "Allowed: en, de"),
        (("ticket", "add", "--device", "X", "--fault", "y", "--kind", "toaster"), "no kind “toaster”"),
    ],
)
def test_what_is_refused_is_said_in_words_and_changes_nothing(
    shop: Run, number: str, deed: tuple[str, ...], says: str
) -> None:
    digits = number.replace("-", "")
    wrong = digits[:-1] + str((int(digits[-1]) + 1) % 10)
    unknown = with_check(str(int(digits[:-1]) + 1))
    before = shop("tickets", "--json")

    status, out, err = shop(*(word.format(number=number, wrong=wrong, unknown=unknown) for word in deed))

    assert (status, out) == (1, "")
    assert says in err
    assert all(line.startswith("benchwindow: ") for line in err.splitlines())
    assert shop("tickets", "--json") == before


@pytest.mark.parametrize(
    "text",
    [
        "<script>alert(1)</script>",
        "'; DROP TABLE tickets; --",
        "{{7*7}}",
        "{number}",
        "🔧 ok",
        "%s %n",
        "\u202egnp.exe",
    ],
)
def test_strange_words_are_kept_as_words(shop: Run, number: str, text: str) -> None:
    assert shop("ticket", "note", number, text)[0] == 0

    journal = json.loads(shop("ticket", "show", number, "--json")[1])["journal"]
    assert journal[-1]["text"].replace("\u202e", "") == text.replace("\u202e", "")


def test_a_ticket_is_shown_with_its_journal(shop: Run, number: str) -> None:
    shop("ticket", "note", number, "The port is torn", "--for", "customer")

    shown = json.loads(shop("ticket", "show", number, "--json")[1])
    assert (shown["number"], shown["device"], shown["fault"]) == (number, "Handheld console", "Does not charge")
    assert [(each["event"], each["audience"]) for each in shown["journal"]] == [
        ("arrived", "customer"),
        ("noted", "customer"),
    ]
    assert "The port is torn" in shop("ticket", "show", number)[1]


def test_given_back_as_it_came_needs_only_its_reason(shop: Run, number: str) -> None:
    assert shop("ticket", "handover", number, "--unrepaired", "--why", "The board is broken through.")[0] == 0
    assert json.loads(shop("tickets", "--json")[1]) == []
    assert json.loads(shop("ticket", "show", number, "--json")[1])["ending"] == "returned unrepaired"


# Sweeps


def test_a_sweep_prints_one_line_of_json_each_and_mail_lands_in_the_mailbox_once(
    shop: Run, number: str, tmp_path: Path
) -> None:
    status, out, _err = shop("sweep")

    lines = [json.loads(line) for line in out.splitlines()]
    assert status == 0
    assert all(list(line) == ["sweep", "looked_at", "done", "failed"] for line in lines)
    assert lines[-1] == {"sweep": "send", "looked_at": 1, "done": 1, "failed": 0}
    assert json.loads(shop("sweep", "send")[1])["done"] == 0
    assert len(list((tmp_path / "shop" / "mail" / "new").iterdir())) == 1


def test_the_sweeps_come_in_the_fixed_order(shop: Run) -> None:
    order = ["remind", "lapse", "forecast", "purge", "tidy", "backup", "send"]

    names = [json.loads(line)["sweep"] for line in shop("sweep")[1].splitlines()]

    assert names == [name for name in order if name in names]
    assert "send" in names


def test_a_time_without_a_zone_is_refused(shop: Run) -> None:
    status, out, err = shop("sweep", "--at", "2030-01-01T09:00")

    assert (status, out) == (2, "")
    assert "no time zone" in err


def test_a_sweep_that_there_is_not_is_refused_with_those_there_are(shop: Run) -> None:
    status, _out, err = shop("sweep", "dust")

    assert status == 1
    assert "'dust'" in err
    assert "send" in err


# The policy


def test_the_policy_that_is_shown_can_be_checked_and_loaded_again(shop: Run, tmp_path: Path) -> None:
    file = tmp_path / "policy.toml"
    file.write_text(shop("policy", "show")[1])

    assert shop("policy", "check", str(file)) == (0, "The policy is in order.\n", "")
    assert shop("policy", "load", str(file))[1] == "Policy revision 1 is in force.\n"

    file.write_text(file.read_text().replace("A small repair shop", "Mill Lane Repairs"))
    assert shop("policy", "load", str(file))[1] == "Policy revision 2 is in force.\n"
    assert "A small repair shop" in shop("policy", "show", "--revision", "1")[1]


def test_each_fault_of_a_policy_is_a_line(run: Run, tmp_path: Path) -> None:
    file = tmp_path / "policy.toml"
    file.write_text(
        resources.default_policy().read_text().replace("Europe/London", "Europe/Quayhaven").replace("GBP", "G")
    )

    status, out, err = run("policy", "check", str(file))

    assert (status, out) == (1, "")
    assert len(err.splitlines()) == 2
    assert "shop.zone" in err
    assert "shop.currency" in err


@pytest.mark.parametrize("deed", ["check", "load"])
def test_a_policy_file_that_is_not_there_is_said_in_a_line(shop: Run, deed: str) -> None:
    status, out, err = shop("policy", deed, "nowhere.toml")

    assert (status, out) == (1, "")
    assert "nowhere.toml" in err
    assert len(err.splitlines()) == 1


# Looking it over


def test_doctor_finds_a_fresh_shop_in_order_but_for_its_address(shop: Run) -> None:
    status, out, err = shop("doctor")

    assert (status, err) == (0, "")
    lines = dict(reversed(line.split(maxsplit=2)[:2]) for line in out.splitlines())
    assert lines["secret:"] == lines["database:"] == lines["mail:"] == lines["policy:"] == lines["messages:"] == "ok"
    assert "only works on this machine" in out


def test_doctor_says_when_others_may_read_the_secret(shop: Run, tmp_path: Path) -> None:
    os.chmod(tmp_path / "shop" / "secret", 0o644)

    status, out, _err = shop("doctor")

    assert status == 1
    assert f"chmod 600 {tmp_path / 'shop' / 'secret'}" in out


def test_doctor_says_when_there_is_no_shop(run: Run, tmp_path: Path) -> None:
    (tmp_path / "shop").mkdir()

    status, out, err = run("doctor")

    assert (status, err) == (1, "")
    assert "benchwindow init" in out


def test_doctor_says_when_the_mail_server_is_not_there(shop: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv(PREFIX + "MAIL_URL", "smtp://127.0.0.1:1")

    status, out, _err = shop("doctor")

    assert status == 1
    assert re.search(r"MEND +mail: .*cannot be reached", out)


def test_doctor_says_plainly_that_the_mail_servers_certificate_does_not_fit(
    shop: Run, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    shown = make_certificate(tmp_path, "mail.example.net")
    with serving(tls=shown) as peer:
        monkeypatch.setenv(PREFIX + "MAIL_URL", f"smtps://127.0.0.1:{peer.port}?ca={shown.file}")

        status, out, _err = shop("doctor")

    assert status == 1
    assert re.search(r"MEND +mail: the mail server’s certificate does not fit: .*127\.0\.0\.1.*MAIL_URL", out)


def test_doctor_says_when_a_gateway_cannot_be_read(shop: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv(PREFIX + "GATEWAYS", "nonsense://secret@example.org/{to}")

    status, out, _err = shop("doctor")

    assert status == 1
    assert re.search(r"MEND +texts: address 1 of the gateways cannot be read.*GATEWAYS", out)
    assert "secret@" not in out


@pytest.mark.parametrize(
    ("address", "is_long"), [("https://repairs.example.org", False), ("https://" + "r" * 29, True)]
)
def test_doctor_says_when_the_address_of_the_site_makes_texts_dear(
    shop: Run, monkeypatch: pytest.MonkeyPatch, address: str, is_long: bool
) -> None:
    monkeypatch.setenv(PREFIX + "GATEWAYS", "json://example.org/{to}")
    monkeypatch.setenv(PREFIX + "BASE_URL", address)

    told = re.search(r"(\S+) +texts: (.*)", shop("doctor")[1])

    assert told
    assert ("go out as two, each paid for" in told[2]) is is_long
    assert told[2].startswith("go out by json")


def test_doctor_says_when_a_gateway_has_no_place_for_the_number(shop: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv(PREFIX + "GATEWAYS", "json://example.org/send")

    status, out, _err = shop("doctor")

    assert status == 1
    assert re.search(r"MEND +settings: BENCHWINDOW_GATEWAYS .*\{to\}", out)


def test_doctor_says_whether_notices_can_be_shown(shop: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    assert re.search(r"ok +notices: no contact is set \(BENCHWINDOW_PUSH_CONTACT\)", shop("doctor")[1])

    monkeypatch.setenv(PREFIX + "PUSH_CONTACT", "mailto:repairs@example.org")
    assert re.search(r"look +notices: browsers show them for sites with https only", shop("doctor")[1])

    monkeypatch.setenv(PREFIX + "BASE_URL", "https://repairs.example.org")
    assert re.search(r"ok +notices: go out by fcm\.googleapis\.com, ", shop("doctor")[1])

    monkeypatch.setattr(PushChannel, "works", False)
    assert re.search(r"MEND +notices: .*benchwindow\[push\]", shop("doctor")[1])


@pytest.mark.parametrize(
    ("name", "value"),
    [
        ("PUSH_CONTACT", "repairs@example.org"),
        ("PUSH_CONTACT", "mailto:nobody"),
        ("PUSH_CONTACT", "http://repairs.example.org"),
        ("PUSH_CONTACT", "mailto:a b@example.org"),
        ("PUSH_HOSTS", "https://push.example.org"),
        ("PUSH_HOSTS", "10.0.0.1"),
    ],
)
def test_doctor_says_what_of_notices_is_set_wrongly(
    shop: Run, monkeypatch: pytest.MonkeyPatch, name: str, value: str
) -> None:
    monkeypatch.setenv(PREFIX + "PUSH_CONTACT", "mailto:repairs@example.org")
    monkeypatch.setenv(PREFIX + name, value)

    status, out, _err = shop("doctor")

    assert status == 1
    assert re.search(rf"MEND +settings: BENCHWINDOW_{name} does not fit", out)


def test_doctor_counts_what_nobody_knows_of(shop: Run, tmp_path: Path) -> None:
    shop(*HANDHELD)
    with closing(sqlite3.connect(tmp_path / "shop" / "benchwindow.db")) as database, database:
        database.execute("UPDATE outbox SET state = 'unknown', settled_at = made_at")

    _status, out, _err = shop("doctor")

    assert re.search(r"look +messages: 0 could not be delivered, of 1 nobody knows", out)


def test_doctor_names_what_would_change_in_an_older_database_and_changes_nothing(shop: Run, tmp_path: Path) -> None:
    file = tmp_path / "shop" / "benchwindow.db"
    with closing(sqlite3.connect(file)) as database, database:
        (newest,) = database.execute("SELECT version_num FROM alembic_version").fetchone()
        database.execute("UPDATE alembic_version SET version_num = '0001'")

    status, out, _err = shop("doctor")

    assert status == 0
    assert re.search(rf"look +database: is older than this program.*0002 \(.*\), .*{newest} \(", out)
    with closing(sqlite3.connect(file)) as database:
        assert database.execute("SELECT version_num FROM alembic_version").fetchone() == ("0001",)


@pytest.mark.postgres
def test_doctor_says_when_postgresql_would_lose_what_was_sent(tmp_path: Path, postgres_database: str) -> None:
    environment = os.environ | {PREFIX + "DATA": str(tmp_path / "shop"), PREFIX + "DATABASE_URL": postgres_database}
    command = [sys.executable, "-m", "portal"]
    subprocess.run([*command, "init"], env=environment, check=True, capture_output=True)

    found = subprocess.run([*command, "doctor"], env=environment, check=False, capture_output=True, text=True)

    assert found.returncode == 1  # the suite's own server is careless
    assert re.search(r"MEND +database: PostgreSQL, fsync = off, synchronous_commit = off.*power cut", found.stdout)


def test_a_clock_set_back_holds_what_deletes_until_it_is_trusted(shop: Run, tmp_path: Path) -> None:
    ahead = FixedClock(datetime.now(UTC) + timedelta(days=30))
    house = open_installation(tmp_path / "shop", clock=ahead)
    list(house.sweep())
    house.engine.dispose()

    status, out, _err = shop("sweep")
    held = {each["sweep"]: each["held"] for each in map(json.loads, out.splitlines()) if "held" in each}
    assert status == 1
    assert "purge" in held
    assert "clock --trust" in held["purge"]
    assert re.search(r"MEND +clock: The clock says", shop("doctor")[1])

    assert shop("clock", "--trust")[0] == 0

    status, out, _err = shop("sweep")
    assert status == 0
    assert "held" not in out
    assert not re.search(r"MEND +clock", shop("doctor")[1])


def test_doctor_says_when_the_clock_stands_still(shop: Run, tmp_path: Path) -> None:
    list(open_installation(tmp_path / "shop", clock=FixedClock(datetime(2026, 1, 5, 9, tzinfo=UTC))).sweep())

    status, out, _err = shop("doctor")

    assert status == 1
    assert re.search(r"MEND +clock: stands still: .*2026-01-05 09:00Z", out)


def test_doctor_finds_the_clock_alive_after_a_sweep(shop: Run) -> None:
    shop("sweep")

    assert re.search(r"ok +clock: alive", shop("doctor")[1])


# Photos


def test_a_photo_is_kept_with_its_moment(shop: Run, number: str, tmp_path: Path) -> None:
    file = tmp_path / "bench.jpg"
    picture = Image.effect_noise((800, 600), 90)
    picture.save(file)

    assert shop("ticket", "photo", number, str(file), "--before")[0] == 0

    journal = json.loads(shop("ticket", "show", number, "--json")[1])["journal"]
    assert journal[-1]["event"] == "photographed"
    assert journal[-1]["data"]["moment"] == "before"


def test_what_is_no_picture_is_refused_in_a_line(shop: Run, number: str, tmp_path: Path) -> None:
    file = tmp_path / "letter.jpg"
    file.write_text("Dear customer")

    status, out, err = shop("ticket", "photo", number, str(file), "--after")

    assert (status, out) == (1, "")
    assert len(err.splitlines()) == 1
