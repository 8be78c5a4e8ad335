"""What became of a message, as it is kept with it, said to people: our own reasons, and whatever the other side said.

`notifications` and the letters write reasons down in English and know no languages. Here each of them is known again.
What is not among them is the other side's own answer, which stays as it was given.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping

from portal.rules.messages import channel_words
from portal.rules.sentences import Sentence, say

# Kept as they are said. A name between braces stands for what differs.
_KEPT_AS_SAID = (
    # Why it was not sent
    say("all devices have left the shop"),
    say("a formal notice was posted"),
    say("dropped on restoring"),
    say("it is no longer on file"),
    say("it is no longer on file, or its device has left the shop"),
    say("nobody of that name works here any more"),
    say("nothing is owed back by that day any more"),
    say("the answer is another one by now"),
    say("the answer is no longer on file"),
    say("the code is not the newest any more"),
    say("the complaint is closed"),
    say("the contact is no longer on file"),
    say("the contact is not to be told any more"),
    say("the contact wants no reminders"),
    say("the contact wants to hear only what is asked, and that it is ready"),
    say("the customer has chosen a day meanwhile"),
    say("the customer has it posted"),
    say("the data is only stored, at its owner’s wish"),
    say("the device does not wait as it did"),
    say("the device has left the shop"),
    say("the device has left the shop again"),
    say("the device is not in that stage any more"),
    say("the device is not ready any more"),
    say("the device is not waiting any more"),
    say("the device is ready again"),
    say("the device is ready, or has left the shop"),
    say("the handover was undone"),
    say("the parcel came back"),
    say("the parcel came back, or never went off"),
    say("the question is another one by now"),
    say("the question waits for no answer any more"),
    say("the question waits for the keeper no more"),
    say("the question waits no more"),
    say("the reason is no longer on file"),
    say("the repair is no longer on file"),
    say("the request is no longer on file"),
    say("the request waits no more"),
    say("the terms are no longer on file"),
    # Why it did not arrive, or may not have
    say("it could not be written: {fault}"),
    say("nobody knows whether it arrived"),
    say("tried too often"),
    # By mail
    say("the address is not exactly one e-mail address"),
    say("the line broke after the letter: {fault}"),
    say("the line broke before the letter: {fault}"),
    say("the mail server cannot be reached: {fault}"),
    say("the mail server cannot write to an address with such letters"),
    say("the mail server refuses the login: {fault}"),
    say("the mail server said {fault}"),
    say("the mail server’s certificate does not fit: {fault}"),
    say("the mailbox folder cannot be written: {fault}"),
    say("the shop’s own address, which mail comes from, is not one e-mail address"),
    # By text message
    say("address {place} of the gateways cannot be read"),
    say("the extra “gateways” is not installed: pip install 'benchwindow[gateways]'"),
    say("the gateway answered {status}"),
    say("the gateway cannot be reached"),
    say("the gateway gave no answer"),
    say("the gateway’s address cannot be read"),
    say("the number is not one with its country"),
    # By a notice on a device
    say("no device listens any more"),
    say("the device’s keys cannot be read"),
    say("the device’s push service is not on the list of those allowed"),
    say("the extra “push” is not installed: pip install 'benchwindow[push]'"),
    say("the push service answered {status}"),
    say("the push service answered {status}: the device listens no more"),
    say("the push service cannot be reached: {fault}"),
    say("the push service cannot be trusted: {fault}"),
    say("the push service gave no answer"),
    say("the push service gave no answer a moment ago"),
    say("the push service’s name is not known"),
    say("the push service’s name leads to an address that is not allowed"),
)
# Kept with words that are not for people: the channel's name in the code.
_SAID_OTHERWISE: Mapping[str, Sentence] = {
    "by '{way}' it was taken, but nobody knows whether it was seen": say(
        "it was taken {way}, but nobody knows whether it was seen"
    ),
    "the channel broke off: {fault}": say("sending broke off in the middle: {fault}"),
    "the channel does not work": say("this way of sending does not work at the moment"),
    "there is no address for this channel any more": say("there is no address any more for this way"),
    "there is no channel '{way}' here": say("the shop has nothing set up to reach anybody {way}"),
}


def outcome_words(kept: str) -> Sentence:
    """The reason that is kept with a message, as a sentence; the other side's answer as it was given."""
    for pattern, sentence in _KNOWN:
        if found := pattern.fullmatch(kept):
            facts = found.groupdict()
            return Sentence(sentence.template, {name: _fact(name, value) for name, value in facts.items()})
    return Sentence("{kept}", {"kept": kept})


def journal_text(event: str, text: str) -> Sentence:
    """What stands below the heading of a journal entry: what somebody wrote, or why a message did not arrive."""
    return outcome_words(text) if event == "undelivered_decided" else Sentence("{text}", {"text": text})


def _fact(name: str, value: str) -> Sentence | str:
    return channel_words(value) if name == "way" else value


def _patterns() -> Iterator[tuple[re.Pattern[str], Sentence]]:
    for sentence in _KEPT_AS_SAID:
        yield _pattern(sentence.template), sentence
    for kept, sentence in _SAID_OTHERWISE.items():
        yield _pattern(kept), sentence


def _pattern(template: str) -> re.Pattern[str]:
    pieces = re.split(r"\{(\w+)\}", template)
    # Even places are words, odd ones names.
    return re.compile(
        "".join(f"(?P<{piece}>.*?)" if place % 2 else re.escape(piece) for place, piece in enumerate(pieces))
    )


# The longer comes first, since a shorter one may fit it too.
_KNOWN = sorted(_patterns(), key=lambda known: -len(known[0].pattern))
