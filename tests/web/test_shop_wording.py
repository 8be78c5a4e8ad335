"""The keeper changes what messages say in the browser: looked at first, refused with what was typed, gone back from."""

from __future__ import annotations

import html
import re
from collections.abc import Mapping

import pytest

from portal import resources
from portal.actions import rights
from portal.actions.desk import By, Desk, NotFound
from portal.actions.intake import NewDevice, NewVisit, TakenIn, take_in
from portal.actions.moves import move
from portal.actions.notes import note
from portal.actions.questions import draft
from portal.actions.rights import Asked
from portal.actions.wording import save_words
from portal.main import Installation
from portal.rules.numbers import spoken
from portal.rules.offers import TypedLine, TypedOffer, TypedOption
from portal.rules.wording import OPEN_TO_ALL, Part
from portal.rules.wording_occasions import EVENTS, OCCASIONS, PLACEHOLDERS, USUAL
from portal.store import policies, wordings
from tests.test_docs import table
from tests.web.browser import Browser, hidden_fields
from tests.web.conftest import on_both

PAGE = "/shop/wording/ready/always/en"
READY = OCCASIONS["ready", "always"]
TEXT = "Good news, {name}!\n\nCode: {code}\n\nTo pay: {to_pay}\n\nChoose here: {choose_link}"


def own(desk: Desk, tag: str = "en") -> list[dict[Part, str]]:
    with desk.reading() as connection:
        return [
            {part: text for part, text in each.words.items() if text}
            for each in wordings.revisions(connection, *READY.name, tag)
        ]


def filled(text: str) -> dict[str, str]:
    """All that the form of words holds."""
    fields = hidden_fields(text, PAGE)
    found = re.findall(r'<textarea[^>]*name="(words\.\w+)"[^>]*>\n?(.*?)</textarea>', text, re.DOTALL)
    fields |= {name: html.unescape(inside) for name, inside in found}
    subject = re.search(r'<input[^>]*name="words\.subject"[^>]*value="([^"]*)"', text)
    assert subject, text
    return fields | {"words.subject": html.unescape(subject[1])}


def send(browser: Browser, changed: Mapping[str, str], do: str = "save"):
    """Change some fields of the form, and press a button of it; line ends go as browsers send them."""
    fields = filled(browser.get(PAGE).text) | dict(changed)
    return browser.post(PAGE, data={name: value.replace("\n", "\r\n") for name, value in fields.items()} | {"do": do})


@on_both
def test_words_are_saved_and_shown_again(keeper_client: Browser, desk: Desk, keeper: By) -> None:
    answer = send(keeper_client, {"words.text": TEXT})

    assert (answer.status_code, answer.location) == (303, f"{PAGE}?saved=1")
    assert own(desk) == [{Part.TEXT: TEXT}]
    page = keeper_client.get(answer.location).text
    assert "It is saved" in page
    assert filled(page)["words.text"] == TEXT
    assert "Kim" in page


def test_what_is_left_as_it_was_stays_the_programs(keeper_client: Browser, desk: Desk) -> None:
    assert send(keeper_client, {}).status_code == 303
    assert own(desk) == []

    send(keeper_client, {"words.subject": "Come and get {device}"})
    assert own(desk) == [{Part.SUBJECT: "Come and get {device}"}]


def test_an_empty_field_says_what_the_program_says(keeper_client: Browser, desk: Desk) -> None:
    send(keeper_client, {"words.text": TEXT})
    send(keeper_client, {"words.text": ""})

    assert own(desk)[0] == {}
    assert "Your collection code: {code}" in html.unescape(keeper_client.get(PAGE).text)


def test_faults_are_told_by_line_and_what_was_typed_is_kept(keeper_client: Browser, desk: Desk) -> None:
    answer = send(keeper_client, {"words.subject": "{nmae}", "words.text": TEXT + "\n\n{oops"})

    page = html.unescape(answer.text)
    assert answer.status_code == 422
    assert "Subject of the mail, line 1: There is no {nmae} here. Is {name} meant?" in page
    assert "Text of the mail, line 9: A brace is opened and not closed." in page
    assert filled(answer.text)["words.text"] == TEXT + "\n\n{oops"
    assert own(desk) == []


