"""A statement as a file of its own: PDF, or HTML without that extra. It goes with the word that a device left."""

from __future__ import annotations

from collections.abc import Sequence

from notifications.letters import Attachment
from portal.language import Language, language
from portal.letters import paper
from portal.letters.rendering import sheet
from portal.letters.told import Facts, Letterbox, Told
from portal.rules.policy import Policy
from portal.rules.sentences import say
from portal.rules.statements import NOT_AN_INVOICE
from portal.store import money
from portal.store.money import Statement
from portal.store.tickets import Ticket

IS_ATTACHED = say("The statement of what was agreed and paid is attached, to keep or to print.")


def attached(desk: Letterbox, told: Told, _context: Facts) -> Sequence[Attachment]:
    """The statement that stands, for the owner; nothing where no money was spoken of."""
    ticket = told.tickets[0]
    if told.contact.role != "owner":
        return ()
    with desk.reading() as connection:
        made = money.standing_statement(connection, ticket.id)
    if made is None:
        return ()
    words = language(told.visit.language, told.policy.shop.zone)
    return (file(ticket, made, told.policy, words, hasty=desk.hasty),)


def file(ticket: Ticket, made: Statement, policy: Policy, words: Language, *, hasty: bool = False) -> Attachment:
    """The statement as a file; `hasty` for HTML, which is made at once."""
    size = policy.prints.page
    page = sheet(
        "print/statement_file.html",
        words,
        shop=policy.shop,
        ticket=ticket,
        statement=made,
        not_an_invoice=NOT_AN_INVOICE,
        day=words.day(words.local(made.at).date()),
        size=size,
        style=paper.style(size),
    )
    return paper.file(f"statement-{made.number}", page, hasty=hasty)
