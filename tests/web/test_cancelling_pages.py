"""Agreed at a distance, on pages: the right to cancel is read and a choice made where the price is agreed.

Directive 2011/83/EU Art. 22 and SI 2013/3134 reg. 40: nothing is chosen beforehand.
"""

from __future__ import annotations

import html
import re

import pytest

from portal.actions import answers, price_terms, questions
from portal.actions.desk import Desk
from portal.actions.price_terms import TypedTerms
from portal.rules.numbers import spoken
from portal.rules.questions import State
from tests.actions.test_cancelling import OFFER, UNTIL, by_post, kept, put, yes  # noqa: F401 (a fixture)
from tests.conftest import BENCH
from tests.web.browser import Browser, hidden_fields
from tests.web.conftest import on_both
from tests.web.test_questions_pages import docket_path, press, question_path


def path_of(desk: Desk, number: str, ref: str) -> str:
    return f"{question_path(desk, number)}/question/{ref}"


def says(page: str) -> str:
    """What a page says, without its markup."""
    return " ".join(html.unescape(re.sub(r"<[^>]+>", " ", page)).split())


@on_both
def test_the_right_is_read_and_nothing_is_chosen_beforehand(client: Browser, desk: Desk, by_post: str) -> None:  # noqa: F811
    ref = put(desk, by_post)

    page = client.get(path_of(desk, by_post, ref)).text

    assert "Your right to cancel" in page
    assert "you can cancel for 14 days" in page
    assert "it is not legal advice" in page
    choices = re.findall(r'<input type="radio" name="begin"[^>]*>', page)
    assert len(choices) == 2
    assert not any("checked" in each for each in choices)


@on_both
def test_a_yes_without_a_choice_comes_back_as_it_was_typed(client: Browser, desk: Desk, by_post: str) -> None:  # noqa: F811
    ref = put(desk, by_post)
    path = path_of(desk, by_post, ref)

    answer = press(client, path, path, {"answer": "yes", "option": "a", "word": "YES"})

    assert answer.status_code == 422
    assert "Please choose when we may begin. Nothing was agreed yet." in answer.text
    assert kept(desk, ref).question.state is State.PUT


def test_a_choice_comes_back_where_the_word_is_missing(client: Browser, desk: Desk, by_post: str) -> None:  # noqa: F811
    path = path_of(desk, by_post, put(desk, by_post))

    answer = press(client, path, path, {"answer": "yes", "option": "a", "word": "", "begin": "later"})

    assert answer.status_code == 422
    assert re.search(r'value="later" checked', answer.text)


@pytest.mark.parametrize(
    ("begin", "told"),
    [
        ("early", "You asked us to begin before that time is over, in these words: I ask you to begin"),
        ("later", "You did not ask us to begin before that time is over, so we wait for it."),
    ],
)
def test_what_was_agreed_stays_to_be_read_with_until_when(
    client: Browser,
    desk: Desk,
    by_post: str,  # noqa: F811
    begin: str,
    told: str,
) -> None:
    ref = put(desk, by_post)
    path = path_of(desk, by_post, ref)

    assert press(client, path, path, {"answer": "yes", "option": "a", "word": "YES", "begin": begin}).status_code == 303

    page = says(client.get(path).text)
    assert "You can cancel this until Mon, 16 Mar 2026" in page or "You can cancel this until Mon 16 Mar 2026" in page
    assert told in page
    assert "it is not legal advice" in page
    assert "You can cancel it until Mon" in says(client.get(docket_path(desk, by_post)).text)


def test_once_the_time_is_over_the_page_says_so(client: Browser, desk: Desk, by_post: str) -> None:  # noqa: F811
    ref = put(desk, by_post)
    answers.answer(desk, by_post, ref, yes(desk, "early"))
    desk.clock.at = desk.clock.at.replace(day=17)

    assert "You could cancel this until" in says(client.get(path_of(desk, by_post, ref)).text)
    assert "You can cancel it until" not in says(client.get(docket_path(desk, by_post)).text)
    assert kept(desk, ref).cancel_until == UNTIL


def test_a_forged_mark_agrees_to_nothing(client: Browser, desk: Desk, by_post: str) -> None:  # noqa: F811
    ref = put(desk, by_post)
    path = path_of(desk, by_post, ref)
    fields = hidden_fields(client.get(path).text, path) | {"told": "0" * 16}

    answer = client.post(path, data=fields | {"answer": "yes", "option": "a", "word": "YES", "begin": "early"})

    assert answer.status_code == 422
    assert kept(desk, ref).question.state is State.PUT


