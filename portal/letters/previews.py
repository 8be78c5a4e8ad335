"""A message as it would read: in the shop's own words or the program's, about a made-up repair or a real one.

A preview holds no working link and no code, whoever's repair it shows.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from types import SimpleNamespace

from sqlalchemy import Connection

from notifications.letters import Withdrawn
from portal.actions.desk import Desk
from portal.actions.wording import examples
from portal.language import Language, language
from portal.letters import STAFF_STILL_TRUE, STILL_TRUE
from portal.letters.own_words import parts_of, shipped, values_of
from portal.letters.rendering import rendered
from portal.letters.told import Facts, StaffTold, Told
from portal.letters.writing import as_sent, staff_words_of, words_of
from portal.rules import rights as rights_rules
from portal.rules import sms
from portal.rules.policy import Policy
from portal.rules.questions import State
from portal.rules.wording import Occasion, Part, as_text, filled
from portal.store import journal, people, questions, rights, tickets, visits
from portal.store.tickets import Ticket

_MADE_UP = ("link", "choose_link", "code")  # of a real repair, too
# Whose facts are all in the ticket; the others are told with facts of their own, or about a question.
_FACTLESS = (
    "taken_in",
    "price_agreed",
    "ready",
    "ready_undone",
    "reopened",
    "ended",
    "posted",
    "parcel_came_back",
    "complained",
)
_ASKED: Mapping[str, tuple[State, ...]] = {
    "question_put": (State.PUT,),
    "question_reminder": (State.PUT,),
    "question_answered": (State.AGREED, State.DECLINED),
    "question_lapsed": (State.LAPSED, State.WITHDRAWN),
    "question_withdrawn": (State.LAPSED, State.WITHDRAWN),
    "sign_off_wanted": (State.AWAITING,),
}
# Where a request about personal data stands that a message told is about; the others tell of an open one.
_SETTLED: Mapping[str, rights_rules.State] = {
    "done": rights_rules.State.DONE,
    "refused": rights_rules.State.REFUSED,
    "lifting": rights_rules.State.DONE,
}


@dataclass(frozen=True)
class Preview:
    """The parts of a message as they would read; the mail's text whole, with its greeting and its foot.

    `sms` is counted as it goes out. `unsaid` are the parts whose own words cannot be said of this repair, since they
    name something of which there is nothing to say: there the program's words go out.
    """

    parts: Mapping[Part, str]
    sms: sms.Cost | None
    unsaid: tuple[Part, ...]


def preview(
    desk: Desk, connection: Connection, occasion: Occasion, tag: str, words: Mapping[Part, str], ticket: Ticket | None
) -> Preview:
    """How a message would read in these words ("" for the program's), about a repair; None for a made-up one.

    What the repair does not have (yet) is made up. Own words with faults are shown as they stand.
    """
    policy = desk.policy(connection)
    speaking = language(tag, policy.shop.zone)
    values = examples(occasion, policy, desk.links.base_url, tag)
    if ticket is not None:
        values |= _real(desk, connection, occasion, speaking, policy, ticket)
    read, unsaid = {}, []
    for part in parts_of(occasion.event):
        own = as_text(filled(part, words.get(part, ""), values))
        if words.get(part) and not own:
            unsaid.append(part)
        read[part] = own or as_text(filled(part, shipped(speaking, *occasion.name, part), values))
    if Part.SMS in read:
        read[Part.SMS] = as_sent(read[Part.SMS], speaking)
    read[Part.TEXT] = _whole(occasion, speaking, policy, values, read[Part.TEXT])
    return Preview(read, sms.cost(read[Part.SMS]) if Part.SMS in read else None, tuple(unsaid))


def _whole(occasion: Occasion, speaking: Language, policy: Policy, values: Mapping[str, str], text: str) -> str:
    around = {
        "language": speaking,
        "shop": policy.shop,
        "contact": SimpleNamespace(name=values["name"]),
        "number": values["number"],
        "link": values["link"],
        "choices_link": f"{values['link']}/messages",
        "attached": None,
        "to_staff": occasion.for_staff,
        "own_text": text,
    }
    return rendered("_own.txt", around)


def _real(
    desk: Desk, connection: Connection, occasion: Occasion, speaking: Language, policy: Policy, ticket: Ticket
) -> dict[str, str]:
    """What a repair really has of what the words may name."""
    if occasion.for_staff:
        words = _words_to_staff(desk, connection, occasion, policy, ticket)
    else:
        words = _words_to_customer(desk, connection, occasion, speaking, policy, ticket)
    found = values_of(speaking, {**words, "language": speaking}, occasion.placeholders) if words else {}
    return {name: value for name, value in found.items() if name not in _MADE_UP}


def _words_to_customer(
    desk: Desk, connection: Connection, occasion: Occasion, speaking: Language, policy: Policy, ticket: Ticket
) -> Facts:
    visit = visits.by_id(connection, ticket.visit_id)
    contacts = visits.contacts_of(connection, visit.id)
    if not contacts:
        return {}
    about = tickets.of_visit(connection, visit.id) if occasion.key == "several" else [ticket]
    told = Told(replace(visit, language=speaking.tag), contacts[0], about, policy, ())
    facts = _facts(connection, occasion, ticket)
    asked = None if facts is None else STILL_TRUE[occasion.event](desk, connection, replace(told, facts=facts))
    return words_of(desk, told, _if_it_went_out(asked))


def _words_to_staff(desk: Desk, connection: Connection, occasion: Occasion, policy: Policy, ticket: Ticket) -> Facts:
    keepers = [person for person in people.everybody(connection) if person.is_keeper and not person.disabled_at]
    if not keepers:
        return {}
    told = StaffTold(keepers[0], ticket, policy, ())
    facts = _facts(connection, occasion, ticket)
    asked = None if facts is None else STAFF_STILL_TRUE[occasion.event](desk, connection, replace(told, facts=facts))
    return staff_words_of(desk, told, _if_it_went_out(asked))


def _if_it_went_out(context: Facts | Withdrawn | None) -> Facts:
    """What the message would be about if it went out now; {} where it would not."""
    return {} if context is None or isinstance(context, Withdrawn) else context


def _facts(connection: Connection, occasion: Occasion, ticket: Ticket) -> tuple[Facts, ...] | None:
    """The facts that such a message about a repair would have; None where nothing like it has happened."""
    event = occasion.event
    if event in _FACTLESS:
        return ()
    if event == "stage_reached":
        return ({"stage": ticket.stage},)
    if event == "let_through":
        return ({"entry": ticket.revision},)
    if event in ("request_told", "request_waits"):
        state = _SETTLED.get(occasion.key, rights_rules.State.OPEN)
        of_visit = [kept for kept in rights.of_visit(connection, ticket.visit_id) if kept.request.state is state]
        return ({"request": of_visit[-1].ref, "what": occasion.key},) if of_visit else None
    if occasion.key == "notes" or event == "answered":
        entries = journal.entries(connection, ticket.id)
        about = [each for each in entries if ("answers" in each.data) == (event == "answered")]
        return tuple({"entry": each.entry} for each in about)
    asked = [
        kept for kept in questions.of_ticket(connection, ticket.id) if kept.question.state in _ASKED.get(event, ())
    ]
    if not asked:
        return None
    newest = asked[-1]
    return ({"question": newest.ref, "version": newest.question.version, "state": newest.question.state.value},)
