"""What a journal entry says: to the bench in its terms, to the customer in plainer ones."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from typing import Any

from portal.rules.conversation import HOW_WORDS, OUTCOME_WORDS, WRITER_WORDS, How, Outcome, Writer
from portal.rules.giving_up import WISH_WORDS
from portal.rules.messages import WANTS_WORDS, Wants
from portal.rules.money import Price
from portal.rules.parts import CUSTOMER_DELIVERY_WORDS, DELIVERIES, DELIVERY_WORDS, ORIGIN_WORDS, Origin, State
from portal.rules.policy import Policy
from portal.rules.price_terms import WAY_WORDS as PRICE_WAY_WORDS
from portal.rules.price_terms import of_event
from portal.rules.return_ways import WAY_WORDS, Way
from portal.rules.sentences import Sentence, say
from portal.rules.stages import HOLD_WORDS, Ending, Hold
from portal.rules.test_sheet import RESULT_WORDS, Result, When
from portal.rules.undelivered import DECISION_WORDS, Decision

_BENCH: Mapping[str, Sentence] = {
    "announced": say("Announced by the customer"),
    "taken_over": say("Taken over from an earlier list"),
    "arrived": say("Taken in"),
    "moved": say("Moved to “{stage}”"),
    "held": say("On hold: {hold}"),
    "released": say("Hold lifted"),
    "noted": say("Note"),
    "wrote": say("The customer wrote ({writer})"),
    "photo_sent": say("The customer sent a photo"),
    "said": say("The customer said {how}"),
    "words_read": say("What the customer wrote was read"),
    "undelivered_decided": say("A message that did not arrive: {decision}"),
    "rang": say("Telephone: {contact} {outcome}"),
    "corrected": say("Correction of entry {entry}"),
    "ended": say("Ended: {ending}"),
    "reopened": say("Handover undone"),
    "return_chosen": say("The customer chose: {way}"),
    "return_day_chosen": say("The customer chose: {way}, on {day}"),
    "ownership_questioned": say("Somebody else says that it is theirs"),
    "ownership_noted": say("Whose is it? Noted"),
    "ownership_settled": say("Whose is it? Settled"),
    "delivered": say("The parcel to the owner arrived on {day}"),
    "parcel_came_back": say("The parcel to the owner came back on {day}"),
    "wish_given": say("The owner’s wish in writing: {wish}"),
    "wish_taken_back": say("The owner took the wish back"),
    "data_destroyed": say("What carries data was destroyed"),
    "link_renewed": say("Link renewed"),
    "contact_changed": say("Contact changed"),
    "chose_messages": say("The customer chose which messages to get: {wants}"),
    "stopped_reminders": say("The customer stopped reminders"),
    "shelved": say("Place, date or express changed"),
    "recorded": say("Condition on arrival recorded, version {version}"),
    "made_safe": say("Damaged battery dealt with"),
    "agreed_record": say("The customer says that the record is right, version {version}"),
    "objected": say("The customer objects to the record, version {version}"),
    "tray_opened": say("Into the tray: line {line}, {count}"),
    "tray_closed": say("From the tray: line {line}, {count} {how}, {left} left"),
    "tray_recounted": say("Tray line {line} counted anew: {count}"),
    "tray_struck": say("Tray line {line} struck"),
    "tested": say("Test “{check}” {when}: {result}"),
    "soak_started": say("Soak test “{check}” started"),
    "let_through": say("Check “{check}” let through"),
    "safety_test_recorded": say("Electrical safety test recorded"),
    "cautioned": say("Caution “{caution}” acknowledged"),
    "part_ordered": say("Part {part} ordered, expected {expected_on}"),
    "part_arrived": say("Part {part}: {how}"),
    "part_fitted": say("Part {part} fitted ({origin})"),
    "courtesy_given": say("Given free"),
    "gone_wrong_again": say("The customer says: it has gone wrong again"),
    "price_agreed": say("Agreed at the start: {price_way} {amount}"),
    "gone_ahead": say("Gone ahead within the limit: {amount}"),
    "question_drafted": say("A question about money drafted"),
    "question_put": say("The question is put"),
    "question_signed_off": say("Signed off and put to the customer"),
    "question_returned": say("The keeper sends the question back"),
    "question_changed": say("The question was changed"),
    "question_withdrawn": say("The question was withdrawn"),
    "agreed": say("The customer agreed"),
    "declined": say("The customer declined"),
    "lapsed": say("No answer in time: not done, not charged"),
    "yes_taken_back": say("The customer took the yes back"),
    "agreed_work_begun": say("The work that was agreed to has begun"),
    "photographed": say("Photo taken in ({moment})"),
    "photo_withdrawn": say("A photo was withdrawn"),
    "photos_paired": say("A pair of photos was made"),
    "photos_unpaired": say("A pair of photos was taken apart"),
    "photo_pair_shown": say("A pair of photos is shown otherwise"),
    "received_announced": say("The announced parcel came"),
    "kept_on": say("Kept longer: {kept}, until {until}"),
    "erased": say("Personal data erased on request"),
    "let_go": say("Kept no longer than usual: {kept}"),
}
_CUSTOMER: Mapping[str, Sentence] = {
    "announced": say("You told us that it is coming."),
    "arrived": say("We took your device in."),
    "moved": say("{sentence}"),
    "held": say("{hold}"),
    "released": say("We are going on."),
    "noted": say("From the shop:"),
    "wrote": say("You wrote:"),
    "photo_sent": say("You sent a photo."),
    "said": say("You told us {how}:"),
    "price_agreed": say("{terms}"),
    "gone_ahead": say("We go ahead within the limit you gave us: {amount}."),
    "question_drafted": say("We asked you about more work."),
    "question_put": say("We asked you about more work."),
    "question_signed_off": say("We asked you about more work."),
    "question_withdrawn": say("We took our question back. Nothing is done or charged for it."),
    "agreed": say("You agreed."),
    "declined": say("You declined. It is not done, and costs nothing."),
    "lapsed": say("No answer in time: not done, nothing to pay for it."),
    "yes_taken_back": say("You took your yes back. It is not done, and costs nothing."),
    "agreed_work_begun": say("The work you agreed to has begun."),
    "corrected": say("A correction from the shop:"),
    "ended": say("{ending}"),
    "reopened": say("Your device is back with us."),
    "return_chosen": say("You chose how you have it back."),
    "return_day_chosen": say("You chose the day: {day}."),
    "delivered": say("It arrived with you on {day}."),
    "parcel_came_back": say("The parcel came back to us."),
    "wish_given": say("You told us: {wish}"),
    "wish_taken_back": say("You took your wish back."),
    "data_destroyed": say("What carries data was destroyed, as you wished:"),
    "recorded": say("We wrote down the condition of your device."),
    "agreed_record": say("You said that our record is right."),
    "objected": say("You said that our record is not right:"),
    "let_through": say("A check was let through:"),
    "part_ordered": say("We ordered a part, expected {expected_on}."),
    "part_arrived": say("{came}"),
    "part_fitted": say("We fitted a part ({origin})."),
    "courtesy_given": say("Done for you free of charge:"),
    "gone_wrong_again": say("You told us that it has gone wrong again:"),
    "photographed": say("We took a photo."),
    "photos_paired": say("Before and after can be looked at together."),
}
_WHEN = {When.BEFORE: say("before the repair"), When.AFTER: say("after the repair")}
CUSTOMER_HOLDS: Mapping[Hold, Sentence] = {
    Hold.APPROVAL: say("We are waiting for your answer."),
    Hold.PART: say("We are waiting for a part."),
    Hold.CUSTOMER: say("We are waiting to hear from you."),
    Hold.DISPUTE: say("We are settling a question with you. Your device is safe here."),
    Hold.SAFETY: say("The battery is damaged. We wait until it is dealt with."),
}
BENCH_ENDINGS: Mapping[Ending, Sentence] = {
    Ending.COLLECTED: say("collected"),
    Ending.POSTED: say("posted back"),
    Ending.RETURNED: say("returned unrepaired"),
    Ending.GIVEN_UP: say("given up by its owner"),
    Ending.DISPOSED: say("disposed of by law"),
}
CUSTOMER_ENDINGS: Mapping[Ending, Sentence] = {
    Ending.COLLECTED: say("Your device was handed over."),
    Ending.POSTED: say("Your device was posted to you."),
    Ending.RETURNED: say("Your device was given back as it came."),
    Ending.GIVEN_UP: say("You gave your device up, and we took care of it."),
    Ending.DISPOSED: say("Your device has left the shop."),
}


def for_bench(event: str, data: Mapping[str, Any], policy: Policy) -> Sentence:
    """The entry's heading at the bench."""
    template = _BENCH.get(event)
    return Sentence(template.template, _facts(data, policy, HOLD_WORDS, BENCH_ENDINGS)) if template else Sentence(event)


