"""A broken policy is answered with every fault: its path in the file, what was found, and what is allowed."""

from __future__ import annotations

import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from portal.rules.policy_check import LONGEST, check
from tests.rules.policies import WHOLE

# name → (text of the whole policy, what stands there instead, the fault told)
BROKEN = {
    "a gate nobody has heard of": (
        'gate = "contact_reachable"',
        'gate = "pictures"',
        "stages[4].enter[0].gate (in “ready”): found “pictures”. Allowed: fault_described, contact_reachable",
    ),
    "a gate that neither blocks nor warns": (
        'when_shut = "warn"',
        'when_shut = "stop"',
        "stages[4].enter[0].when_shut (in “ready”): found “stop”. Allowed: block, warn.",
    ),
    "a gate without its name": (
        'gate = "fault_described", ',
        "",
        "stages[0].leave[0].gate (in “received”): found nothing. Allowed: a value: “gate” cannot be left out.",
    ),
    "a key with a slip in it": (
        'tell = true\n\n[[stages]]\nkey = "testing"',
        'tel = true\n\n[[stages]]\nkey = "testing"',
        "stages[2].tel (in “board_work”): found an unknown key. Allowed: “tell”, if that is meant.",
    ),
    "a table that no policy has": (
        "[hours]",
        "[weather]\nsunny = true\n[hours]",
        "weather: found an unknown key. Allowed: shop, hours, stages, kinds",
    ),
    "another tax rate of a shop without tax": (
        "[hours]",
        "[approvals]\nother_tax_percents = [7.7]\n[hours]",
        "approvals.other_tax_percents[0]: found 7.7. "
        "Allowed: rates beside the shop’s own tax_percent, where it has one.",
    ),
    "an account number with a wrong digit": (
        "[hours]",
        '[money]\npayee = "Shop"\niban = "DE88 3704 0044 0532 0130 00"\n[hours]',
        "money.iban: found “DE88 3704 0044 0532 0130 00”. Allowed: an IBAN whose check digits are right, or nothing.",
    ),
    "an account that is nobody’s": (
        "[hours]",
        '[money]\niban = "DE89370400440532013000"\n[hours]',
        "money: found an account without a name. Allowed: “payee”: the name that the account stands in.",
    ),
    "how to pay in one language of two": (
        "[hours]",
        '[money]\nhow_to_pay = { en = "In cash." }\n[hours]',
        "money.how_to_pay.de: found no text. Allowed: a text in each language of the shop: en, de.",
    ),
    "a way back that there is not": (
        "[hours]",
        '[handover]\noffers = ["pigeon"]\n[hours]',
        "handover.offers[0]: found “pigeon”. Allowed: collect, send, post.",
    ),
    "a way back twice": (
        "[hours]",
        '[handover]\noffers = ["collect", "post", "collect"]\n[hours]',
        "handover: found the way “collect” twice. Allowed: each way once.",
    ),
    "no way back at all": (
        "[hours]",
        "[handover]\noffers = []\n[hours]",
        "handover.offers: found 0 of them. Allowed: at least 1.",
    ),
    "more than a day to undo a handover": (
        "[hours]",
        "[handover]\nundo_minutes = 1441\n[hours]",
        "handover.undo_minutes: found the number 1441. Allowed: 1440 or less.",
    ),
    "a label without German": (
        '{ en = "Received", de = "Angenommen" }',
        '{ en = "Received" }',
        "stages[0].label.de (in “received”): found no text. Allowed: a text in each language of the shop: en, de.",
    ),
    "a label in a language the shop does not write": (
        '{ en = "Received", de = "Angenommen" }',
        '{ en = "Received", de = "Angenommen", fr = "Reçu" }',
        "stages[0].label.fr (in “received”): found a text in a language that is not the shop’s. "
        "Allowed: en, de; or add it to shop.languages.",
    ),
    "a label in no language": (
        '{ en = "Received", de = "Angenommen" }',
        '"Received"',
        "stages[0].label (in “received”): found “Received”. Allowed: a table, as { … } or under its own [heading].",
    ),
    "no name": (
        'name = "A small repair shop"\n',
        "",
        "shop.name: found nothing. Allowed: a value: “name” cannot be left out.",
    ),
    "an empty name": (
        '"A small repair shop"',
        '"  "',
        "shop.name: found an empty text. Allowed: a text that is not empty.",
    ),
    "a name longer than a sign": (
        '"A small repair shop"',
        f'"{"x" * 300}"',
        "shop.name: found 300 characters. Allowed: at most 200 characters.",
    ),
    "a name that cannot be seen": (
        '"A small repair shop"',
        '"A \\u0000 shop"',
        "shop.name: found a text with control characters in it. Allowed: letters, digits and signs that can be seen.",
    ),
    "an address on one line": (
        '["1 Example Lane", "Exampleton"]',
        '"1 Example Lane"',
        "shop.address: found “1 Example Lane”. Allowed: a list in [ ].",
    ),
    "a city for a time zone": (
        'zone = "Europe/London"',
        'zone = "London"',
        "shop.zone: found “London”. Allowed: the name of a time zone, like “Europe/London”.",
    ),
    "a country that ISO 3166-1 spells otherwise": (
        'country = "GB"',
        'country = "UK"',
        "shop.country: found “UK”. Allowed: the two capital letters of a country, like “GB” or “DE”.",
    ),
    "a currency by its name": (
        'currency = "GBP"',
        'currency = "pounds"',
        "shop.currency: found “pounds”. Allowed: a currency’s three letters, like “GBP” or “EUR”.",
    ),
    "more tax than price": (
        "# tax_percent = 20",
        "tax_percent = 120",
        "shop.tax_percent: found the number 120. Allowed: less than 100.",
    ),
    "tax that is no number": (
        "# tax_percent = 20",
        'tax_percent = "a fifth"',
        "shop.tax_percent: found “a fifth”. Allowed: a number.",
    ),
    "a language by its name": (
        '["en", "de"]',
        '["en", "German"]',
        "shop.languages[1]: found “German”. Allowed: a language’s tag, like “en”, “de” or “de-CH”.",
    ),
    "a language twice": (
        '["en", "de"]',
        '["en", "de", "de"]',
        "shop.languages[2]: found “de” again. Allowed: each language once.",
    ),
    "closing before opening": (
        "closes = 17:30:00",
        "closes = 08:00:00",
        "hours.monday[0]: found closing at 08:00 after opening at 09:00. "
        "Allowed: “opens” earlier than “closes” on the same day; a span over midnight is written as two.",
    ),
    "opening hours as a bare number": (
        "opens = 09:00:00",
        "opens = 9",
        "hours.monday[0].opens: found the number 9. Allowed: a time of day, like 09:00:00.",
    ),
    "opening hours in words": (
        "opens = 09:00:00",
        'opens = "nine"',
        "hours.monday[0].opens: found “nine”. Allowed: a time of day, like 09:00:00.",
    ),
    "spans that overlap": (
        "saturday = []",
        "saturday = [{ opens = 09:00:00, closes = 12:00:00 }, { opens = 11:30:00, closes = 14:00:00 }]",
        "hours.saturday[1].opens: found 11:30, while the shop is open already. Allowed: spans that do not overlap.",
    ),
    "a holiday that ends before it begins": (
        "saturday = []",
        "closed = [{ first = 2027-08-13, last = 2027-08-02 }]",
        "hours.closed[0]: found a last day, 2027-08-02, before the first, 2027-08-13. "
        "Allowed: “first” on or before “last”.",
    ),
    "a holiday from a bare number": (
        "saturday = []",
        "closed = [{ first = 13, last = 2027-08-02 }]",
        "hours.closed[0].first: found the number 13. Allowed: a date, like 2026-12-24.",
    ),
    "public holidays of a region that is none": (
        '"GB-ENG"',
        '"GB-XYZ"',
        "hours.public_holidays: found “GB-XYZ”. Allowed: a country, or a country and a region, "
        "like “DE”, “DE-BE” or “GB-ENG”; empty for none.",
    ),
    "a stage's key that stands already": (
        'key = "testing"',
        'key = "received"',
        "stages[3].key (in “received”): found “received”, which stands at [0] already. Allowed: each key once.",
    ),
    "a stage's key with capitals and blanks": (
        'key = "testing"',
        'key = "Final Test"',
        "stages[3].key (in “Final Test”): found “Final Test”. "
        "Allowed: 1 to 40 small letters a–z, digits and _, beginning with a letter.",
    ),
    "a switch that is neither on nor off": (
        "may_be_skipped = true",
        'may_be_skipped = "sometimes"',
        "stages[1].may_be_skipped (in “cleaning”): found “sometimes”. Allowed: true or false.",
    ),
    "a caution for a stage the shop does not have": (
        'stages = ["board_work"]',
        'stages = ["soldering"]',
        "cautions[1].stages[0] (in “fume”): found “soldering”. "
        "Allowed: received, cleaning, board_work, testing, ready.",
    ),
    "terms whose version is a sentence": (
        'version = "draft-1"',
        'version = "our new terms"',
        "terms.version: found “our new terms”. Allowed: 1 to 40 letters, digits, dots and dashes, like “2026-1”.",
    ),
}