def test_whoever_was_met_reads_nothing_of_it(client: Browser, desk: Desk, number: str) -> None:
    path = path_of(desk, number, put(desk, number))

    assert "right to cancel" not in client.get(path).text


def test_the_bench_asks_for_it_of_whoever_agrees_without_coming(
    staff_client: Browser, client: Browser, desk: Desk, number: str
) -> None:
    page = f"/bench/{spoken(number)}/questions"
    fields = {"proposal0": "Replace the port", "text0": "Port", "quantity0": "1", "price0": "48.50"}
    press(staff_client, page, page, fields | {"how": "put", "at_distance": "1"})

    assert question_path(desk, number)
    assert "Your right to cancel" in client.get(question_path(desk, number), follow_redirects=True).text


@on_both
def test_the_bench_marks_what_was_said_by_telephone_and_waits(
    staff_client: Browser,
    desk: Desk,
    by_post: str,  # noqa: F811
) -> None:
    ref = put(desk, by_post)
    page = f"/bench/{spoken(by_post)}/questions"
    said = {"option": "a", "who": "Ada to Kim", "by_way": "telephone"}

    refused = press(staff_client, page, f"{page}/{ref}/said", said)
    assert refused.status_code == 422
    assert "choose when we may begin" in refused.text
    assert 'value="Ada to Kim"' in refused.text
    assert press(staff_client, page, f"{page}/{ref}/said", said | {"begin": "later"}).status_code == 303

    shown = says(staff_client.get(page).text)
    assert "it can be cancelled until Mon" in shown
    assert "begin on the day after" in shown
    today = says(staff_client.get("/bench/today").text)
    assert "Agreed at a distance: begin on the day after" in today
    assert "Agreed to, and not begun" not in today
    answer = press(staff_client, page, f"{page}/{ref}/begin", {})
    assert answer.status_code == 422
    assert "The customer did not ask you to begin before that" in says(answer.text)


def test_a_device_by_post_needs_no_tick_of_the_bench(staff_client: Browser, desk: Desk, by_post: str) -> None:  # noqa: F811
    page = staff_client.get(f"/bench/{spoken(by_post)}/questions").text

    assert "This device came by post" in page
    assert 'name="at_distance"' not in page
    assert questions.draft(desk, BENCH, by_post, OFFER).ref


def money_of(client: Browser, desk: Desk, number: str) -> str:
    """What the customer's page of money says."""
    return says(client.get(f"{docket_path(desk, number)}/money/{spoken(number)}").text)


@on_both
def test_the_page_of_money_repeats_until_when_they_may_cancel_and_how(
    client: Browser,
    desk: Desk,
    by_post: str,  # noqa: F811
) -> None:
    ref = put(desk, by_post)
    assert "right to cancel" not in money_of(client, desk, by_post)
    answers.answer(desk, by_post, ref, yes(desk, "early"))

    page = money_of(client, desk, by_post)
    assert re.search("Replace the port You can cancel this until Mon,? 16 Mar 2026, the end of that day.", page)
    assert "Read it, or take your yes back" in page
    assert "Tell us clearly that you cancel before that time is over: on the page of your repair" in page
    assert "it is not legal advice" in page

    questions.start_work(desk, BENCH, by_post, ref)
    assert "Read what you agreed to" in money_of(client, desk, by_post)
    desk.clock.at = desk.clock.at.replace(day=16)
    assert "You can cancel this until" in money_of(client, desk, by_post)
    desk.clock.at = desk.clock.at.replace(day=17)
    assert "right to cancel" not in money_of(client, desk, by_post)


@pytest.mark.parametrize("way", ["up to a limit", "fixed price"])
def test_what_was_agreed_by_telephone_at_the_start_is_on_it_too(
    client: Browser,
    desk: Desk,
    by_post: str,  # noqa: F811
    way: str,
) -> None:
    price_terms.agree_terms(desk, BENCH, by_post, TypedTerms(way, "60"), "telephone", "Ada to Kim", begin="later")

    page = money_of(client, desk, by_post)

    assert page.count("You can cancel this until") == 1
    assert "Tell us clearly that you cancel before that time is over" in page


def test_what_was_agreed_at_the_counter_has_none_of_it(client: Browser, desk: Desk, number: str) -> None:
    answers.answer(desk, number, put(desk, number), answers.Answer(1, "en", "a", "YES"))

    assert "cancel" not in money_of(client, desk, number)
