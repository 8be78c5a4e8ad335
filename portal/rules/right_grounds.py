"""When a request must be followed and when it may be refused, as the law lists it: a help for whoever answers.

GDPR Art. 15 to 21, in our words. Not legal advice; local law decides.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from portal.rules.rights import Right
from portal.rules.sentences import Sentence, say


@dataclass(frozen=True)
class Listed:
    """One list of the law; its points carry letters (a), (b) … where `article` has more than one."""

    article: str
    says: Sentence
    points: Sequence[Sentence]


_RECEIVERS_ARE_TOLD = Listed(
    "Art. 19",
    say("Whoever was given the data:"),
    (
        say("is told, unless that cannot be done or is out of all proportion"),
        say("is named to the person, if they ask"),
    ),
)
GROUNDS: Mapping[Right, Sequence[Listed]] = {
    Right.ACCESS: (
        Listed(
            "Art. 15(4), 12(5)",
            say("Hand over everything, but:"),
            (
                say("nothing that harms others: what is held of staff and second persons stays out"),
                say("what is clearly unfounded or excessive may be refused, and you show why it is"),
            ),
        ),
    ),
    Right.RECTIFICATION: (
        Listed(
            "Art. 16, 19",
            say("Correct it without undue delay, and:"),
            (
                say("what is incomplete is completed, also by a statement of theirs"),
                say("whoever was given the wrong data is told, where that can be done"),
            ),
        ),
    ),
    Right.ERASURE: (
        Listed(
            "Art. 17(1)",
            say("It must go where one of these is so:"),
            (
                say("it is not needed any more for what it was collected for"),
                say("they took their consent back, and nothing else allows keeping it"),
                say("they object, and nothing outweighs that"),
                say("it was used unlawfully"),
                say("the law asks for its erasure"),
                say("it is a child’s, collected for an online service"),
            ),
        ),
        Listed(
            "Art. 17(3)",
            say("It may stay where it is needed for one of these:"),
            (
                say("freedom of expression and information"),
                say("a duty by law, such as keeping records for tax"),
                say("public health"),
                say("archives, research or statistics in the public interest"),
                say("to raise, pursue or defend legal claims"),
            ),
        ),
        _RECEIVERS_ARE_TOLD,
    ),
    Right.RESTRICTION: (
        Listed(
            "Art. 18(1)",
            say("It must be restricted where one of these is so:"),
            (
                say("they say that it is wrong, while you check that"),
                say("it was used unlawfully, and they want it restricted rather than erased"),
                say("you need it no more, and they need it for legal claims"),
                say("they objected, while it is weighed whose reasons are stronger"),
            ),
        ),
        _RECEIVERS_ARE_TOLD,
    ),
    Right.OBJECTION: (
        Listed(
            "Art. 21(1)",
            say("Stop what rests on a legitimate interest, unless:"),
            (
                say("you show compelling reasons that outweigh theirs"),
                say("it is needed to raise, pursue or defend legal claims"),
            ),
        ),
        Listed(
            "Art. 21(2), (3)",
            say("Stop advertising to them, without weighing anything:"),
            (
                say("they may ask for that at any time"),
                say("it ends at once, whatever your reasons are"),
            ),
        ),
    ),
}
