"""Mail over SMTP, step by step: what an answer means depends on the step, and a reply's code decides, not its class.

smtplib raises the same error for a line lost before a letter and for one lost after it was handed over; only the step
tells which. TLS is asked for everywhere but on this machine itself.
"""

from __future__ import annotations

import ipaddress
import smtplib
import ssl
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from datetime import UTC, datetime

from notifications.channels import ChannelDown, Hopeless, LineBroke, TryLater
from notifications.channels.mail.message import mail, new_message_id, one_address
from notifications.letters import Letter

CONNECT_SECONDS = 30
# RFC 5321 4.5.3.2.6 gives the final answer ten minutes; giving up sooner would send copies. Our lease is ten, so we
# wait a little less and treat a lost answer as unknown, not as failed.
ANSWER_SECONDS = 300


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

    def __init__(self, server: SmtpServer, domain: str, *, answer_seconds: float = ANSWER_SECONDS) -> None:
        self.server = server
        self.domain = domain
        self.answer_seconds = answer_seconds

    def new_message_id(self) -> str:
        """A Message-ID of the shop's domain."""
        return new_message_id(self.domain)

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
        line = SmtpLine(self.server, self.answer_seconds)
        try:
            yield line
        finally:
            line.hang_up()


class SmtpLine:
    """One connection, opened when first needed and again after it broke."""

    def __init__(self, server: SmtpServer, answer_seconds: float) -> None:
        self._server = server
        self._answer_seconds = answer_seconds
        self._client: smtplib.SMTP | None = None

    def send(self, letter: Letter, message_id: str) -> None:
        """Hand one letter over, to its one recipient."""
        message = mail(letter, message_id, datetime.now(UTC))
        client = self._client or self.connect()
        try:
            client.rset()
            _accepted(client.mail(str(message["From"].addresses[0].addr_spec)))
            _accepted(client.rcpt(one_address(letter.to)))
        except (OSError, smtplib.SMTPServerDisconnected) as fault:
            self.hang_up()
            raise TryLater(f"the line broke before the letter: {type(fault).__name__}") from None
        self._hand_over(client, message.as_bytes())

    def _hand_over(self, client: smtplib.SMTP, content: bytes) -> None:
        try:
            answer = client.data(content)
        except smtplib.SMTPDataError as refused:  # to DATA itself, or by a server that closes afterwards
            _accepted((refused.smtp_code, str(refused.smtp_error).encode()))
            raise TryLater("an answer that cannot be read") from None
        except (OSError, smtplib.SMTPServerDisconnected) as fault:
            self.hang_up()
            raise LineBroke(f"the line broke after the letter: {type(fault).__name__}") from None
        _accepted(answer)

    def hang_up(self) -> None:
        """Close the line, politely where that is still possible."""
        client, self._client = self._client, None
        if client is not None:
            with suppress(OSError, smtplib.SMTPException):
                client.quit()
            client.close()

    def connect(self) -> smtplib.SMTP:
        """Connect and log in. Raises ChannelDown where that can never work, TryLater where it may later."""
        server = self._server
        try:
            client = self._greet()
            if server.user:
                client.login(server.user, server.password)
        except ssl.SSLCertVerificationError as fault:
            raise ChannelDown(f"the mail server's certificate does not fit: {fault.verify_message}") from None
        except smtplib.SMTPAuthenticationError as refused:
            raise ChannelDown(f"the mail server refuses the login: {refused.smtp_code}") from None
        except smtplib.SMTPNotSupportedError as fault:
            raise ChannelDown(str(fault)) from None
        except smtplib.SMTPResponseException as refused:
            raise TryLater(f"the mail server said {refused.smtp_code}") from None
        except (OSError, smtplib.SMTPException) as fault:
            raise TryLater(f"the mail server cannot be reached: {type(fault).__name__}") from None
        if client.sock is not None:
            client.sock.settimeout(self._answer_seconds)
        self._client = client
        return client

    def _greet(self) -> smtplib.SMTP:
        server = self._server
        trusted = ssl.create_default_context(cafile=server.authority or None)
        if server.tls_at_once:
            return smtplib.SMTP_SSL(server.host, server.port, timeout=CONNECT_SECONDS, context=trusted)
        client = smtplib.SMTP(server.host, server.port, timeout=CONNECT_SECONDS)
        try:
            client.ehlo_or_helo_if_needed()
            if client.has_extn("starttls"):
                client.starttls(context=trusted)
            elif not server.is_this_machine:
                raise smtplib.SMTPNotSupportedError(
                    "the mail server offers no TLS (STARTTLS); nothing is sent in the clear"
                )
        except BaseException:
            client.close()
            raise
        return client


def _accepted(answer: tuple[int, bytes]) -> None:
    """Raises by the first digit of the reply's code (RFC 5321 4.2.1): 4 may be tried again, 5 may not."""
    code, text = answer
    if 200 <= code < 400:
        return
    said = f"{code} {text.decode('utf-8', 'replace')}"
    raise Hopeless(said) if 500 <= code < 600 else TryLater(said)
