"""The calendar feed: one event for each refill, whose uid never changes and whose sequence only rises.

Flow     refills -> **calendar** -> feed
Source   RFC 5545 (UID, SEQUENCE, STATUS, DTEND of whole days, VALARM), RFC 7986 (REFRESH-INTERVAL, NAME)
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta

ALARM_AFTER = timedelta(hours=9)
"""The reminder rings at nine on the first morning."""
REFRESH = timedelta(hours=6)


@dataclass(frozen=True, slots=True)
class RefillEvent:
    """A refill as it stands in the calendar.

    Attributes
    ----------
    earliest, latest
        First and last day on which to order.
    told
        False where the event is called off.
    words
        What is said there; no litres.
    """

    uid: str
    sequence: int
    changed_at: datetime
    earliest: date
    latest: date
    told: bool
    words: str


def write_calendar(events: Sequence[RefillEvent], *, name: str) -> bytes:
    """Write a calendar, checked before it leaves.

    Parameters
    ----------
    events
        Each uid once.
    name
        What the calendar is called.
    """
    from icalendar import Alarm, Calendar, Event

    calendar = Calendar()
    calendar.add("prodid", "-//Dipcast//reminders//EN")
    calendar.add("version", "2.0")
    calendar.add("method", "PUBLISH")
    calendar.add("name", _plain(name))
    calendar.add("x-wr-calname", _plain(name))
    calendar.add("refresh-interval", REFRESH, parameters={"VALUE": "DURATION"})
    for told in events:
        event = Event()
        event.add("uid", told.uid)
        event.add("sequence", told.sequence)
        event.add("dtstamp", told.changed_at)
        event.add("last-modified", told.changed_at)
        event.add("dtstart", told.earliest)
        event.add("dtend", told.latest + timedelta(days=1))
        event.add("transp", "TRANSPARENT")
        event.add("status", "CONFIRMED" if told.told else "CANCELLED")
        event.add("summary", "Order heating oil" if told.told else "Called off: order heating oil")
        event.add("description", _plain(told.words))
        if told.told:
            alarm = Alarm()
            alarm.add("action", "DISPLAY")
            alarm.add("description", "Order heating oil")
            alarm.add("trigger", ALARM_AFTER)
            event.add_component(alarm)
        calendar.add_component(event)
    if events:  # without one the standard knows no calendar; readers take it for an empty one
        calendar.validate()  # type: ignore[no-untyped-call]
    written: bytes = calendar.to_ical()
    return written


def _plain(text: str) -> str:
    """Make a text one line: whatever steers or breaks lines becomes a space."""
    return " ".join("".join(c if c.isprintable() else " " for c in text).split())