# name → (text, line and column, what is told of it)
NO_TOML = {
    "typographic quotes": (
        WHOLE.replace('"A small repair shop"', "“A small repair shop”"),
        "Line 3, column 8: found no value that can be read. Allowed: a text between straight quotes, a number, "
        "true or false, a time as 09:00:00, a date as 2026-12-24.",
    ),
    "a text without its end": (
        '[shop]\nname = "A small repair shop\n',
        'Line 2, column 28: found a text without its end. Allowed: a text between straight quotes, like "this".',
    ),
    "a table's name without its end": (
        "[shop",
        "Line 1, column 6: found a table’s name without its end. Allowed: [name], or [[name]] for one of a list.",
    ),
    "a key without its value": (
        "[shop]\nname",
        "Line 2, column 5: found a key without “=”. Allowed: lines like key = value.",
    ),
    "a list without its end": (
        '[shop]\naddress = ["1 Example Lane"',
        "Line 2, column 28: found a list without its end. Allowed: a list in [ ].",
    ),
    "a table opened twice": (
        "[shop]\n[hours]\n[shop]\n",
        "Line 3, column 6: found a table that is opened twice. "
        "Allowed: each [table] once; lists of tables as [[table]].",
    ),
    "a time without its seconds": (
        "[hours]\nmonday = [{ opens = 09:00, closes = 17:00 }]",
        "Line 2, column 22: found a table without its end. Allowed: a table in { }.",
    ),
}


