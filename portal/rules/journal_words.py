"""What a journal entry says: to the bench in its terms, to the customer in plainer ones."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from typing import Any

from portal.rules.conversation import HOW_WORDS, OUTCOME_WORDS, WRITER_WORDS, How, Outcome, Writer
from portal.rules.formal_notices import BECAUSE_WORDS, KIND_WORDS, Because
from portal.rules.formal_notices import Kind as NoticeKind
from portal.rules.giving_up import WISH_WORDS
from portal.rules.messages import WANTS_WORDS, Wants
from portal.rules.money import Price
from portal.rules.numbers import spoken
from portal.rules.parts import CUSTOMER_DELIVERY_WORDS, DELIVERIES, DELIVERY_WORDS, ORIGIN_WORDS, Origin, State
from portal.rules.payments import HOW_WORDS as PAID_WORDS
from portal.rules.payments import KIND_WORDS as MONEY_WORDS
from portal.rules.payments import How as PaidHow
from portal.rules.payments import Kind as MoneyKind
from portal.rules.photo_moments import MOMENT_WORDS
from portal.rules.policy import Policy
from portal.rules.price_terms import WAY_WORDS as PRICE_WAY_WORDS
from portal.rules.price_terms import of_event
from portal.rules.restriction import GROUND_WORDS, USE_WORDS, Ground, Use
from portal.rules.return_ways import WAY_WORDS, Way
from portal.rules.rights import RIGHT_WORDS, Right
from portal.rules.sentences import Sentence, say
from portal.rules.stages import HOLD_WORDS, Ending, Hold
from portal.rules.test_sheet import RESULT_WORDS, Result, When
from portal.rules.undelivered import DECISION_WORDS, Decision
from portal.rules.warranty import CUSTOMER_VERDICT_WORDS, CUSTOMER_WAY_WORDS, VERDICT_WORDS, Verdict
from portal.rules.warranty import WAY_WORDS as WARRANTY_WAY_WORDS
from portal.rules.warranty import Way as WarrantyWay
from portal.rules.windows import REASONS

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
    "push_begun": say("The customer lets a device show notices"),
    "push_stopped": say("A device of the customer shows no notices any more"),
    "promised": say("Promised by hand: ready by {day}"),
    "window_moved": say("Told that it takes longer: {because}"),
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
    "money_taken": say("{money} taken: {amount}, {paid_how}"),
    "money_given_back": say("Given back: {amount}, {paid_how}"),
    "money_reversed": say("Reversed, it was a mistake: {money} {amount}, {paid_how}"),
    "storage_stated": say("Storage stated: {amount}"),
    "storage_taken_back": say("Storage no longer charged: {amount}"),
    "let_off": say("Let off: {amount}"),
    "let_off_taken_back": say("No longer let off: {amount}"),
    "statement_made": say("A statement was made"),
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
    "cancelled": say("The customer cancelled what was agreed to; owed for it all the same: {amount}"),
    "cancellation_taken_back": say("That the customer had cancelled was a mistake"),
    "photographed": say("Photo taken in ({moment})"),
    "photo_withdrawn": say("A photo was withdrawn"),
    "photos_paired": say("A pair of photos was made"),
    "photos_unpaired": say("A pair of photos was taken apart"),
    "photo_pair_shown": say("A pair of photos is shown otherwise"),
    "photo_parts_hidden": say("Parts of a photo were hidden"),
    "photo_released": say("A photo is for the customer too"),
    "photo_described": say("What is said of a photo was changed"),
    "photo_pointed_out": say("Something was pointed out on a copy of a photo"),
    "publication_allowed": say("Pictures and film of the device may be published"),
    "publication_refused": say("Not for publication: the consent was taken back"),
    "received_announced": say("The announced parcel came"),
    "kept_on": say("Kept longer: {kept}, until {until}"),
    "erased": say("Personal data erased on request"),
    "formal_notice_made": say("{notice} written"),
    "formal_notice_posted": say("{notice} posted on {day}"),
    "formal_notice_withdrawn": say("{notice} taken back: {taken_back_since}"),
    "owner_untraced": say("The owner cannot be traced; steps taken"),
    "owner_traced": say("The owner was found after all"),
    "complained": say("The customer is not satisfied; answer by {day}"),
    "complaint_answered": say("Complaint answered"),
    "complaint_closed": say("Complaint closed"),
    "came_back": say("Came back within the warranty of {earlier}, until {until}"),
    "came_back_as": say("The device is here again, as {later}"),
    "fault_compared": say("Looked at: {found}; {paid_by}"),
    "verdict_objected": say("The customer does not agree with what was found"),
    "sold_by_law": say("Sold by law on {day} for {amount}; {due} is due to the owner"),
    "let_go": say("Kept no longer than usual: {kept}"),
    "stated": say("The owner’s own statement, added to the record"),
    "data_asked": say("A request about personal data: {right}"),
    "data_extended": say("A request about personal data takes longer: {right}"),
    "data_stopped": say("A request about personal data waits for an answer from the person: {right}"),
    "data_done": say("A request about personal data was carried out: {right}"),
    "data_refused": say("A request about personal data was refused: {right}"),
    "data_lifting": say("The owner is told that the data will be used again"),
    "data_lifted": say("The data may be used again"),
    "use_allowed": say("Although the data is only stored: {use}, since {ground}"),
    "use_ended": say("The data is only stored, also for: {use}"),
}
_CUSTOMER: Mapping[str, Sentence] = {
    "announced": say("You told us that it is coming."),
    "arrived": say("We took your device in."),
    "promised": say("We told you that it will be ready by {day}."),
    "window_moved": say("We told you that it takes longer. {because}"),
    "moved": say("{sentence}"),
    "held": say("{hold}"),
    "released": say("We are going on."),
    "noted": say("From the shop:"),
    "wrote": say("You wrote:"),
    "photo_sent": say("You sent a photo."),
    "said": say("You told us {how}:"),
    "price_agreed": say("{terms}"),
    "gone_ahead": say("We go ahead within the limit you gave us: {amount}."),
    "money_taken": say("You paid {amount}, {paid_how}."),
    "money_given_back": say("We gave you {amount} back, {paid_how}."),
    "storage_stated": say("Storage costs {amount} so far, as our terms say."),
    "storage_taken_back": say("We do not charge {amount} for storage any more."),
    "let_off": say("We do not charge you {amount} of it:"),
    "let_off_taken_back": say("{amount} that we let you off was a mistake of ours, and is charged as agreed."),
    "statement_made": say("We made a statement of what was agreed and paid."),
    "question_drafted": say("We asked you about more work."),
    "question_put": say("We asked you about more work."),
    "question_signed_off": say("We asked you about more work."),
    "question_withdrawn": say("We took our question back. Nothing is done or charged for it."),
    "agreed": say("You agreed."),
    "declined": say("You declined. It is not done, and costs nothing."),
    "lapsed": say("No answer in time: not done, nothing to pay for it."),
    "yes_taken_back": say("You took your yes back. It is not done, and costs nothing."),
    "agreed_work_begun": say("The work you agreed to has begun."),
    "cancelled": say("You cancelled what you had agreed to. What was done by then costs {amount}."),
    "cancellation_taken_back": say("That you had cancelled was a mistake of ours: it holds as you agreed."),
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
    "stated": say("Your statement, added to the record:"),
    "photographed": say("We took a photo."),
    "photos_paired": say("Before and after can be looked at together."),
    "formal_notice_posted": say("We posted you a formal letter by recorded post: {notice}, on {day}."),
    "complained": say("You told us that you are not satisfied:"),
    "complaint_answered": say("Our answer to your complaint:"),
    "complaint_closed": say("Your complaint is closed."),
    "came_back": say("It is here again within the warranty of your repair {earlier}, which runs until {until}."),
    "fault_compared": say("{found} {paid_by}"),
    "verdict_objected": say("You do not agree with what we found:"),
    "photo_released": say("There is a photo for you."),
    "photo_pointed_out": say("We point something out to you on a photo."),
    "publication_allowed": say("You allowed us to publish pictures and film of your device."),
    "publication_refused": say("You took back that pictures and film of your device may be published."),
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
    if "moment" in data:
        facts["moment"] = MOMENT_WORDS[data["moment"]]
    if "wish" in data:
        facts["wish"] = WISH_WORDS[data["wish"]]
    if "notice" in data:
        facts["notice"] = KIND_WORDS[NoticeKind(data["notice"])]
    if "taken_back_since" in data:
        facts["taken_back_since"] = BECAUSE_WORDS[Because(data["taken_back_since"])]
    if "due_minor" in data:
        facts["due"] = Price(int(data["due_minor"]), data["currency"])
    if "verdict" in data:
        is_for_bench = endings is BENCH_ENDINGS
        verdict, way = Verdict(data["verdict"]), WarrantyWay(data["paid_by"])
        facts["found"] = VERDICT_WORDS[verdict] if is_for_bench else CUSTOMER_VERDICT_WORDS[verdict]
        facts["paid_by"] = WARRANTY_WAY_WORDS[way] if is_for_bench else CUSTOMER_WAY_WORDS[way]
    if "earlier" in data:
        facts["earlier"], facts["until"] = spoken(data["earlier"]), date.fromisoformat(data["until"])
    if "later" in data:
        facts["later"] = spoken(data["later"])
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
    if "use" in data:
        facts["use"] = USE_WORDS[Use(data["use"])]
    if "ground" in data:
        facts["ground"] = GROUND_WORDS[Ground(data["ground"])]
    if "right" in data:
        facts["right"] = RIGHT_WORDS[Right(data["right"])]
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
    if "because" in data:
        facts["because"] = REASONS[data["because"]]
    if "money" in data:
        facts["money"], facts["paid_how"] = MONEY_WORDS[MoneyKind(data["money"])], PAID_WORDS[PaidHow(data["paid_how"])]
    if "hold" in data:
        facts["hold"] = holds[Hold(data["hold"])]
    if "ending" in data:
        facts["ending"] = endings[Ending(data["ending"])]
    return facts
