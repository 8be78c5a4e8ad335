"""A formal notice as a file of its own: PDF, or HTML where that extra is missing. It goes by post, never by mail."""

from __future__ import annotations

from notifications.letters import Attachment
from portal.language import Language, language
from portal.letters import paper
from portal.letters.rendering import sheet
from portal.rules.formal_notices import KIND_WORDS, PACKS, Pack, owed_words
from portal.rules.numbers import spoken
from portal.rules.policy import Policy
from portal.store.formal_notices import Kept
from portal.store.tickets import Ticket


def facts(ticket: Ticket, kept: Kept, policy: Policy) -> dict[str, object]:
    """What the letter's template says, but for its language and paper."""
    return {
        "ticket": ticket,
        "notice": kept,
        "shop": policy.shop,
        "heading": KIND_WORDS[kept.kind],
        "act": pack_of(policy).act,
        "owed": owed_words(kept.owed_minor, policy.shop.currency),
    }


def pack_of(policy: Policy) -> Pack:
    """What the law asks for by which a letter was made; there is one, since without it there is no letter."""
    pack = PACKS[policy.collection.law]
    if pack is None:
        raise ValueError("A formal notice without a law cannot be.")
    return pack


def its_language(policy: Policy) -> Language:
    """The language of the law, where the shop speaks it."""
    spoken_here, wanted = policy.shop.languages, pack_of(policy).language
    return language(wanted if wanted in spoken_here else spoken_here[0], policy.shop.zone)


def file(ticket: Ticket, kept: Kept, policy: Policy) -> Attachment:
    """The letter as a file."""
    words = its_language(policy)
    page = sheet("print/formal_notice_file.html", words, **facts(ticket, kept, policy), style=paper.style("a4"))
    return paper.file(f"notice-{kept.kind}-{spoken(ticket.number)}", page)
