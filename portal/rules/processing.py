"""What the record of processing says beside the register: how data is kept safe, and what others who handle it sign.

GDPR Art. 28(3), 30(5) and 32(1), in our words. Not legal advice; local law decides.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

from portal.rules.sentences import Sentence, say

# What the contract says with whoever handles data for the shop: Art. 28(3)(a) to (h).
CONTRACT: Sequence[Sentence] = (
    say("they do with the data only what you tell them in writing, also where it leaves the country"),
    say("whoever of theirs sees it has promised to keep it to themselves"),
    say("they keep it safe, as the law asks of you (Art. 32)"),
    say("they take on others for it only with your leave, and on the same terms"),
    say("they help you to answer people who ask about their data"),
    say("they help you with its safety, with breaches, and where you must weigh the risk first"),
    say("at the end they erase it or give it back, as you choose"),
    say("they show you that they keep to it, and let it be looked into"),
)
# A shop repairs all year round, so the exemption of small enterprises does not hold (Art. 30(5)).
NOT_OCCASIONAL = say(
    "A shop with fewer than 250 people keeps this record too, since it handles its customers’ data all the time (Art. "
    "30(5) GDPR)."
)


def safety(*, encrypted: bool, archived_on: date | None, tried_on: date | None) -> Sequence[Sentence]:
    """How data is kept safe here, as it stands now: Art. 32(1)(a) to (d)."""
    archives = say("archives are encrypted") if encrypted else say("archives are not encrypted")
    made = say("last archived on {day}", day=archived_on) if archived_on else say("no archive was made yet")
    tried = (
        say("an archive was last brought back in a test on {day}", day=tried_on)
        if tried_on
        else say("no archive was brought back in a test yet")
    )
    return (
        say(
            "pseudonyms and encryption: proof and accounts are kept without name and address, links and codes are not "
            "stored, passwords are hashed, {archives}",
            archives=archives,
        ),
        say(
            "confidential, correct, there when needed, and able to bear faults: each person has a login and a role of "
            "their own, the journal cannot be rewritten, a change is made whole or not at all"
        ),
        say("brought back after a fault: {made}", made=made),
        say("tried out regularly: {tried}", tried=tried),
    )
