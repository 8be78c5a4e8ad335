"""A letter as a mail: text and plain HTML that say the same, nothing remote, nothing that tracks."""

from __future__ import annotations

import re
from datetime import datetime, timedelta
from email.errors import HeaderParseError
from email.headerregistry import Address
from email.message import EmailMessage
from email.policy import SMTP, SMTPUTF8
from email.utils import format_datetime

import idna

from notifications.channels import ChannelDown, Hopeless
from notifications.letters import Letter

MOST_ATTEMPTS = 40  # more than four days of retries make; only a message that kills its sender comes so far
REPEATS = 1
FIRST_RETRY = timedelta(minutes=10)  # greylisting wants a few minutes at least
_UNPRINTABLE = re.compile(r"[\x00-\x1f\x7f-\x9f\u2028\u2029]+")
_FORM = SMTP.clone(max_line_length=76)  # RFC 5322 2.1.1: lines should have at most 78 characters
_FORM_UTF8 = SMTPUTF8.clone(max_line_length=76)  # RFC 6532, only where an address needs it


def mail(letter: Letter, message_id: str, domain: str, now: datetime) -> EmailMessage:
    """The mail for a letter, its Message-ID in the shop's `domain`. Raises Hopeless as `one_address` does."""
    to = one_address(letter.to)
    message = EmailMessage(policy=_FORM if to.isascii() else _FORM_UTF8)
    message["Message-ID"] = f"<{message_id}@{domain}>"
    message["Date"] = format_datetime(now)
    message["From"] = _line(letter.sender)
    if len(message["From"].addresses) != 1 or not message["From"].addresses[0].domain:
        raise ChannelDown("the shop’s own address, which mail comes from, is not one e-mail address")
    message["To"] = to
    if letter.reply_to:
        message["Reply-To"] = _line(letter.reply_to)
    message["Subject"] = _line(letter.subject)
    message["Auto-Submitted"] = "auto-generated"  # RFC 3834 5.1: nobody's holiday notice answers it
    for name, value in letter.headers.items():
        message[name] = _line(value)
    message.set_content(letter.text, cte="quoted-printable")
    if letter.html:
        message.add_alternative(letter.html, subtype="html", cte="quoted-printable")
    for each in letter.attachments:
        kind, _, subtype = each.media_type.partition("/")
        message.add_attachment(each.content, maintype=kind, subtype=subtype, filename=each.name)
    message["Content-Language"] = letter.language  # last, since setting the content drops such headers
    return message


def one_address(text: str) -> str:
    """The address, if exactly one, its domain in ASCII. Raises Hopeless: a comma would make it two recipients."""
    local, _at, domain = text.strip().rpartition("@")
    try:
        domain = idna.encode(domain, uts46=True).decode("ascii")
        # The parser knows letters beyond ASCII (RFC 6531 3.3) only as a fault, so it is shown others in their place.
        shown = "".join(letter if letter.isascii() else "x" for letter in local) + f"@{domain}"
        is_one = Address(addr_spec=shown).addr_spec == shown and not _UNPRINTABLE.search(text)
    except (HeaderParseError, ValueError, IndexError):  # IDNAError is a ValueError
        is_one = False
    if not is_one:
        raise Hopeless("the address is not exactly one e-mail address")
    return f"{local}@{domain}"


def _line(text: str) -> str:
    return _UNPRINTABLE.sub(" ", text).strip()
