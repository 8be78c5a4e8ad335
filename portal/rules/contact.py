"""E-mail addresses and phone numbers as people type them, brought into their one standard form."""

from __future__ import annotations

import phonenumbers
from email_validator import EmailNotValidError, validate_email

from portal.rules.refusals import Unfit
from portal.rules.sentences import say
from portal.rules.text import line


def email(typed: str) -> str:
    """One address in its normal form, or "" for none. Raises Unfit for anything that is not exactly one address."""
    text = line("email", say("The e-mail address"), typed, limit=254)  # RFC 5321 4.5.3.1.3
    if not text:
        return ""
    try:
        return validate_email(text, check_deliverability=False, test_environment=True).normalized
    except EmailNotValidError:
        raise Unfit("email", say("“{typed}” is not one e-mail address, like name@example.org.", typed=text)) from None


def phone(typed: str, country: str) -> str:
    """The number as E.164 ("+447700900123"), or "" for none. A number without + is read as one of `country`'s.

    Raises Unfit for what cannot be a number anywhere. Possible numbers pass even if not in use: the shop knows best.
    """
    text = line("phone", say("The phone number"), typed, limit=40)
    if not text:
        return ""
    try:
        number = phonenumbers.parse(text, country)
    except phonenumbers.NumberParseException:
        number = None
    if number is None or not phonenumbers.is_possible_number(number):
        raise Unfit(
            "phone",
            say("“{typed}” is not a phone number. Write it like 07700 900123 or +44 7700 900123.", typed=text),
        )
    return phonenumbers.format_number(number, phonenumbers.PhoneNumberFormat.E164)
