"""A printed report is proven genuine by its check code, also when the shop keeps nothing of it any more."""

from __future__ import annotations

import re
from datetime import timedelta

import pytest
from markupsafe import Markup

from notifications.instants import FixedClock
from portal.actions import retention
from portal.actions.handover import return_unrepaired
from portal.actions.intake import TakenIn
from portal.actions.notes import note
from portal.main import Installation
from portal.rules.numbers import spoken
from tests.conftest import BENCH
from tests.web.browser import Browser
from tests.web.test_customer_docket import path_of

WORDS = "Corrosion at U7600, cleaned."


@pytest.fixture
def paper(client: Browser, installation: Installation, taken_in: TakenIn) -> dict[str, str]:
    """What a report says, as its holder types it."""
    number = taken_in.numbers[0]
    note(installation.desk, BENCH, number, WORDS, audience="customer")
    page = client.get(f"{path_of(taken_in.link)}/report/{spoken(number)}").text
    code = re.search(r'<strong class="figures">([0-9A-Z-]{19})</strong> \((\d{4}-\d\d-\d\d)\)', page)
    body = re.search(r"As of [^<]*</p>(.*?)<p class=\"small closing\">", page, re.DOTALL)
    assert code
    assert body
    return {
        "number": spoken(number),
        "device": "Handheld console, blue",
        "day": code[2],
        "code": code[1],
        "words": Markup(body[1]).striptags(),
    }


def test_what_the_paper_says_is_known_again_after_everything_is_erased(
    client: Browser, installation: Installation, taken_in: TakenIn, paper: dict[str, str], clock: FixedClock
) -> None:
    assert WORDS in paper["words"]
    return_unrepaired(installation.desk, BENCH, taken_in.numbers[0], "Beyond repair.")
    clock.at += timedelta(days=7 * 366)
    retention.apply(installation.desk, installation.photo_files, clock.now())

    answer = client.post("/check", data=paper).text

    assert "Yes: this shop made a report on this day" in answer
    assert "Its words are those that we wrote." in answer


def test_a_changed_word_or_day_is_told(client: Browser, paper: dict[str, str]) -> None:
    words = client.post("/check", data=paper | {"words": paper["words"].replace("cleaned", "replaced")}).text
    day = client.post("/check", data=paper | {"day": "2026-03-03"}).text

    assert "But its words are not those that we wrote" in words
    assert "the code is not ours" in day


@pytest.mark.parametrize(
    ("typed", "told"),
    [
        ({"code": ""}, "The check code is missing"),
        ({"number": ""}, "The number is missing"),
        ({"day": ""}, "The day is missing"),
        ({"day": "soon"}, "is not a date"),
        ({"words": "w" * 20_001}, "at most 20000 fit"),
    ],
)
def test_what_does_not_fit_comes_back_as_typed(
    client: Browser, paper: dict[str, str], typed: dict[str, str], told: str
) -> None:
    answer = client.post("/check", data=paper | typed)

    assert answer.status_code == 422
    assert told in answer.text
    assert "Handheld console, blue" in answer.text


def test_nobody_tries_codes_on_and_on(client: Browser, paper: dict[str, str]) -> None:
    answers = [client.post("/check", data=paper | {"code": "AAAA"}).status_code for _try in range(21)]

    assert answers == [200] * 20 + [429]


def test_the_bench_prints_the_same_code(staff_client: Browser, paper: dict[str, str]) -> None:
    assert paper["code"] in staff_client.get(f"/bench/{paper['number']}/report?lang=en").text
