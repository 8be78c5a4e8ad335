"""Categories of data: every column of every table names one, because retention is driven by it (GDPR Art. 5(1)(e))."""

from __future__ import annotations

from enum import StrEnum


class Category(StrEnum):
    """What kind of data a column holds. `NONE` is for what says nothing of a person: keys, counts, revisions."""

    CONTACT = "contact"
    DEVICE = "device identity"
    RECORD = "condition and work record"
    PHOTO = "photo"
    PUBLICATION = "consent to publication"
    MESSAGE = "message"
    PUSH = "devices that show notices"
    APPROVAL = "approval evidence"
    MONEY = "money"
    STAFF = "staff"
    TECHNICAL = "technical"
    NONE = "none"
