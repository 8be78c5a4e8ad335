"""Mail over SMTP, step by step: what an answer means depends on the step, and a reply's code decides, not its class.

smtplib raises the same error for a line lost before a letter and for one lost after it was handed over; only the step
tells which. TLS is asked for everywhere but on this machine itself.
"""

from __future__ import annotations

import ipaddress
import re
import smtplib
import ssl
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from datetime import datetime
from email.message import EmailMessage

from notifications.channels import ChannelDown, Hopeless, LineBroke, TryLater
from notifications.channels.mail.message import FIRST_RETRY, MOST_ATTEMPTS, REPEATS, mail
from notifications.letters import Letter

CONNECT_SECONDS = 30.0
COMMAND_SECONDS = 60.0
# RFC 5321 4.5.3.2.6: ten minutes for the answer to the final dot, since giving up sooner sends copies.
ANSWER_SECONDS = 600.0
_ENHANCED = re.compile(r"([245])\.\d{1,3}\.\d{1,3}(\s|$)")  # RFC 3463 2: class, subject, detail
_LINE_START = re.compile(rb"^\.", re.MULTILINE)


@dataclass(frozen=True)
class SmtpServer:
    """Where to, and as whom. `authority` is a file with the certificate of an authority of one's own, or ""."""

    host: str
    port: int
    user: str = ""
    password: str = field(default="", repr=False)
    tls_at_once: bool = False
    authority: str = ""

    @property
    def is_this_machine(self) -> bool:
        """Whether mail stays on this machine, where nobody listens in."""
        if self.host == "localhost":
            return True
        try:
            return ipaddress.ip_address(self.host).is_loopback
        except ValueError:
            return False


class SmtpChannel:
    """Sends by one server; a line is one connection, kept for a batch."""

    most_attempts = MOST_ATTEMPTS
    repeats = REPEATS
    doubt_moves_on = False
    first_retry = FIRST_RETRY

    def __init__(self, server: SmtpServer, domain: str, *, answer_seconds: float = ANSWER_SECONDS) -> None:
        self.server = server
        self.domain = domain
        self.answer_seconds = answer_seconds

    def check(self) -> None:
        """Connect, log in and hang up. Raises ChannelDown or TryLater with what the server said."""
        with self.line() as line:
            line.connect()

    def describe(self) -> str:
        """Where the mail goes."""
        return f"goes out by {self.server.host}:{self.server.port}"

    @contextmanager
    def line(self) -> Iterator[SmtpLine]:
        """A line that connects at the first letter and hangs up at the end."""
        line = SmtpLine(self.server, self.domain, self.answer_seconds)
        try:
            yield line
        finally:
            line.hang_up()