def test_a_text_message_of_several_texts_is_saved_only_once_more(keeper_client: Browser, desk: Desk) -> None:
    words = {"words.sms": "Ready! " * 20 + "{link}"}
    answer = send(keeper_client, words)

    assert answer.status_code == 422
    assert "makes 2 texts, each of them paid for" in answer.text
    assert own(desk) == []
    again = keeper_client.post(PAGE, data=filled(answer.text) | {"do": "save", "confirmed": "1"})
    assert again.status_code == 303
    assert list(own(desk)[0]) == [Part.SMS]


def test_looking_saves_nothing(keeper_client: Browser, desk: Desk) -> None:
    answer = send(keeper_client, {"words.text": TEXT}, do="look")

    assert answer.status_code == 200
    assert "Nothing is saved yet." in answer.text
    assert "Good news, Ada Marsh!" in answer.text
    assert filled(answer.text)["words.text"] == TEXT
    assert own(desk) == []


def test_words_are_looked_at_with_a_real_repair(
    keeper_client: Browser, desk: Desk, keeper: By, taken_in: TakenIn
) -> None:
    number = taken_in.numbers[0]
    for stage in ("board_work", "testing", "ready"):
        move(desk, keeper, number, stage, confirmed=True)
    words = {
        "words.text": "For {name}: {device}, {stage}\n\n{code}\n\n{to_pay}\n\n{choose_link}",
        "ticket": spoken(number),
    }

    page = send(keeper_client, words, do="look").text

    assert re.search(r"For Ada\w*[^<]*: [^{]+, Ready", page)
    assert f"With repair {spoken(number)}." in page
    with desk.reading() as connection:
        assert wordings.newest_ones(connection) == {}


def test_a_look_shows_what_the_repair_has(keeper_client: Browser, desk: Desk, keeper: By, taken_in: TakenIn) -> None:
    number = taken_in.numbers[0]
    offer = TypedOffer("It is torn.", options=[TypedOption("Replace the lid", [TypedLine("Lid", "1", "12.34")])])
    assert "Replace the port" in keeper_client.get(f"/shop/wording/question_put/extra/en?ticket={number}").text
    note(desk, keeper, number, "The lid has a crack.", audience="customer")
    draft(desk, keeper, number, offer, put_at_once=True)

    assert "The lid has a crack." in keeper_client.get(f"/shop/wording/noted/notes/en?ticket={number}").text
    asked = keeper_client.get(f"/shop/wording/question_put/extra/en?ticket={number}").text
    assert "Replace the lid: £12.34" in asked
    assert "Replace the port" not in asked


def test_a_look_shows_what_was_asked_about_ones_data_and_what_the_bench_wants(
    keeper_client: Browser, desk: Desk, keeper: By, taken_in: TakenIn, technician: By
) -> None:
    number = taken_in.numbers[0]
    ref = rights.enter(desk, keeper, Asked("erasure", "mail", number=number))
    for words in ("request_told/received", "request_waits/always"):
        assert "to have it erased" in keeper_client.get(f"/shop/wording/{words}/en?ticket={number}").text
    rights.settle(desk, keeper, ref, "refused", "A claim is open.")
    assert "A claim is open." in keeper_client.get(f"/shop/wording/request_told/refused/en?ticket={number}").text

    with desk.writing() as connection:
        document = policies.document(connection, 1)
        policies.add(connection, f"{document}\n[approvals]\nsign_off_above = 40\n", desk.clock.now(), None)
    offer = TypedOffer("It is torn.", options=[TypedOption("Replace the lid", [TypedLine("Lid", "1", "812.34")])])
    draft(desk, technician, number, offer, put_at_once=True)
    asked = keeper_client.get(f"/shop/wording/sign_off_wanted/always/en?ticket={number}").text
    assert "at most £812.34." in asked
    assert "Hello Kim," in asked


