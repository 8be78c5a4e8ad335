"""A letter as a mail: text and plain HTML that say the same, nothing remote, nothing that tracks."""

from __future__ import annotations

import re
from datetime import datetime
from email.errors import HeaderParseError
from email.headerregistry import Address
from email.message import EmailMessage
from email.policy import SMTP
from email.utils import format_datetime, make_msgid

from notifications.channels import Hopeless
from notifications.letters import Letter

_UNPRINTABLE = re.compile(r"[\x00-\x1f\x7f-\x9f\u2028\u2029]+")
_FORM = SMTP.clone(max_line_length=76)


def mail(letter: Letter, message_id: str, now: datetime) -> EmailMessage:
    """The mail for a letter. Raises Hopeless for an address that is not exactly one."""
    message = EmailMessage(policy=_FORM)
    message["Message-ID"] = message_id
    message["Date"] = format_datetime(now)
    message["From"] = _line(letter.sender)
    message["To"] = one_address(letter.to)
    if letter.reply_to:
        message["Reply-To"] = _line(letter.reply_to)
    message["Subject"] = _line(letter.subject)
    message["Auto-Submitted"] = "auto-generated"  # RFC 3834 5.1: nobody's holiday notice answers it
    message["Content-Language"] = letter.language
    for name, value in letter.headers.items():
        message[name] = _line(value)
    message.set_content(letter.text, cte="quoted-printable")
    if letter.html:
        message.add_alternative(letter.html, subtype="html", cte="quoted-printable")
    for each in letter.attachments:
        kind, _, subtype = each.media_type.partition("/")
        message.add_attachment(each.content, maintype=kind, subtype=subtype, filename=each.name)
    return message


def one_address(text: str) -> str:
    """The address, when it is exactly one. Raises Hopeless, since a comma would make it two recipients."""
    try:
        address = Address(addr_spec=text.strip())
    except (HeaderParseError, ValueError, IndexError):
        address = None
    if address is None or not address.domain or _UNPRINTABLE.search(text) or address.addr_spec != text.strip():
        raise Hopeless("the address is not exactly one e-mail address")
    return address.addr_spec


def new_message_id(domain: str) -> str:
    """A Message-ID of the shop's domain, globally unique (RFC 5322 3.6.4)."""
    return make_msgid(domain=domain)


def _line(text: str) -> str:
    return _UNPRINTABLE.sub(" ", text).strip()