class SmtpLine:
    """One connection, opened when first needed and again after it broke."""

    def __init__(self, server: SmtpServer, domain: str, answer_seconds: float) -> None:
        self._server = server
        self._domain = domain
        self._answer_seconds = answer_seconds
        self._client: smtplib.SMTP | None = None

    def send(self, letter: Letter, message_id: str, now: datetime) -> None:
        """Hand one letter over, to its one recipient."""
        message = mail(letter, message_id, self._domain, now)
        kept = self._client is not None
        try:
            client = self._address(message)
        except TryLater:
            if not kept or self._client is not None:
                raise
            client = self._address(message)  # a server may close a kept line at any time: once more on a new one
        self._hand_over(client, message.as_bytes())

    def _address(self, message: EmailMessage) -> smtplib.SMTP:
        """Sender, recipient, and leave to send the letter: up to here the other side has nothing of it."""
        client = self._client or self.connect()
        options = self._options(client, message)
        try:
            self._accepted(client.mail(str(message["From"].addresses[0].addr_spec), options))
            self._accepted(client.rcpt(str(message["To"].addresses[0].addr_spec)))
            self._accepted(client.docmd("DATA"))
        except (OSError, smtplib.SMTPException) as fault:
            self.hang_up()
            raise TryLater(f"the line broke before the letter: {type(fault).__name__}") from None
        return client

    def _options(self, client: smtplib.SMTP, message: EmailMessage) -> list[str]:
        """What MAIL must say for an address with letters beyond ASCII (RFC 6531 3.4)."""
        plain = str(message["To"]).isascii()
        client.command_encoding = "ascii" if plain else "utf-8"
        if plain:
            return []
        if not client.has_extn("smtputf8"):
            raise Hopeless("the mail server cannot write to an address with such letters")
        return ["SMTPUTF8", "BODY=8BITMIME"]

    def _hand_over(self, client: smtplib.SMTP, content: bytes) -> None:
        """The letter itself and the final dot: from the first byte on, only an answer tells what became of it."""
        try:
            if client.sock is not None:
                client.sock.settimeout(self._answer_seconds)
            client.send(_LINE_START.sub(b"..", content) + b".\r\n")  # RFC 5321 4.5.2
            answer = client.getreply()
            if client.sock is not None:
                client.sock.settimeout(COMMAND_SECONDS)
        except (OSError, smtplib.SMTPException) as fault:
            self.hang_up()
            raise LineBroke(f"the line broke after the letter: {type(fault).__name__}") from None
        self._accepted(answer)

    def _accepted(self, answer: tuple[int, bytes]) -> None:
        """Raises by what the reply says (RFC 5321 4.2.1): 4 may be tried again, 5 may not.

        Where it gives an enhanced status code (RFC 3463), that one's class decides.
        """
        code, text = answer
        if 200 <= code < 400:
            return
        said = text.decode("utf-8", "replace")
        enhanced = _ENHANCED.match(said)
        permanent = (enhanced[1] if enhanced else str(code)[:1]) == "5"
        self._clear(code)
        raise Hopeless(f"{code} {said}") if permanent else TryLater(f"{code} {said}")

    def _clear(self, code: int) -> None:
        """Make the line ready for the next letter after a refusal. 421 is a server that closes (RFC 5321 3.8)."""
        if code == 421 or self._client is None:
            return self.hang_up()
        try:
            self._client.rset()
        except (OSError, smtplib.SMTPException):
            self.hang_up()
        return None

    def hang_up(self) -> None:
        """Close the line, politely where that is still possible."""
        client, self._client = self._client, None
        if client is not None:
            with suppress(OSError, smtplib.SMTPException):
                client.quit()
            client.close()

    def connect(self) -> smtplib.SMTP:
        """Connect and log in. Raises ChannelDown, in words for staff: nothing can go out this way now."""
        try:
            client = self._greet()
        except ssl.SSLCertVerificationError as fault:
            raise ChannelDown(f"the mail server’s certificate does not fit: {fault.verify_message}") from None
        except smtplib.SMTPNotSupportedError as fault:
            raise ChannelDown(str(fault)) from None
        except smtplib.SMTPResponseException as refused:
            raise ChannelDown(f"the mail server said {refused.smtp_code}") from None
        except (OSError, smtplib.SMTPException) as fault:
            raise ChannelDown(f"the mail server cannot be reached: {type(fault).__name__}") from None
        self._client = client
        self._log_in(client)
        if client.sock is not None:
            client.sock.settimeout(COMMAND_SECONDS)
        return client

    def _log_in(self, client: smtplib.SMTP) -> None:
        if not self._server.user:
            return
        try:
            client.login(self._server.user, self._server.password)
        except (OSError, smtplib.SMTPException) as fault:
            self.hang_up()
            said = fault.smtp_code if isinstance(fault, smtplib.SMTPResponseException) else type(fault).__name__
            raise ChannelDown(f"the mail server refuses the login: {said}") from None

    def _greet(self) -> smtplib.SMTP:
        server = self._server
        if server.tls_at_once:
            return smtplib.SMTP_SSL(server.host, server.port, timeout=CONNECT_SECONDS, context=_trust(server))
        client = smtplib.SMTP(server.host, server.port, timeout=CONNECT_SECONDS)
        try:
            client.ehlo_or_helo_if_needed()
            if client.has_extn("starttls"):
                client.starttls(context=_trust(server))
            elif not server.is_this_machine:
                raise smtplib.SMTPNotSupportedError(
                    "the mail server offers no TLS (STARTTLS); nothing is sent in the clear"
                )
            client.ehlo_or_helo_if_needed()
        except BaseException:
            client.close()
            raise
        return client


def _trust(server: SmtpServer) -> ssl.SSLContext:
    """Whose certificates are good. A server on this machine has one of its own making more often than not."""
    trusted = ssl.create_default_context(cafile=server.authority or None)
    if server.is_this_machine and not server.authority:
        trusted.check_hostname = False
        trusted.verify_mode = ssl.CERT_NONE
    return trusted
