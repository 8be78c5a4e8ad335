"""The day on which somebody comes for a device, as a file for calendars (RFC 5545).

Times are in UTC, so a calendar in any zone shows the right hour, on the nights when clocks change too. The same device
keeps its UID; a change has a higher SEQUENCE, and a day that is called off stays in the file as CANCELLED.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from icalendar import Calendar, Event

TYPE = "text/calendar; charset=utf-8; method=PUBLISH"


@dataclass(frozen=True)
class Coming:
    """A day that was chosen. `opens` and `closes` are UTC; None where the shop does not open on that day any more."""

    uid: str
    sequence: int
    chosen_at: datetime
    day: date
    opens: datetime | None
    closes: datetime | None
    called_off: bool
    summary: str
    place: str
    words: str


def calendar_file(coming: Iterable[Coming]) -> bytes:
    """The file, an event for each."""
    calendar = Calendar()
    calendar.add("prodid", "-//Benchwindow//Collection//EN")
    calendar.add("version", "2.0")
    calendar.add("method", "PUBLISH")
    for each in coming:
        calendar.add_component(_event(each))
    return bytes(calendar.to_ical())


def _event(coming: Coming) -> Event:
    event = Event()
    event.add("uid", coming.uid)
    event.add("sequence", coming.sequence)
    event.add("dtstamp", coming.chosen_at)
    event.add("dtstart", coming.opens or coming.day)
    event.add("dtend", coming.closes or coming.day + timedelta(days=1))
    event.add("summary", coming.summary)
    event.add("location", coming.place)
    event.add("description", coming.words)
    event.add("status", "CANCELLED" if coming.called_off else "CONFIRMED")
    event.add("transp", "TRANSPARENT")  # all of a day's opening hours are no appointment
    return event
