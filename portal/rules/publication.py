"""The words by which an owner allows that pictures or film of a device are published: a yes of its own."""

from __future__ import annotations

from portal.rules.sentences import say

# GDPR Art. 4(11), 7: a clear yes to a named purpose, apart from everything else, as easily taken back as given. The
# repair never hangs on it (Art. 7(4)). Not legal advice.
ALLOWS = say(
    "The shop may publish pictures and film of my device and its repair. My name, my address and what the device holds "
    "are not shown. I can take this back at any time; the repair is the same either way."
)
