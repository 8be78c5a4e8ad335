"""What the facts that are kept with a journal entry say, in the words of whoever reads them.

A fact that says the same to everybody, whatever stands beside it, is a line of `_ALONE`; any other one of `_TOGETHER`.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from datetime import date
from typing import Any, NamedTuple

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
from portal.rules.stages import Ending, Hold
from portal.rules.test_sheet import RESULT_WORDS, Result, When
from portal.rules.undelivered import DECISION_WORDS, Decision
from portal.rules.warranty import Verdict
from portal.rules.warranty import Way as WarrantyWay
from portal.rules.windows import REASONS

Kept = Mapping[str, Any]
Said = dict[str, object]


class Words(NamedTuple):
    """The words that differ between the bench and the customer."""

    holds: Mapping[Hold, Sentence]
    endings: Mapping[Ending, Sentence]
    verdicts: Mapping[Verdict, Sentence]
    ways: Mapping[WarrantyWay, Sentence]


def facts(kept: Kept, policy: Policy, words: Words) -> Said:
    """The facts of an entry, each as it is said; what has no words of its own stays as it is kept."""
    said: Said = dict(kept)
    for name, fact in kept.items():
        if name in _ALONE:
            said[name] = _ALONE[name](fact)
        elif name in _TOGETHER:
            said |= _TOGETHER[name](kept, policy, words)
    return said


_ALONE: Mapping[str, Callable[[Any], object]] = {
    "because": lambda reason: REASONS[reason],
    "day": date.fromisoformat,
    "decision": lambda decision: DECISION_WORDS[Decision(decision)],
    "expected_on": date.fromisoformat,
    "ground": lambda ground: GROUND_WORDS[Ground(ground)],
    "later": spoken,
    "moment": lambda moment: MOMENT_WORDS[moment],
    "notice": lambda kind: KIND_WORDS[NoticeKind(kind)],
    "origin": lambda origin: ORIGIN_WORDS[Origin(origin)],
    "right": lambda right: RIGHT_WORDS[Right(right)],
    "taken_back_since": lambda because: BECAUSE_WORDS[Because(because)],
    "use": lambda use: USE_WORDS[Use(use)],
    "wants": lambda wants: WANTS_WORDS[Wants(wants)],
    "way": lambda way: WAY_WORDS[Way(way)],
    "wish": lambda wish: WISH_WORDS[wish],
    "writer": lambda writer: WRITER_WORDS[Writer(writer)],
}
_WHEN = {When.BEFORE: say("before the repair"), When.AFTER: say("after the repair")}


def _amount(kept: Kept, _policy: Policy, _words: Words) -> Said:
    currency = kept["currency"]
    said: Said = {"amount": Price(int(kept["amount_minor"]), currency) if "amount_minor" in kept else ""}
    if "due_minor" in kept:
        said["due"] = Price(int(kept["due_minor"]), currency)
    if "price_way" in kept:
        terms = of_event(kept)
        said |= {"price_way": PRICE_WAY_WORDS[terms.way], "terms": terms.words()}
    return said


def _call(kept: Kept, _policy: Policy, _words: Words) -> Said:
    return {"outcome": OUTCOME_WORDS[Outcome(kept["outcome"])], "contact": WRITER_WORDS[Writer(kept["contact"])]}


def _earlier(kept: Kept, _policy: Policy, _words: Words) -> Said:
    return {"earlier": spoken(kept["earlier"]), "until": date.fromisoformat(kept["until"])}


def _how(kept: Kept, _policy: Policy, _words: Words) -> Said:
    how = kept["how"]
    if how in list(How):
        return {"how": HOW_WORDS[How(how)]}
    if how in DELIVERIES:
        return {"how": DELIVERY_WORDS[State(how)], "came": CUSTOMER_DELIVERY_WORDS[State(how)]}
    return {}


def _paid(kept: Kept, _policy: Policy, _words: Words) -> Said:
    return {"money": MONEY_WORDS[MoneyKind(kept["money"])], "paid_how": PAID_WORDS[PaidHow(kept["paid_how"])]}


def _result(kept: Kept, _policy: Policy, _words: Words) -> Said:
    return {"result": RESULT_WORDS[Result(kept["result"])], "when": _WHEN[When(kept["when"])]}


def _stage(kept: Kept, policy: Policy, _words: Words) -> Said:
    stage = policy.stage(kept["stage"])
    return {
        "stage": stage.label if stage else kept["stage"],
        "sentence": stage.sentence if stage else kept["stage"],
    }


def _verdict(kept: Kept, _policy: Policy, words: Words) -> Said:
    return {"found": words.verdicts[Verdict(kept["verdict"])], "paid_by": words.ways[WarrantyWay(kept["paid_by"])]}


_TOGETHER: Mapping[str, Callable[[Kept, Policy, Words], Said]] = {
    "currency": _amount,
    "earlier": _earlier,
    "ending": lambda kept, _policy, words: {"ending": words.endings[Ending(kept["ending"])]},
    "hold": lambda kept, _policy, words: {"hold": words.holds[Hold(kept["hold"])]},
    "how": _how,
    "money": _paid,
    "outcome": _call,
    "result": _result,
    "stage": _stage,
    "verdict": _verdict,
}