def for_customer(event: str, data: Mapping[str, Any], policy: Policy) -> Sentence | None:
    """The entry's heading on the customer's page, or None for what is not for the customer."""
    template = _CUSTOMER.get(event)
    if template is None:
        return None
    return Sentence(template.template, _facts(data, policy, CUSTOMER_HOLDS, CUSTOMER_ENDINGS))


def _facts(
    data: Mapping[str, Any],
    policy: Policy,
    holds: Mapping[Hold, Sentence],
    endings: Mapping[Ending, Sentence],
) -> dict[str, object]:
    facts: dict[str, object] = dict(data)
    if "expected_on" in data:
        facts["expected_on"] = date.fromisoformat(data["expected_on"])
    if "day" in data:
        facts["day"] = date.fromisoformat(data["day"])
    if "way" in data:
        facts["way"] = WAY_WORDS[Way(data["way"])]
    if "wish" in data:
        facts["wish"] = WISH_WORDS[data["wish"]]
    if "origin" in data:
        facts["origin"] = ORIGIN_WORDS[Origin(data["origin"])]
    if "decision" in data:
        facts["decision"] = DECISION_WORDS[Decision(data["decision"])]
    if "writer" in data:
        facts["writer"] = WRITER_WORDS[Writer(data["writer"])]
    if "outcome" in data:
        facts["outcome"], facts["contact"] = (
            OUTCOME_WORDS[Outcome(data["outcome"])],
            WRITER_WORDS[Writer(data["contact"])],
        )
    if data.get("how") in list(How):
        facts["how"] = HOW_WORDS[How(data["how"])]
    if data.get("how") in DELIVERIES:
        facts["how"] = DELIVERY_WORDS[State(data["how"])]
        facts["came"] = CUSTOMER_DELIVERY_WORDS[State(data["how"])]
    if "result" in data:
        facts["result"] = RESULT_WORDS[Result(data["result"])]
        facts["when"] = _WHEN[When(data["when"])]
    if "stage" in data:
        stage = policy.stage(data["stage"])
        facts["stage"] = stage.label if stage else data["stage"]
        facts["sentence"] = stage.sentence if stage else data["stage"]
    if "wants" in data:
        facts["wants"] = WANTS_WORDS[Wants(data["wants"])]
    if "currency" in data:
        amount = int(data["amount_minor"]) if "amount_minor" in data else None
        facts["amount"] = "" if amount is None else Price(amount, data["currency"])
        if "price_way" in data:
            terms = of_event(data)
            facts["price_way"], facts["terms"] = PRICE_WAY_WORDS[terms.way], terms.words()
    if "hold" in data:
        facts["hold"] = holds[Hold(data["hold"])]
    if "ending" in data:
        facts["ending"] = endings[Ending(data["ending"])]
    return facts
