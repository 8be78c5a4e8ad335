"""What the customer gets: what we found, what we did, what we tested. Told from the record, for page and print."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from portal.rules import parts
from portal.rules.intake_record import CUSTOMER_SAFETY, Liquid, Record, Seal, unsafe
from portal.rules.parts import PartLine
from portal.rules.policy_bench import Check
from portal.rules.sentences import Sentence, say
from portal.rules.test_sheet import FUNCTION_TEST_ONLY, LOCKED, RESULT_WORDS, Result, Tried, When


@dataclass(frozen=True)
class SafetyTest:
    """An electrical safety test as it was recorded: nothing here judges it. `tested_on` is a day in ISO form."""

    done: bool
    by_whom: str = ""
    instrument: str = ""
    tested_on: str = ""
    result: str = ""


@dataclass(frozen=True)
class Tested:
    """One check: the policy's words by language, its result before and after, and why it was let through."""

    words: Mapping[str, str]
    before: Sentence | None
    after: Sentence | None
    let_through: str = ""


@dataclass(frozen=True)
class Summary:
    """Three lists; sentences to translate, and the shop's own words (plain text) as they are."""

    found: Sequence[Sentence | str]
    did: Sequence[Sentence | str]
    tested: Sequence[Tested]
    closing: Sequence[Sentence]


def summary(
    record: Record | None,
    told: Sequence[str],
    fitted: Sequence[PartLine],
    given: Sequence[str],
    checks: Sequence[Check],
    sheet: Sequence[Tried],
    safety: SafetyTest | None = None,
    *,
    made_safe: bool = False,
) -> Summary:
    """The summary. `told` are the notes for the customer, `given` the work given free."""
    found = _found(record, made_safe) if record else []
    did: list[Sentence | str] = list(told)
    did += [say("Fitted: {part}", part=parts.told(part)) for part in fitted if part.state is parts.State.FITTED]
    did += [say("Given free: {what}", what=what) for what in given]
    tested = _tested(checks, sheet)
    closing = [FUNCTION_TEST_ONLY] if tested else []
    if safety:
        closing.append(_safety(safety))
    return Summary(found, did, tested, closing)


def _found(record: Record, made_safe: bool) -> list[Sentence | str]:
    found: list[Sentence | str] = [record.shop_sees] if record.shop_sees else []
    for mark in record.marks:
        found.append(", ".join(filter(None, (mark.what, mark.side, mark.place))))
    if record.seal in (Seal.BROKEN, Seal.MISSING):
        found.append(say("The seal was broken.") if record.seal == Seal.BROKEN else say("The seal was missing."))
    if record.earlier_repair:
        found.append(say("Signs of an earlier repair: {signs}", signs=record.earlier_repair))
    if record.liquid == Liquid.SIGNS:
        found.append(say("There were signs of liquid inside."))
    if unsafe(record, made_safe=made_safe):
        found.append(CUSTOMER_SAFETY)
    return found


def _tested(checks: Sequence[Check], sheet: Sequence[Tried]) -> list[Tested]:
    by_key = {(tried.check, tried.when): tried for tried in sheet}
    lines = []
    for check in checks:
        before, after = by_key.get((check.key, When.BEFORE)), by_key.get((check.key, When.AFTER))
        if before or after:
            reason = after.let_through if after else ""
            lines.append(Tested(check.customer, _shown(check, before), _shown(check, after), reason))
    return lines


def _shown(check: Check, tried: Tried | None) -> Sentence | None:
    if tried is None:
        return None
    if tried.result is Result.NOT_TRIED and tried.note == "locked":
        return LOCKED
    words = RESULT_WORDS[tried.result]
    band = check.band()
    if band and tried.value is not None:
        words = say("{result}, {value} {unit}", result=words, value=tried.value, unit=band.unit)
    return say("{result} ({note})", result=words, note=tried.note) if tried.note else words


def _safety(test: SafetyTest) -> Sentence:
    if not test.done:
        return say("No electrical safety test was made.")
    return say(
        "Electrical safety test on {day} by {whom}, with {instrument}. Recorded result: {result}",
        day=date.fromisoformat(test.tested_on),
        whom=test.by_whom,
        instrument=test.instrument,
        result=test.result,
    )
