"""The demo shop: an invented year that obeys every rule, the same for the same seed."""

from __future__ import annotations

import mailbox
import re
import socket
import sqlite3
from collections import Counter
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import pytest

from portal import cli, demo
from portal.demo import NotADemo
from portal.main import open_installation
from portal.rules.policy import Policy
from portal.rules.policy_check import check
from portal.rules.price_terms import Way
from portal.rules.questions import State
from portal.rules.stages import Event, Hold, rebuild
from portal.store import journal, tickets
from portal.web.app import create_app
from seed.year import Size
from tests.web.browser import Browser

NOW = datetime(2026, 11, 25, 14, 30, tzinfo=UTC)  # a Wednesday afternoon
SMALL = Size(gone=4, lately=3)


def small(folder: Path, seed: int = 1, **how: bool) -> demo.Demo:
    return demo.make(folder, "127.0.0.1", 8000, seed=seed, now=NOW, size=SMALL, **how)


def rows(folder: Path, question: str) -> list[tuple]:
    with sqlite3.connect(folder / "benchwindow.db") as connection:
        return connection.execute(question).fetchall()


@pytest.fixture(scope="module")
def little(tmp_path_factory: pytest.TempPathFactory) -> demo.Demo:
    """A demo with a few stories only."""
    return small(tmp_path_factory.mktemp("little") / "shop")