def told(text: str) -> list[str]:
    return [str(fault) for fault in check(text)]


def test_a_whole_policy_has_no_fault():
    assert told(WHOLE) == []


@pytest.mark.parametrize(("good", "bad", "fault"), BROKEN.values(), ids=BROKEN.keys())
def test_a_fault_is_told_with_its_place_and_what_is_allowed(good: str, bad: str, fault: str):
    broken = WHOLE.replace(good, bad, 1)

    assert broken != WHOLE
    faults = told(broken)
    assert len(faults) == 1
    assert faults[0] == fault if fault.endswith(".") else faults[0].startswith(fault)


@pytest.mark.parametrize(("text", "fault"), NO_TOML.values(), ids=NO_TOML.keys())
def test_what_is_no_toml_is_told_with_line_and_column(text: str, fault: str):
    assert told(text) == [fault]


def test_all_faults_are_told_at_once_in_the_order_of_the_file():
    broken = WHOLE
    for good, bad, _fault in (BROKEN["no name"], BROKEN["a label without German"], BROKEN["opening hours in words"]):
        broken = broken.replace(good, bad, 1)

    paths = [fault.path for fault in check(broken)]

    assert paths == ["shop.name", "hours.monday[0].opens", "stages[0].label.de"]


def test_an_empty_policy_lacks_what_every_shop_needs():
    assert [fault.path for fault in check("")] == ["shop", "stages", "kinds"]


def test_one_unreadable_language_does_not_make_every_text_strange():
    assert [fault.path for fault in check(WHOLE.replace('["en", "de"]', '["en", "German"]'))] == ["shop.languages[1]"]


@pytest.mark.parametrize(
    "text", ["a = " + "[" * 10_000, "x" * (LONGEST + 1), 'a = "\ud800"'], ids=["deep", "long", "half"]
)
def test_a_monstrous_text_is_a_fault_and_no_crash(text: str):
    assert len(check(text)) == 1


@given(st.integers(0, len(WHOLE)), st.integers(0, 60), st.text(max_size=5))
def test_however_a_policy_is_damaged_it_is_read_or_its_faults_are_told(start: int, length: int, instead: str):
    for fault in check(WHOLE[:start] + instead + WHOLE[start + length :]):
        assert re.fullmatch(r"(?s).+: found .+\. Allowed: .+\.", str(fault))
