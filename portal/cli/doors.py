"""The question before free text is saved, asked at every command that takes some, as the site asks it at every form.

A command names its options that hold words; each is looked at before the command runs, and `--yes-keep` says that they
were meant.
"""

from __future__ import annotations

import argparse
from collections.abc import Iterator

from portal.rules.refusals import AskFirst
from portal.rules.secrets import ask_about_secrets
from portal.rules.sentences import say

KEEP = "--yes-keep"
_HELP = "keep the words although they look like a passcode, a card's number or an identity number"


def takes_words(parser: argparse.ArgumentParser, *names: str, also: str = "") -> None:
    """Have these options of a command looked at; `also` is another spelling of the flag that keeps them."""
    parser.add_argument(*filter(None, (KEEP, also)), dest="yes_keep", action="store_true", help=_HELP)
    parser.set_defaults(free_text=names)


def ask_about_words(options: argparse.Namespace) -> None:
    """Raise AskFirst, with every warning at once, where an option's words look like a secret and were not meant."""
    names = getattr(options, "free_text", ())
    texts = [text for name in names for text in _texts(getattr(options, name))]
    try:
        ask_about_secrets(*texts, confirmed=getattr(options, "yes_keep", False))
    except AskFirst as asked:
        raise AskFirst(*asked.reasons, MEANT) from None


MEANT = say("If the words are meant, say it again with {flag}. Nothing was done yet.", flag=KEEP)


def _texts(value: object) -> Iterator[str]:
    """The words of an option: one text, several, or lines that hold one."""
    if isinstance(value, list):
        for each in value:
            yield from _texts(each)
    else:
        yield str(getattr(value, "text", value))