@pytest.fixture(scope="module", params=[1, 2])
def whole(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> demo.Demo:
    """The whole demo, for two seeds."""
    folder = tmp_path_factory.mktemp("whole") / "shop"
    return demo.make(folder, "127.0.0.1", 8000, seed=request.param, now=NOW)


@pytest.mark.slow
def test_a_year_holds_enough_open_and_finished_tickets_of_many_kinds(whole: demo.Demo) -> None:
    found = rows(whole.folder, "SELECT ending, kind FROM tickets")

    assert sum(ending is None for ending, _kind in found) >= 40
    assert sum(ending is not None for ending, _kind in found) >= 300
    assert len({kind for _ending, kind in found}) >= 8
    endings = {None, "collected", "posted back", "returned unrepaired", "given up by its owner"}
    assert {ending for ending, _kind in found} == endings


@pytest.mark.slow
def test_every_stage_and_every_hold_is_to_be_seen_among_the_open_tickets(whole: demo.Demo) -> None:
    found = rows(whole.folder, "SELECT stage, hold FROM tickets WHERE ending IS NULL")

    stages = [stage.key for stage in _policy(whole).stages]
    assert {stage for stage, _hold in found} == {None, *stages}
    assert {hold for _stage, hold in found} == {None, *Hold}


@pytest.mark.slow
def test_every_way_a_device_goes_back_is_to_be_seen(whole: demo.Demo) -> None:
    here = "JOIN tickets ON tickets.id = ticket_id WHERE ending IS NULL"

    assert {way for (way,) in rows(whole.folder, f"SELECT way FROM return_choices {here}")} == {
        "collect",
        "send",
        "post",
    }
    assert {proof for (proof,) in rows(whole.folder, "SELECT proof FROM handovers")} >= {"code", "without code"}
    assert rows(whole.folder, "SELECT 1 FROM parcels WHERE delivered_on IS NOT NULL")
    assert rows(whole.folder, "SELECT 1 FROM tickets WHERE claimed_at IS NOT NULL")
    assert rows(whole.folder, f"SELECT 1 FROM wishes {here}")


@pytest.mark.slow
def test_every_way_a_question_about_money_can_stand_is_to_be_seen(whole: demo.Demo) -> None:
    here = "JOIN tickets ON tickets.id = ticket_id WHERE ending IS NULL"

    assert {state for (state,) in rows(whole.folder, f"SELECT state FROM questions {here}")} == set(State)
    assert {way for (way,) in rows(whole.folder, f"SELECT way FROM price_terms {here}")} == set(Way)


@pytest.mark.slow
def test_what_becomes_of_money_is_to_be_seen(whole: demo.Demo) -> None:
    here = "JOIN tickets ON tickets.id = ticket_id WHERE ending IS NULL"

    assert {kind for (kind,) in rows(whole.folder, f"SELECT adjustments.kind FROM adjustments {here}")} == {
        "let off",
        "storage",
    }
    assert rows(whole.folder, f"SELECT 1 FROM courtesies {here}")
    assert rows(whole.folder, f"SELECT 1 FROM questions {here} AND cancelled_on IS NOT NULL")
    due = [date.fromisoformat(due_on) for (due_on,) in rows(whole.folder, "SELECT due_on FROM refunds_due")]
    assert any(NOW.date() <= each <= NOW.date() + timedelta(days=14) for each in due)
    assert rows(whole.folder, "SELECT 1 FROM payments WHERE kind = 'refund'")
    assert "storage" in {point.key for point in _policy(whole).terms.points}


@pytest.mark.slow
def test_what_customers_chose_and_whom_to_ring_is_to_be_seen(whole: demo.Demo) -> None:
    chose = "SELECT DISTINCT by_kind FROM journal WHERE event = 'chose_messages'"

    assert {kind for (kind,) in rows(whole.folder, chose)} == {"customer", "staff"}
    assert rows(whole.folder, "SELECT 1 FROM calls_due WHERE closed_at IS NULL AND event = 'ready'")


@pytest.mark.slow
def test_what_people_ask_of_their_data_and_what_went_wrong_with_it_is_to_be_seen(whole: demo.Demo) -> None:
    asked = rows(whole.folder, "SELECT kind, state FROM requests")
    near = rows(whole.folder, "SELECT received_on FROM requests WHERE kind = 'access' ORDER BY received_on")
    ((aware_at,),) = rows(whole.folder, "SELECT aware_at FROM breaches WHERE told_at IS NULL AND closed_at IS NULL")

    assert Counter(asked) == {
        ("access", "open"): 2,
        ("erasure", "done"): 1,
        ("objection", "open"): 1,
        ("restriction", "done"): 1,
    }
    assert timedelta(days=21) < NOW.date() - date.fromisoformat(near[0][0]) < timedelta(days=30)
    assert rows(whole.folder, "SELECT 1 FROM visits WHERE restricted_at IS NOT NULL")
    assert rows(whole.folder, "SELECT 1 FROM requests WHERE kind = 'erasure' AND answer LIKE '%Art. 17%'")
    assert NOW - datetime.fromisoformat(aware_at) < timedelta(hours=72)


@pytest.mark.slow
def test_the_year_has_its_mistakes_and_corrections(whole: demo.Demo) -> None:
    told = Counter(event for (event,) in rows(whole.folder, "SELECT event FROM journal"))

    for event in ("corrected", "objected", "part_ordered", "made_safe", "received_announced", "courtesy_given"):
        assert told[event], event
    assert told["moved"] > 3 * told["ended"]


@pytest.mark.slow
def test_every_tickets_journal_rebuilds_how_it_stands(whole: demo.Demo) -> None:
    house = open_installation(whole.folder, environment={})
    with house.desk.reading() as connection:
        numbers = [number for (number,) in rows(whole.folder, "SELECT number FROM tickets")]
        erased = []
        for number in numbers:
            ticket = tickets.by_number(connection, number)
            assert ticket
            entries = journal.entries(connection, ticket.id)
            if entries[0].entry > 1:
                erased.append(number)
                continue
            assert rebuild(Event(entry.event, entry.data) for entry in entries) == ticket.standing
            assert [entry.entry for entry in entries] == list(range(1, ticket.revision + 1))
            assert all(entry.at <= NOW for entry in entries)
    house.engine.dispose()
    assert len(erased) == 1  # as its owner asked for


@pytest.mark.slow
def test_only_the_last_days_mail_lies_in_the_mailbox(whole: demo.Demo) -> None:
    ((sent, early),) = rows(
        whole.folder,
        f"SELECT count(*), sum(made_at < '{(NOW - demo.MAIL_KEPT - timedelta(days=1)).isoformat()}') FROM outbox"
        " WHERE state = 'sent'",
    )
    letters = len(mailbox.Maildir(whole.folder / "mail"))

    assert 20 <= letters <= sent - early
    assert rows(whole.folder, "SELECT count(*) FROM outbox WHERE state = 'expired'") == [(0,)]


@pytest.mark.slow
def test_one_mail_came_back_of_a_repair_that_is_still_here(whole: demo.Demo) -> None:
    came_back = "SELECT event, outcome FROM outbox WHERE state = 'failed' AND decided_at IS NULL"
    assert rows(whole.folder, came_back) == [("taken_in", "550 5.1.1 There is no such mailbox here")]


@pytest.mark.slow
def test_nobody_and_nothing_in_it_can_be_real(whole: demo.Demo) -> None:
    contacts = rows(whole.folder, "SELECT email, phone FROM contacts")

    assert all(re.fullmatch(r"([a-z.]+@example\.org)?", email) for email, _phone in contacts)
    assert all(re.fullmatch(r"(\+447700900\d{3})?", phone) for _email, phone in contacts)
    assert all(email or phone for email, phone in contacts)


def test_the_same_seed_tells_the_same_stories(little: demo.Demo, tmp_path: Path) -> None:
    again = small(tmp_path / "again")

    story = (
        "SELECT number, entry, at, event, data, text FROM journal JOIN tickets ON tickets.id = ticket_id ORDER BY 1, 2"
    )
    assert rows(again.folder, story) == rows(little.folder, story)


def test_another_seed_tells_others(little: demo.Demo, tmp_path: Path) -> None:
    other = small(tmp_path / "other", seed=2)

    story = "SELECT device, fault FROM tickets ORDER BY id"
    assert rows(other.folder, story) != rows(little.folder, story)


def test_the_demos_policy_is_in_order(little: demo.Demo) -> None:
    assert check(demo.policy_text()) == []
    assert _policy(little).shop.name == "Lantern Street Repairs"


def test_it_tells_where_to_look_and_how_to_log_in(little: demo.Demo) -> None:
    said = little.welcome()

    for name, (role, password) in demo.LOGINS.items():
        assert f"{name} ({role}), password: {password}" in said
        assert len(password) >= 15
    assert len(little.links) >= 5
    assert all(link in said for _what, link in little.links)
    assert said.isprintable() or "\x1b" not in said


def test_the_links_it_prints_open_and_its_logins_let_in(little: demo.Demo) -> None:
    house = open_installation(little.folder, environment={})
    app = create_app(house)
    app.test_client_class = Browser
    client = app.test_client()

    for _what, link in little.links:
        assert client.get(link.removeprefix(little.base_url)).status_code == 200
    for name, (_role, password) in demo.LOGINS.items():
        assert app.test_client().log_in(name, password).status_code == 303
    house.engine.dispose()


def test_a_second_start_finds_the_same_shop_at_its_new_address(tmp_path: Path) -> None:
    first = small(tmp_path / "shop")
    before = rows(first.folder, "SELECT count(*) FROM journal")

    second = demo.make(tmp_path / "shop", "127.0.0.1", 8001)

    assert rows(first.folder, "SELECT count(*) FROM journal") == before
    assert second.links[0][1] == first.links[0][1].replace(":8000", ":8001")


def test_fresh_begins_anew_where_a_demo_was(tmp_path: Path) -> None:
    first = small(tmp_path / "shop")

    second = small(tmp_path / "shop", seed=2, fresh=True)

    assert second.links != first.links


@pytest.mark.parametrize("fresh", [False, True])
def test_a_folder_that_no_demo_made_is_left_alone(tmp_path: Path, fresh: bool) -> None:
    (tmp_path / "letters.txt").write_text("mine")

    with pytest.raises(NotADemo, match="was not made by a demo"):
        small(tmp_path, fresh=fresh)

    assert [file.name for file in tmp_path.iterdir()] == ["letters.txt"]


def test_a_demo_that_was_broken_off_is_made_anew(tmp_path: Path) -> None:
    folder = tmp_path / "shop"
    folder.mkdir()
    (folder / demo.MARK).write_text(demo.UNFINISHED)
    (folder / "benchwindow.db").write_text("half a file")

    assert small(folder).links


def test_the_command_refuses_a_folder_of_ones_own_in_a_line(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "letters.txt").write_text("mine")

    assert cli.main(["demo", "--data", str(tmp_path), "--fresh", "--port", "0"]) == 1
    said = capsys.readouterr()
    assert said.out == ""
    assert len(said.err.splitlines()) == 1


def test_a_demo_that_is_being_served_is_not_wiped(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    first = small(tmp_path / "shop")
    with socket.create_server(("127.0.0.1", 0)) as served:
        port = served.getsockname()[1]

        assert cli.main(["demo", "--data", str(first.folder), "--fresh", "--port", str(port)]) == 1

    assert "Choose another with --port" in capsys.readouterr().err
    assert (first.folder / demo.MARK).exists()


def test_a_phone_on_the_network_gets_links_that_it_can_follow(tmp_path: Path) -> None:
    made = demo.make(tmp_path / "shop", "0.0.0.0", 8000, now=NOW, size=SMALL)

    assert "0.0.0.0" not in made.welcome()


def _policy(made: demo.Demo) -> Policy:
    house = open_installation(made.folder, environment={})
    with house.desk.reading() as connection:
        policy = house.desk.policy(connection)
    house.engine.dispose()
    return policy
