"""A real SMTP server in a thread, which answers each step as a test tells it to."""

from __future__ import annotations

import asyncio
import ssl
import subprocess
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from email import message_from_bytes, policy
from email.message import EmailMessage
from pathlib import Path

from aiosmtpd.controller import Controller
from aiosmtpd.smtp import SMTP, AuthResult, Envelope, LoginPassword, Session

DROP = "drop"  # hang up without an answer
HANG = "hang"  # never answer
LATE = "late"  # take it, and say so only after a while
USER, PASSWORD = "shop", "correct horse"


@dataclass
class Peer:
    """The server's handler. `says` maps a step to its answers, one after the other, and after them "250 OK"."""

    says: dict[str, list[str]] = field(default_factory=dict)
    got: list[Envelope] = field(default_factory=list)
    logins: list[bytes] = field(default_factory=list)
    connections: int = 0
    host: str = "127.0.0.1"
    port: int = 0

    def mails(self) -> list[EmailMessage]:
        """What was taken, parsed."""
        return [message_from_bytes(envelope.original_content, policy=policy.SMTP) for envelope in self.got]

    async def handle_EHLO(self, _server: SMTP, session: Session, _envelope: Envelope, hostname: str, lines: list[str]):  # noqa: N802
        self.connections += not session.host_name
        session.host_name = hostname
        return lines

    async def handle_MAIL(self, server: SMTP, _session: Session, envelope: Envelope, address: str, options: list[str]):  # noqa: N802
        answer = await self._answer("mail", server)
        if answer.startswith("250"):
            envelope.mail_from, envelope.mail_options = address, options
        return answer

    async def handle_RCPT(self, server: SMTP, _session: Session, envelope: Envelope, address: str, _options: list[str]):  # noqa: N802
        answer = await self._answer("rcpt", server)
        if answer.startswith("250"):
            envelope.rcpt_tos.append(address)
        return answer

    async def handle_DATA(self, server: SMTP, _session: Session, envelope: Envelope):  # noqa: N802
        answer = await self._answer("data", server, envelope)
        if answer.startswith("250"):
            self.got.append(envelope)
        return answer

    async def _answer(self, step: str, server: SMTP, envelope: Envelope | None = None) -> str:
        answers = self.says.get(step, [])
        answer = answers.pop(0) if answers else "250 OK"
        if answer == LATE:
            await asyncio.sleep(0.3)
            return "250 OK"
        if answer in (DROP, HANG):
            if envelope is not None:
                self.got.append(envelope)  # it has the letter; only the answer is lost
            if answer == HANG:
                await asyncio.Event().wait()
            server.transport.abort()
            await asyncio.sleep(0)
        return answer


@dataclass(frozen=True)
class Certificate:
    """A certificate signed by itself, so that its own file is the authority that vouches for it."""

    file: Path
    key: Path

    def context(self) -> ssl.SSLContext:
        """What a server shows."""
        context = ssl.create_default_context(ssl.Purpose.CLIENT_AUTH)
        context.load_cert_chain(self.file, self.key)
        return context


def make_certificate(folder: Path, name: str) -> Certificate:
    """A certificate for an IP address or a host."""
    made = Certificate(folder / f"{name}.pem", folder / f"{name}.key")
    kind = "IP" if name[0].isdigit() else "DNS"
    command = ["openssl", "req", "-x509", "-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:prime256v1", "-nodes"]
    command += ["-days", "30", "-subj", f"/CN={name}", "-addext", f"subjectAltName={kind}:{name}"]
    subprocess.run([*command, "-out", made.file, "-keyout", made.key], check=True, capture_output=True)
    return made


class _Controller(Controller):
    """A controller that takes any free port."""

    def _trigger_server(self) -> None:
        self.port = self.server.sockets[0].getsockname()[1]  # type: ignore[union-attr]
        super()._trigger_server()


@contextmanager
def serving(
    *, starttls: Certificate | None = None, tls: Certificate | None = None, login: bool = False
) -> Iterator[Peer]:
    """A server that runs until the block ends."""
    peer = Peer()

    def check(_server, _session, _envelope, _mechanism: str, data: LoginPassword) -> AuthResult:
        peer.logins.append(data.login)
        right = (data.login, data.password) == (USER.encode(), PASSWORD.encode())
        return AuthResult(success=right, handled=False)

    more: dict[str, object] = {"authenticator": check, "auth_required": not tls} if login else {}
    if starttls:
        more |= {"tls_context": starttls.context(), "require_starttls": True}
    controller = _Controller(
        peer,
        hostname="127.0.0.1",
        port=0,
        ssl_context=tls.context() if tls else None,
        auth_require_tls=not tls,  # of TLS from the start it knows nothing
        enable_SMTPUTF8=True,
        **more,
    )
    controller.start()
    peer.port = controller.port
    try:
        yield peer
    finally:
        controller.stop()
