"""A mailbox folder in the maildir form, for the demo and for development: what went out can be read there."""

from __future__ import annotations

import mailbox
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import datetime
from email import message_from_binary_file
from email.message import EmailMessage
from email.policy import default
from pathlib import Path

from notifications.channels import TryLater
from notifications.channels.mail.message import FIRST_RETRY, MOST_ATTEMPTS, REPEATS, mail
from notifications.letters import Letter

_HEAD = 2048  # bytes in which the Message-ID stands, which we write first


class MaildirChannel:
    """Puts mail into a folder; the file appears whole or not at all, as the maildir form has it."""

    most_attempts = MOST_ATTEMPTS
    repeats = REPEATS
    doubt_moves_on = False
    first_retry = FIRST_RETRY

    def __init__(self, folder: Path, domain: str) -> None:
        self.folder = folder
        self.domain = domain

    @contextmanager
    def line(self) -> Iterator[MaildirChannel]:
        """The folder is always there."""
        yield self

    def send(self, letter: Letter, message_id: str, now: datetime) -> None:
        """Put one letter into the folder."""
        message = mail(letter, message_id, self.domain, now)
        try:
            mailbox.Maildir(self.folder, create=True).add(message)
        except OSError as fault:
            raise TryLater(f"the mailbox folder cannot be written: {fault.strerror}") from None

    def read(self, message_id: str) -> EmailMessage | None:
        """The letter that was sent under this id, as it lies in the folder, or None."""
        mark = f"<{message_id}@".encode()
        for file in sorted(self.folder.glob("new/*")) + sorted(self.folder.glob("cur/*")):
            with file.open("rb") as opened:
                if mark in opened.read(_HEAD):
                    opened.seek(0)
                    return message_from_binary_file(opened, policy=default)
        return None

    def check(self) -> None:
        """Whether the folder can be written. Raises TryLater."""
        try:
            mailbox.Maildir(self.folder, create=True)
        except OSError as fault:
            raise TryLater(f"the mailbox folder cannot be written: {fault.strerror}") from None

    def describe(self) -> str:
        """Where the mail goes."""
        return f"is put into the folder {self.folder}; nobody gets it"
