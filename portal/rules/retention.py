"""The register of what is kept: for each kind of data its purpose, lawful basis, start, period, end and receivers.

One table, from which come the purge, the customer's notice, the record of processing and the dates on a ticket's page.
GDPR Art. 5(1)(c) and (e), 6(1), 13, 30(1). Not legal advice; local law decides.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum
from zoneinfo import ZoneInfo

from portal.rules.categories import Category
from portal.rules.periods import Period, goes_at
from portal.rules.sentences import Sentence, say


class Kept(StrEnum):
    """A kind of data that is kept for one period."""

    CONTACT = "contact"
    POST_ADDRESS = "post_address"
    DEVICE = "device"
    RECORD = "record"
    PHOTO = "photo"
    PUBLICATION = "publication"
    MESSAGE = "message"
    PUSH = "push"
    APPROVAL = "approval"
    MONEY = "money"
    ANNOUNCED = "announced"
    STAFF = "staff"
    TECHNICAL = "technical"
    REQUEST = "request"


class Start(StrEnum):
    """The event that starts a period."""

    WARRANTY_OVER = "warranty over"
    LEFT = "left"
    SENT = "sent"
    MADE = "made"
    STAFF_LEFT = "staff left"
    LAST_USED = "last used"
    SETTLED = "settled"


class Basis(StrEnum):
    """The lawful basis, as a letter of GDPR Art. 6(1)."""

    CONSENT = "a"
    CONTRACT = "b"
    LEGAL_DUTY = "c"
    INTEREST = "f"


START_WORDS: Mapping[Start, Sentence] = {
    Start.WARRANTY_OVER: say("after the warranty of the last device of the visit has ended"),
    Start.LEFT: say("after the last device of the visit has left the shop"),
    Start.SENT: say("after it was sent"),
    Start.MADE: say("after it was announced, if it never comes"),
    Start.STAFF_LEFT: say("after the person has left the shop"),
    Start.LAST_USED: say("after it was last used"),
    Start.SETTLED: say("after it was answered, or closed"),
}
BASIS_WORDS: Mapping[Basis, Sentence] = {
    Basis.CONSENT: say("your consent, which you may take back at any time (Art. 6(1)(a) and 7(3) GDPR)"),
    Basis.CONTRACT: say("needed for the repair that was ordered (Art. 6(1)(b) GDPR)"),
    Basis.LEGAL_DUTY: say("the law asks for it (Art. 6(1)(c) GDPR)"),
    Basis.INTEREST: say("a legitimate interest of the shop (Art. 6(1)(f) GDPR)"),
}


@dataclass(frozen=True)
class Entry:
    """One line of the register, but for its period, which the shop's policy sets within `longest`.

    `ground` says why anybody may keep it so long and no longer; a policy that asks for more is refused with it.
    """

    categories: tuple[Category, ...]
    name: Sentence
    purpose: Sentence
    basis: Basis
    start: Start
    usual: Period
    longest: Period
    ground: Sentence
    then: Sentence
    receivers: Sentence


_NOBODY = say("nobody outside the shop")
_DELETED = say("deleted")
_REPAIR_OVER = say("a complaint about the repair can still reach the shop for a while after the warranty")
_MONTH, _YEAR = Period(30, "day"), Period(1, "year")

REGISTER: Mapping[Kept, Entry] = {
    Kept.CONTACT: Entry(
        (Category.CONTACT,),
        say("Name, e-mail address, telephone number, language"),
        say("to tell you how it stands, to ask before it costs you anything, to give the device to the right person"),
        Basis.CONTRACT,
        Start.WARRANTY_OVER,
        _MONTH,
        _YEAR,
        _REPAIR_OVER,
        _DELETED,
        say("the services that carry our mail and text messages"),
    ),
    Kept.POST_ADDRESS: Entry(
        (Category.CONTACT,),
        say("Post address, the name of whom you send for the device, and to whom formal letters about it went"),
        say("to post the device back, to give it to whom you send, or to write to you by recorded post"),
        Basis.CONTRACT,
        Start.LEFT,
        Period(14, "day"),
        Period(90, "day"),
        say("a parcel that got lost is looked for within weeks"),
        _DELETED,
        say("the carrier that takes the parcel"),
    ),
    Kept.DEVICE: Entry(
        (Category.DEVICE,),
        say("What device it is, and its serial number"),
        say("to repair the right device, and to know it again under warranty"),
        Basis.CONTRACT,
        Start.WARRANTY_OVER,
        _MONTH,
        _YEAR,
        _REPAIR_OVER,
        _DELETED,
        _NOBODY,
    ),
    Kept.RECORD: Entry(
        (Category.RECORD,),
        say("The condition on arrival, what was done, tests, notes and what you wrote to us"),
        say("to do the repair, and to show afterwards what was done"),
        Basis.CONTRACT,
        Start.WARRANTY_OVER,
        _MONTH,
        _YEAR,
        _REPAIR_OVER,
        say("deleted; how long which kind of repair took stays as a number, with the week in place of the day"),
        _NOBODY,
    ),
    Kept.PHOTO: Entry(
        (Category.PHOTO,),
        say("Photos of the device"),
        say("to show the condition before and after"),
        Basis.CONTRACT,
        Start.WARRANTY_OVER,
        _MONTH,
        _YEAR,
        _REPAIR_OVER,
        _DELETED,
        _NOBODY,
    ),
    Kept.PUBLICATION: Entry(
        (Category.PUBLICATION,),
        say("Whether you allowed that pictures or film of the device are published"),
        say("to publish only what you allowed, and to show that you did"),
        Basis.CONSENT,
        Start.LEFT,
        Period(2, "year"),
        Period(6, "year"),
        say("whoever publishes must be able to show that it was allowed (Art. 7(1) GDPR)"),
        _DELETED,
        _NOBODY,
    ),
    Kept.MESSAGE: Entry(
        (Category.MESSAGE,),
        say("Which messages were sent, and what became of them"),
        say("to see whether a message reached you"),
        Basis.CONTRACT,
        Start.SENT,
        _MONTH,
        _YEAR,
        say("a message that did not arrive is noticed within weeks"),
        say(
            "reduced to the fact that one was sent, which goes with the work record; what became of it stays as long "
            "where we have to write to you by recorded post to collect a device"
        ),
        say("the services that carry our mail and text messages"),
    ),
    Kept.PUSH: Entry(
        (Category.PUSH,),
        say("The devices on which you let us show notices: where their push services take them"),
        say("to show you on your device when something is new"),
        Basis.CONSENT,
        Start.LEFT,
        Period(3, "day"),
        Period(30, "day"),
        say("once the device is yours again there is nothing to show any more, but that a handover was a mistake"),
        _DELETED,
        say("the push service of your browser’s maker, which carries what it cannot read"),
    ),
    Kept.APPROVAL: Entry(
        (Category.APPROVAL,),
        say("Proof of what you agreed to, without your name and address"),
        say("to show what was agreed, should that be disputed"),
        Basis.INTEREST,
        Start.LEFT,
        Period(6, "year"),
        Period(6, "year"),
        say("claims from a contract end after six years (Limitation Act 1980 section 5, England and Wales)"),
        _DELETED,
        say("a court or adviser, should it be disputed"),
    ),
    Kept.MONEY: Entry(
        (Category.MONEY,),
        say("What was charged and paid, without your name and address"),
        say("to account for it, and for tax"),
        Basis.LEGAL_DUTY,
        Start.LEFT,
        Period(6, "year"),
        Period(10, "year"),
        say("records for value added tax are kept at least six years, under some schemes ten (HMRC Notice 700/21)"),
        _DELETED,
        say("the tax authority and the shop’s accountant"),
    ),
    Kept.ANNOUNCED: Entry(
        (Category.CONTACT, Category.DEVICE, Category.RECORD),
        say("A device that was announced and has not come"),
        say("to expect the parcel"),
        Basis.CONTRACT,
        Start.MADE,
        _MONTH,
        Period(90, "day"),
        say("a parcel takes weeks, not months"),
        _DELETED,
        _NOBODY,
    ),
    Kept.STAFF: Entry(
        (Category.STAFF,),
        say("Who of the staff did what, and their logins"),
        say("to know who did what, and to let only them in"),
        Basis.INTEREST,
        Start.STAFF_LEFT,
        _MONTH,
        _YEAR,
        say("questions about the work of somebody who left come within months"),
        say("replaced by “former staff” and a number"),
        _NOBODY,
    ),
    Kept.TECHNICAL: Entry(
        (Category.TECHNICAL,),
        say("Counts of tries, logins on devices, technical records"),
        say("to keep strangers out, and to find faults"),
        Basis.INTEREST,
        Start.LAST_USED,
        Period(14, "day"),
        Period(90, "day"),
        say("an attack or a fault is noticed within weeks"),
        _DELETED,
        _NOBODY,
    ),
    Kept.REQUEST: Entry(
        (Category.RECORD,),
        say("That somebody asked about their data, what was answered, and what ever went wrong with data"),
        say("to show that the law was kept"),
        Basis.LEGAL_DUTY,
        Start.SETTLED,
        Period(3, "year"),
        Period(6, "year"),
        say("a complaint about an answer can still come for some years"),
        _DELETED,
        say("the data protection authority, should it ask"),
    ),
}

# What hangs on a visit and goes by its life.
OF_A_VISIT = tuple(kept for kept, entry in REGISTER.items() if entry.start in (Start.WARRANTY_OVER, Start.LEFT))


@dataclass(frozen=True)
class Life:
    """What has happened to a visit, as far as periods begin with it; moments in UTC, None for not yet."""

    warranty_over_at: datetime | None = None
    left_at: datetime | None = None


def ends(kept: Kept, life: Life, period: Period, zone: ZoneInfo) -> datetime | None:
    """When a visit's data of this kind goes, in UTC, or None while its period has not begun."""
    start = {Start.WARRANTY_OVER: life.warranty_over_at, Start.LEFT: life.left_at}.get(REGISTER[kept].start)
    return goes_at(start, period, zone) if start else None