def test_what_the_staff_read_is_said_in_their_language_alone(keeper_client: Browser, desk: Desk, keeper: By) -> None:
    """The shop's first language is theirs."""
    page = keeper_client.get("/shop/wording").text

    assert 'href="/shop/wording/let_through/always/en"' in page
    assert "/shop/wording/let_through/always/de" not in page
    with pytest.raises(NotFound):
        save_words(desk, keeper, OCCASIONS["let_through", "always"], "de", {Part.SUBJECT: "Durchgelassen"})


def test_a_look_gives_no_working_link_and_no_code_away(
    keeper_client: Browser, desk: Desk, keeper: By, taken_in: TakenIn
) -> None:
    for stage in ("board_work", "testing", "ready"):
        move(desk, keeper, taken_in.numbers[0], stage, confirmed=True)

    page = send(keeper_client, {"ticket": taken_in.numbers[0]}, do="look").text

    assert set(re.findall(r"/t/(\w+)", page)) == {"C" + "X" * 36}
    assert "26T-ANN" in page


@pytest.mark.parametrize("name", list(OCCASIONS), ids="-".join)
def test_every_message_can_be_looked_at_with_a_repair(
    keeper_client: Browser, taken_in: TakenIn, name: tuple[str, str]
) -> None:
    for tag in ("en",) if OCCASIONS[name].for_staff else ("en", "de"):
        answer = keeper_client.get(f"/shop/wording/{name[0]}/{name[1]}/{tag}?ticket={taken_in.numbers[0]}")
        assert answer.status_code == 200
        reads = answer.text.split('<h2 id="reads">')[1].split("<h2>")[0]
        assert reads.count('<p class="letter">') >= 2
        assert "{" not in reads


@pytest.mark.parametrize("number", ["9999-9", "nonsense", "💥", "4711" * 50])
def test_a_number_that_is_none_is_told(keeper_client: Browser, number: str) -> None:
    answer = send(keeper_client, {"words.text": TEXT, "ticket": number}, do="look")

    assert answer.status_code == 200
    assert 'aria-describedby="no-ticket"' in answer.text
    assert filled(answer.text)["words.text"] == TEXT


def test_the_price_of_a_text_stands_beside_it(keeper_client: Browser, desk: Desk) -> None:
    assert "each time" not in keeper_client.get(PAGE).text
    with desk.writing() as connection:
        text = policies.document(connection, 1)
        assert text is not None
        policies.add(connection, text.replace("# sms_price = 0.04", "sms_price = 0.045"), desk.clock.now(), None)

    page = keeper_client.get(PAGE).text
    assert "(GSM 7-bit) and goes out as 1 text." in page
    assert "That costs £0.045 each time." in page
    dearer = send(keeper_client, {"words.sms": "Ready! " * 20 + "{link}"}, do="look").text
    assert "That costs £0.09 each time." in dearer


def test_words_changed_meanwhile_are_told_with_what_was_typed(keeper_client: Browser, desk: Desk, keeper: By) -> None:
    fields = filled(keeper_client.get(PAGE).text) | {"words.text": TEXT, "do": "save"}
    save_words(desk, keeper, READY, "en", {Part.SUBJECT: "Somebody was faster"})

    answer = keeper_client.post(PAGE, data=fields)

    assert answer.status_code == 409
    assert "changed meanwhile" in answer.text
    assert "Somebody was faster" in answer.text
    assert filled(answer.text)["words.text"] == TEXT
    assert keeper_client.post(PAGE, data=filled(answer.text) | {"do": "save"}).status_code == 303


