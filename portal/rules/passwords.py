"""What a password must be: long, and not one that anybody would guess. Nothing else is asked of it.

NIST SP 800-63B-4 section 3.1.1.2 asks at least 15 characters where a password is the only factor, that 64 be accepted,
and no composition rules; OWASP ASVS 5.0 V6.2 agrees, and asks to refuse the commonest passwords and those made of
words of the context.

Why there is no file of common passwords: the published lists hold passwords people chose where 6 or 8 characters were
enough, and next to none reaches 15. Whoever must reach 15 makes one by stringing common pieces together ("Password"
twice, "qwertyuiop12345", the shop's name with a year), which no list holds. So what is looked at is the pieces: letters
are brought to one case and the usual swaps undone, then common words, keyboard rows, the shop's and the person's own
names, digits and repetitions are struck out; too little may be left over.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable
from itertools import pairwise

from portal.rules.refusals import Unfit, needs
from portal.rules.sentences import say

SHORTEST, LONGEST = 15, 256
PIN_DIGITS = 6
_FEWEST_DIFFERENT = 5
_FEWEST_LEFT = 5  # characters beside the common pieces: about one more word that is not on the list
# The roots of the commonest passwords in English and German, and the keyboard's rows. From memory.
_PIECES = """
    password passwort kennwort passw geheim secret letmein welcome willkommen changeme default login admin
    administrator master keeper bench repair repairs workshop werkstatt reparatur phone handy service shop
    hello hallo iloveyou ichliebedich dragon monkey football baseball fussball sunshine princess shadow superman
    batman starwars pokemon trustno freedom whatever michael jordan ashley daniel thomas charlie summer winter
    spring autumn sommer herbst january december monday test testing this that is my the mein das ist ein
    qwertyuiop qwertzuiop azertyuiop asdfghjkl yxcvbnm zxcvbnm qwerty qwertz azerty asdf zxcv yxcv abcdefghi
    abcdef abcd abc correcthorsebatterystaple
"""
_COMMON = frozenset(_PIECES.split())
_SWAPS = str.maketrans("013457@$!", "oleastasi")


def normal(typed: str) -> str:
    """The password as it is compared: NFC and nothing else, so that one keyboard's accents are another's."""
    return unicodedata.normalize("NFC", typed[: 4 * LONGEST])  # no letter of NFC is made of more than four


def name_typed(typed: str) -> str:
    """A name as typed at the login, in the form in which names are kept."""
    text = typed[:200].replace("\0", "").encode("utf-8", "replace").decode()  # lone surrogates cannot be kept
    return " ".join(unicodedata.normalize("NFC", text).split())


def password(typed: str, own_words: Iterable[str]) -> str:
    """The password as it is kept. Raises Unfit.

    `own_words` are the shop's and the person's own names, which nobody's password may be made of.
    """
    text = normal(typed)
    if not text:
        raise needs("password", say("The password"))
    if len(text) < SHORTEST:
        raise Unfit(
            "password",
            say(
                "The password has {length} characters; at least {least} are needed. Four or five words do.",
                length=len(text),
                least=SHORTEST,
            ),
        )
    if len(text) > LONGEST:
        raise Unfit("password", say("The password is too long: at most {most} characters.", most=LONGEST))
    if is_guessable(text, own_words):
        raise Unfit(
            "password",
            say(
                "This password is easy to guess: common words, a pattern, or a name of the shop or of yourself. "
                "Take four or five other words."
            ),
        )
    return text


def pin(typed: str) -> str:
    """A PIN of six digits. Raises Unfit for anything else, and for rows like 123456, 111111, 121212, 123123."""
    text = typed.strip()
    if not (text.isascii() and text.isdigit() and len(text) == PIN_DIGITS):
        raise Unfit("pin", say("A PIN has {digits} digits.", digits=PIN_DIGITS))
    steps = {int(after) - int(before) for before, after in pairwise(text)}
    if steps in ({0}, {1}, {-1}) or text == text[:2] * 3 or text == text[:3] * 2:
        raise Unfit("pin", say("This PIN is easy to guess. Take one that is no row of digits."))
    return text


def is_guessable(text: str, own_words: Iterable[str]) -> bool:
    """Whether too little is left when the common and the shop's own pieces are struck out."""
    folded = text.casefold()
    own = {_plain(piece) for words in own_words for piece in re.findall(r"\w{3,}", words.casefold())}
    candidates = {_plain(folded), _plain(folded.translate(_SWAPS))}
    return any(_is_poor(candidate, own) for candidate in candidates)


def _is_poor(plain: str, own: set[str]) -> bool:
    if len(set(plain)) < _FEWEST_DIFFERENT or _is_repetition(plain) or _is_run(plain):
        return True
    rest = plain
    for word in sorted(_COMMON | own, key=len, reverse=True):
        rest = rest.replace(word, "-")
    return len(re.sub(r"[\d-]", "", rest)) < _FEWEST_LEFT


def _plain(text: str) -> str:
    return "".join(letter for letter in text if letter.isalnum())


def _is_repetition(text: str) -> bool:
    """Whether the text is one piece again and again that would be too short by itself."""
    longest = min(len(text) // 2, SHORTEST - 1)
    return any(text == (text[:size] * len(text))[: len(text)] for size in range(1, longest + 1))


def _is_run(text: str) -> bool:
    """Whether most characters follow the one before them, up or down."""
    neighbours = sum(abs(ord(after) - ord(before)) <= 1 for before, after in pairwise(text))
    return neighbours * 4 >= (len(text) - 1) * 3
