"""The front door: following by number, a lost link that says the same to everybody, and what robots may read."""

from __future__ import annotations

import pytest
from sqlalchemy import func, select

from notifications.tables import outbox
from portal.actions.desk import Desk
from portal.actions.intake import TakenIn
from portal.actions.links import MOST_BY_ADDRESS
from portal.rules.numbers import spoken, with_check
from tests.web.browser import Browser

SENT = "a message with the link is on its way"


def letters(desk: Desk) -> int:
    with desk.reading() as connection:
        return connection.execute(select(func.count()).where(outbox.c.event == "link_again")).scalar_one()


def test_the_front_door_takes_a_number_to_the_way_to_its_link(client: Browser, taken_in: TakenIn) -> None:
    number = spoken(taken_in.numbers[0])

    assert 'action="/lost"' in client.get("/").text
    assert f'value="{number}"' in client.get("/lost", query_string={"number": number}).text


@pytest.mark.parametrize("contact", ["ada@example.org", "ADA@Example.org", "07700 900123", "+44 7700 900123"])
def test_the_link_goes_to_the_contact_on_file(client: Browser, desk: Desk, taken_in: TakenIn, contact: str) -> None:
    answer = client.post("/lost", data={"number": spoken(taken_in.numbers[0]), "contact": contact})

    assert answer.status_code == 200
    assert SENT in answer.text
    assert letters(desk) == 1


def test_the_answer_is_the_same_whether_number_and_address_belong_together(
    client: Browser, desk: Desk, taken_in: TakenIn
) -> None:
    right = {"number": taken_in.numbers[0], "contact": "ada@example.org"}
    unknown = {"number": with_check("999999"), "contact": "ada@example.org"}
    wrong = {"number": taken_in.numbers[0], "contact": "eve@example.org"}

    answers = [client.post("/lost", data=data) for data in (wrong, unknown, right)]

    assert {(answer.status_code, answer.text) for answer in answers} == {(200, answers[0].text)}
    assert letters(desk) == 1


@pytest.mark.parametrize(
    ("number", "contact", "words"),
    [
        ("4711-0", "ada@example.org", "a digit is wrong or two are swapped"),
        ("radio", "ada@example.org", "A repair number has only digits"),
        ("", "ada@example.org", "A repair number has only digits"),
        (with_check("4711"), "", "is missing"),
        (with_check("4711"), "ada@", "e-mail"),
        ("<b>" * 4000, "\x00🔧" * 4000, "A repair number has only digits"),
    ],
)
def test_what_cannot_be_right_is_answered_with_what_was_typed(
    client: Browser, taken_in: TakenIn, number: str, contact: str, words: str
) -> None:
    answer = client.post("/lost", data={"number": number, "contact": contact})

    assert answer.status_code == 422
    assert words in answer.text
    assert "<b>" not in answer.text
    if len(number) < 40:
        assert f'value="{number}"' in answer.text
        assert f'value="{contact}"' in answer.text


def test_asking_too_often_is_answered_so_and_sends_nothing(client: Browser, desk: Desk, taken_in: TakenIn) -> None:
    for body in range(MOST_BY_ADDRESS):
        client.post("/lost", data={"number": with_check(str(1000 + body)), "contact": "eve@example.org"})

    answer = client.post("/lost", data={"number": taken_in.numbers[0], "contact": "ada@example.org"})

    assert answer.status_code == 429
    assert "tried too often" in answer.text
    assert 'value="ada@example.org"' in answer.text
    assert letters(desk) == 0


def test_a_form_that_another_site_sends_is_refused(client: Browser, desk: Desk, taken_in: TakenIn) -> None:
    form = {"number": taken_in.numbers[0], "contact": "ada@example.org"}

    assert client.post("/lost", data=form, headers={"Origin": "https://elsewhere.example"}).status_code == 403
    assert client.post("/lost", data=form, headers={"Sec-Fetch-Site": "cross-site"}).status_code == 403
    assert letters(desk) == 0


@pytest.mark.parametrize("path", ["/", "/lost"])
def test_the_front_door_speaks_the_browsers_language_or_the_one_asked_for(
    client: Browser, desk: Desk, path: str
) -> None:
    assert '<html lang="de">' in client.get(path, headers={"Accept-Language": "de-AT,de;q=0.8"}).text
    assert '<html lang="en">' in client.get(f"{path}?lang=en", headers={"Accept-Language": "de"}).text


def test_robots_are_told_the_path_and_no_link(client: Browser, taken_in: TakenIn) -> None:
    robots = client.get("/robots.txt")

    assert robots.mimetype == "text/plain"
    assert "Disallow: /t/\n" in robots.text
    assert taken_in.link.rsplit("/", 1)[-1] not in robots.text