def test_one_goes_back_to_an_earlier_revision_and_to_the_programs_words(
    keeper_client: Browser, desk: Desk, keeper: By
) -> None:
    save_words(desk, keeper, READY, "en", {Part.SUBJECT: "First"})
    save_words(desk, keeper, READY, "en", {Part.SUBJECT: "Second"})
    back = f"{PAGE}/back"

    fields = hidden_fields(keeper_client.get(PAGE).text, back)
    assert keeper_client.post(back, data=fields | {"revision": "1"}).location == f"{PAGE}?saved=3"
    assert own(desk)[0] == {Part.SUBJECT: "First"}
    fields = hidden_fields(keeper_client.get(PAGE).text, back)
    assert keeper_client.post(back, data=fields | {"revision": "0"}).location == f"{PAGE}?saved=4"
    assert own(desk)[0] == {}


@pytest.mark.parametrize("revision", ["", "x", "-1", "9" * 12])
def test_a_revision_that_is_no_number_is_a_broken_form(
    keeper_client: Browser, keeper: By, desk: Desk, revision: str
) -> None:
    save_words(desk, keeper, READY, "en", {Part.SUBJECT: "First"})
    fields = hidden_fields(keeper_client.get(PAGE).text, f"{PAGE}/back")

    assert keeper_client.post(f"{PAGE}/back", data=fields | {"revision": revision}).status_code == 400


@pytest.mark.parametrize("path", ["ready/never/en", "nothing/always/en", "ready/always/fr", "let_through/always/de"])
def test_there_are_no_words_for_what_is_no_message(keeper_client: Browser, path: str) -> None:
    assert keeper_client.get(f"/shop/wording/{path}").status_code == 404


def test_the_list_says_what_is_the_shops(keeper_client: Browser, desk: Desk, keeper: By) -> None:
    save_words(desk, keeper, READY, "de", {Part.SUBJECT: "Fertig!"})

    page = keeper_client.get("/shop/wording").text

    assert page.count("your words, revision 1") == 1
    to_staff = sum(each.for_staff for each in OCCASIONS.values())
    assert page.count("the program’s words") == 2 * len(OCCASIONS) - to_staff - 1
    assert 'href="/shop/wording"' in keeper_client.get("/shop/").text


def test_the_bench_changes_no_words(staff_client: Browser) -> None:
    assert staff_client.get(PAGE).status_code == 403
    assert staff_client.get("/shop/wording").status_code == 403


def test_it_stands_beside_what_went_out_in_which_words(
    keeper_client: Browser, installation: Installation, keeper: By
) -> None:
    save_words(installation.desk, keeper, OCCASIONS["taken_in", "one"], "en", {Part.SUBJECT: "Here it is"})
    take_in(installation.desk, keeper, NewVisit([NewDevice("Radio", "Hums")], email="ada@example.org", language="en"))
    assert [tally.done for _name, tally in installation.sweep(["send"])] == [1]

    assert "in your words, revision 1" in keeper_client.get("/shop/sent").text


# The manual


def in_braces(names) -> str:
    return ", ".join(f"`{{{name}}}`" for name in names) or "–"


def test_the_manual_lists_every_placeholder_and_what_each_message_may_name() -> None:
    rows = table("wording.md")
    listed = [row for row in rows if len(row) == 3]

    assert listed == [
        [f"`{{{each.name}}}`", str(each.says), "yes" if each.always else "no"] for each in PLACEHOLDERS.values()
    ]
    assert [row for row in rows if len(row) == 4][2:] == [
        [
            str(each.title),
            in_braces(name for name in each.placeholders if name not in USUAL),
            in_braces(each.must[Part.TEXT]),
            in_braces(each.must.get(Part.SMS, ())),
        ]
        for occasions in EVENTS.values()
        for each in occasions
    ]


def test_the_manual_says_what_a_notice_may_name_and_that_messages_advertise_nothing() -> None:
    chapter = (resources.manual() / "wording.md").read_text(encoding="utf-8")

    assert f"it may name only {in_braces(OPEN_TO_ALL)}." in chapter
    assert "regulation 22" in chapter
    assert "not legal advice" in chapter
