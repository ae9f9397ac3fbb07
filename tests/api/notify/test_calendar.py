"""The calendar feed: one event a refill, read back by the library and by hand."""

from datetime import UTC, date, datetime, timedelta

from hypothesis import given
from hypothesis import strategies as st
from icalendar import Calendar

from api.notify.calendar import RefillEvent, write_calendar

EVENT = RefillEvent(
    "u1@dipcast",
    3,
    datetime(2026, 1, 10, 12, tzinfo=UTC),
    date(2026, 1, 12),
    date(2026, 1, 16),
    True,
    "Any day.",
)


def test_an_event_is_a_span_of_whole_days() -> None:
    """First to last day, the end exclusive, with uid, sequence, stamp and an alarm at nine on the first."""
    read = Calendar.from_ical(write_calendar([EVENT], name="Byre"))
    event = read.events[0]
    assert (event["UID"], event["SEQUENCE"], event["STATUS"]) == ("u1@dipcast", 3, "CONFIRMED")
    assert (date(2026, 1, 12), date(2026, 1, 17)) == (event.DTSTART, event.DTEND)
    assert EVENT.changed_at == event.DTSTAMP
    assert f"{event.alarms.times[0].trigger:%Y-%m-%d %H:%M}" == "2026-01-12 09:00"


def test_a_calendar_without_events_is_one() -> None:
    """Before the first date to tell the feed is an empty calendar, not an error."""
    assert Calendar.from_ical(write_calendar([], name="Byre")).events == []


def test_an_event_called_off_says_so() -> None:
    """Without a date to tell the event is cancelled, under the same uid, and rings no more."""
    off = RefillEvent(EVENT.uid, 4, EVENT.changed_at, EVENT.earliest, EVENT.latest, False, "No date.")
    text = write_calendar([off], name="Byre").decode()
    assert "STATUS:CANCELLED" in text
    assert "BEGIN:VALARM" not in text


@given(name=st.text(max_size=200), words=st.text(max_size=300))
def test_whatever_is_typed_stays_in_its_place_G9(name: str, words: str) -> None:  # noqa: N802
    """G9: line breaks, commas and semicolons make no new line and no new property; lines are short."""
    name, words = (text.encode("utf-8", "ignore").decode().replace("\0", "") for text in (name, words))
    event = RefillEvent("u", 1, EVENT.changed_at, EVENT.earliest, EVENT.latest, True, words)
    raw = write_calendar([event], name=name)
    lines = raw.split(b"\r\n")
    assert all(len(line) <= 75 for line in lines)
    assert raw.count(b"BEGIN:VEVENT") >= 1
    read = Calendar.from_ical(raw)
    assert len(read.events) == 1
    assert read.events[0].DTSTART + timedelta(days=4) == EVENT.latest
