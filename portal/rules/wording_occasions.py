"""Which messages may be said in the shop's own words, on which occasions, and what those words may name.

Every message is among them. What a question itself says and a proof keeps is no message: it has its own revision.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping
from itertools import groupby

from portal.rules.collection import Tone
from portal.rules.rights import REMEDIES, RIGHT_WORDS, Right
from portal.rules.sentences import Sentence, say
from portal.rules.wording import Occasion, Part, Placeholder

ALWAYS = "always"  # the key of an event's only occasion


def _each(*placeholders: Placeholder) -> dict[str, Placeholder]:
    return {each.name: each for each in placeholders}


_LINK_EXAMPLE = say("https://repairs.example.org/t/CABCDEFGHJKLMNPQRSTUVWXYZ234567ABCDEFG")

# Every placeholder there is. What stands for it in a letter: `letters/own_words.py`.
PLACEHOLDERS: Mapping[str, Placeholder] = _each(
    Placeholder("shop", say("the shop’s name"), say("A small repair shop")),
    Placeholder("shop_briefly", say("the shop’s name, at most 24 letters of it"), say("A small repair shop")),
    Placeholder("shop_phone", say("the shop’s telephone number"), say("020 7946 0999"), always=False),
    Placeholder("name", say("the reader’s name"), say("Ada Marsh"), always=False),
    Placeholder("number", say("the number of the repair, or the numbers of all of the visit"), say("4711-3")),
    Placeholder("device", say("what the device is called"), say("Handheld console")),
    Placeholder(
        "link", say("the reader’s own link; in a question about money the link to the question"), _LINK_EXAMPLE
    ),
    Placeholder("devices", say("a line for each device: its number and what it is called"), say("4711-3  Radio")),
    Placeholder("count", say("how many devices came in"), say("2")),
    Placeholder(
        "agreed",
        say("a line for each device about which something was agreed"),
        say("Agreed for 4711-3: No fix, no fee: if we cannot repair it, it costs you nothing."),
        always=False,
    ),
    Placeholder("stage", say("the stage’s name"), say("Board work")),
    Placeholder(
        "stage_sentence", say("the stage’s sentence for customers"), say("We are repairing the circuit board.")
    ),
    Placeholder(
        "notes", say("what the bench wrote"), say("The charging port was worn; a new one is fitted."), always=False
    ),
    Placeholder("corrections", say("what was put right"), say("It was the port, not the battery."), always=False),
    Placeholder(
        "photos",
        say("a sentence that says how many photos there are"),
        say("There is a new photo of Handheld console on the page of your repair."),
        always=False,
    ),
    Placeholder(
        "answers",
        say("what the customer wrote, and the answer to it"),
        say("Our answer: Yes, the memory card is in its slot."),
    ),
    Placeholder("code", say("the code: for collecting, or for answering a question"), say("26T-ANN"), always=False),
    Placeholder("to_pay", say("what is still to be paid"), say("£48.50"), always=False),
    Placeholder(
        "hours", say("the opening hours, a line for each run of days"), say("Mon–Fri: 09:00–17:30"), always=False
    ),
    Placeholder("choose_link", say("the page on which the reader chooses how to have the device"), _LINK_EXAMPLE),
    Placeholder("posted_on", say("the day on which the parcel went off"), say("Tue 8 Dec 2026")),
    Placeholder("carrier", say("who carries the parcel"), say("Royal Parcel")),
    Placeholder("reference", say("the parcel’s reference"), say("AB 123 456"), always=False),
    Placeholder("ready_since", say("the day since when it is ready"), say("Tue 8 Dec 2026")),
    Placeholder(
        "storage",
        say("the sentence on what storage costs, where the customer accepted that"),
        say("As in the terms you accepted, storage costs £1.00 for each started day, and never more than £20.00."),
        always=False,
    ),
    Placeholder("found", say("what the bench found"), say("The port is torn off."), always=False),
    Placeholder(
        "options", say("a line for each thing proposed, with its price"), say("Replace the port: £67.00 (tax included)")
    ),
    Placeholder("answer_by", say("day and hour until when an answer is wanted"), say("Mon 9 Mar 2026, 17:30")),
    Placeholder(
        "answered", say("the sentence that says how the answer was given"), say("You agreed to this, by telephone.")
    ),
    Placeholder(
        "bill", say("what was agreed, line by line, with its total"), say("Replace the port: £67.00"), always=False
    ),
    Placeholder("check_value", say("the check value of the proof"), say("3f5a0c"), always=False),
    Placeholder(
        "cancelling",
        say("until when it can be cancelled and what they asked, where it was agreed at a distance"),
        say("You can cancel this until Tue 22 Dec 2026, the end of that day."),
        always=False,
    ),
    Placeholder("because", say("the sentence that says why it takes longer"), say("We wait for a part.")),
    Placeholder(
        "window",
        say("the sentence on when it will probably be ready"),
        say("It will probably be ready between Tue 8 Dec and Thu 10 Dec."),
        always=False,
    ),
    Placeholder("days", say("the days between which it will probably be ready"), say("8–10 Dec"), always=False),
    Placeholder("answer", say("what the shop answers"), say("We put it right at our cost.")),
    Placeholder("finding", say("the sentence on whether it is the same fault"), say("It is the same fault again.")),
    Placeholder("paid_by", say("the sentence on who pays"), say("We repair it at our cost.")),
    Placeholder("explained", say("how the bench explains it"), say("A joint had come loose.")),
    Placeholder(
        "consequences",
        say("what is to be paid for what was cancelled, and what is given back"),
        say("Nothing is to be paid for what you cancelled."),
    ),
    Placeholder("owed_back", say("what is owed back to the customer"), say("£67.00")),
    Placeholder("owed_by", say("the day by which it was to be given back"), say("Thu, 2 Apr 2026")),
    Placeholder("right", say("what is asked about personal data"), RIGHT_WORDS[Right.ACCESS]),
    Placeholder("answer_due", say("the last day on which to answer"), say("Thu, 2 Apr 2026"), always=False),
    Placeholder(
        "written",
        say("what the keeper wrote to them: the reason, or what was done"),
        say("It is more than one person’s data."),
        always=False,
    ),
    Placeholder("remedies", say("the sentence on where one may complain"), REMEDIES),
    Placeholder("used_from", say("the day from which the data is used again"), say("Thu, 2 Apr 2026"), always=False),
    Placeholder("price", say("the dearest of what the bench proposes"), say("£67.00")),
    Placeholder("why", say("the reason that the bench gave"), say("Agreed with the owner by telephone.")),
    Placeholder("complaint", say("what the customer is not satisfied with"), say("It hums as before.")),
    Placeholder(
        "terms", say("the sentence on what was agreed about the price"), say("We agreed a fixed price: £48.50.")
    ),
)
USUAL = ("shop", "shop_briefly", "shop_phone", "name", "number", "device", "link")


def _occasion(
    event: str,
    title: Sentence,
    more: Iterable[str] = (),
    *,
    key: str = ALWAYS,
    text: Collection[str] = (),
    sms: Collection[str] = ("link",),
) -> Occasion:
    known = {name: PLACEHOLDERS[name] for name in (*USUAL, *more)}
    return Occasion(event, key, title, known, {Part.TEXT: text, Part.SMS: sms})


def _to_staff(event: str, title: Sentence, more: Collection[str], text: Collection[str]) -> Occasion:
    known = {name: PLACEHOLDERS[name] for name in (*USUAL, *more)}
    return Occasion(event, ALWAYS, title, known, {Part.TEXT: text}, for_staff=True)


_ASKED = ("found", "options", "answer_by")
_TONES: Mapping[Tone, Sentence] = {
    Tone.FRIENDLY: say("Ready and not collected: the friendly reminder"),
    Tone.PLAIN: say("Ready and not collected: the plain reminder"),
    Tone.FIRM: say("Ready and not collected: the firm reminder"),
    Tone.LAST: say("Ready and not collected: the last reminder"),
}
_ALL = (
    _occasion("taken_in", say("Taken in: one device"), ("devices", "agreed"), key="one", text=("devices", "agreed")),
    _occasion(
        "taken_in",
        say("Taken in: several devices"),
        ("devices", "agreed", "count"),
        key="several",
        text=("devices", "agreed"),
    ),
    _occasion("stage_reached", say("A stage reached"), ("stage", "stage_sentence")),
    _occasion("window_moved", say("It takes longer"), ("because", "window", "days"), text=("because", "window")),
    _occasion("noted", say("A note for the customer"), ("notes", "photos"), key="notes", text=("notes", "photos")),
    _occasion(
        "noted",
        say("A note put right"),
        ("notes", "corrections", "photos"),
        key="corrections",
        text=("notes", "corrections", "photos"),
    ),
    _occasion("noted", say("Photos, without a note"), ("photos",), key="photos", text=("photos",)),
    _occasion("answered", say("An answer to what the customer wrote"), ("answers",), text=("answers",)),
    _occasion("question_put", say("The price for the repair is asked"), _ASKED, key="estimate", text=_ASKED[1:]),
    _occasion(
        "question_put", say("The price is asked anew, since it changed"), _ASKED, key="estimate_anew", text=_ASKED[1:]
    ),
    _occasion("question_put", say("More work is asked"), _ASKED, key="extra", text=_ASKED[1:]),
    _occasion(
        "question_put", say("More work is asked anew, since it changed"), _ASKED, key="extra_anew", text=_ASKED[1:]
    ),
    _occasion("question_reminder", say("No answer yet: asked once more"), _ASKED[1:], text=_ASKED[1:]),
    _occasion(
        "question_answered",
        say("The customer agreed"),
        ("answered", "bill", "cancelling", "check_value"),
        key="agreed",
        text=("answered", "bill", "cancelling"),
    ),
    _occasion(
        "question_answered",
        say("The customer said no"),
        ("answered", "check_value"),
        key="declined",
        text=("answered",),
    ),
    _occasion("question_lapsed", say("No answer in time"), ("answer_by",)),
    _occasion("question_withdrawn", say("A question is taken back")),
    _occasion("question_code", say("The code for an answer"), ("code",), text=("code",), sms=("code",)),
    _occasion(
        "price_agreed",
        say("What was agreed about the price"),
        ("terms", "bill", "cancelling"),
        text=("terms", "bill", "cancelling"),
    ),
    _occasion(
        "cancelled",
        say("The customer cancelled"),
        ("consequences",),
        key="cancelled",
        text=("consequences",),
    ),
    _occasion(
        "cancelled",
        say("Not cancelled after all: it was written down by mistake"),
        ("consequences",),
        key="undone",
        text=("consequences",),
    ),
    _occasion(
        "ready",
        say("Ready"),
        ("stage", "stage_sentence", "code", "to_pay", "hours", "choose_link", "storage"),
        text=("code", "to_pay", "choose_link"),
    ),
    _occasion("ready_undone", say("Not ready after all")),
    *(
        _occasion("uncollected", title, ("ready_since", "storage"), key=tone.value, text=("storage",))
        for tone, title in _TONES.items()
    ),
    _occasion("ended", say("Handed over"), key="handed_over"),
    _occasion("ended", say("Given back as it came"), key="unrepaired"),
    _occasion("ended", say("Given up by its owner"), key="given_up"),
    _occasion("handed_over_without_code", say("Handed over without the collection code")),
    _occasion("reopened", say("Here after all: the last message was a mistake"), ("code",), text=("code",)),
    _occasion("posted", say("Posted"), ("posted_on", "carrier", "reference")),
    _occasion("parcel_came_back", say("The parcel came back"), ("code", "choose_link"), text=("code", "choose_link")),
    _occasion("complaint_answered", say("The answer to a complaint"), ("answer",), text=("answer",)),
    _occasion(
        "fault_compared",
        say("Whether a device came back with the same fault"),
        ("finding", "paid_by", "explained"),
        text=("finding", "paid_by", "explained"),
    ),
    _occasion("own_data_code", say("The code for one’s data"), ("code",), text=("code",), sms=("code",)),
    _occasion(
        "request_told",
        say("A request about personal data is received"),
        ("right", "answer_due"),
        key="received",
        text=("right", "answer_due"),
    ),
    _occasion(
        "request_told",
        say("A request about personal data takes longer"),
        ("right", "answer_due", "written", "remedies"),
        key="extended",
        text=("right", "answer_due", "written", "remedies"),
    ),
    _occasion(
        "request_told",
        say("A request about personal data waits for the customer"),
        ("right",),
        key="stopped",
        text=("right",),
    ),
    _occasion(
        "request_told",
        say("A request about personal data is carried out"),
        ("right", "written"),
        key="done",
        text=("right", "written"),
    ),
    _occasion(
        "request_told",
        say("A request about personal data is refused"),
        ("right", "written", "remedies"),
        key="refused",
        text=("right", "written", "remedies"),
    ),
    _occasion(
        "request_told",
        say("Personal data that was only stored is used again"),
        ("right", "used_from"),
        key="lifting",
        text=("used_from",),
    ),
    _occasion("link_again", say("The link once more")),
    _to_staff("sign_off_wanted", say("To the keeper: more work waits for a yes"), ("price", "found"), ("price",)),
    _to_staff("let_through", say("To the keeper: a test sheet was let through"), ("why",), ("why",)),
    _to_staff(
        "complained",
        say("To the keeper: a customer is not satisfied"),
        ("complaint", "answer_due"),
        ("complaint", "answer_due"),
    ),
    _to_staff(
        "refund_overdue",
        say("To the keeper: money was to be given back"),
        ("owed_back", "owed_by"),
        ("owed_back",),
    ),
    _to_staff(
        "request_waits",
        say("To the keeper: a request about personal data waits"),
        ("right", "answer_due"),
        ("answer_due",),
    ),
)
OCCASIONS: Mapping[tuple[str, str], Occasion] = {each.name: each for each in _ALL}
EVENTS: Mapping[str, list[Occasion]] = {event: list(each) for event, each in groupby(_ALL, lambda each: each.event)}
