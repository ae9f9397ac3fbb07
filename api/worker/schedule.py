"""What is due when: pure functions of the time, with no trigger that a change of clocks could fool.

A job is not started by an alarm at an hour of the local clock, which strikes twice or never on two
nights of the year. It is asked again and again what is due, and each answer is the name of a slot; a
slot is run once. A run missed while nothing was running is due still, and only the newest is.

Flow     now, zone -> **slots due** -> claim -> job
"""

from datetime import UTC, date, datetime, timedelta

from forecaster.civil import civil_date, midnights, zone_of

AFTER_MIDNIGHT = timedelta(hours=3)
"""A tank's night work is due so long after its civil day has begun, by the clock that never changes."""


def due_night(zone: str, now: datetime) -> date | None:
    """Find the civil day whose night work is due; None in the first hours of a day.

    Parameters
    ----------
    zone
        Name in the zone list.

    Notes
    -----
    None does not undo the day before: its slot is due until the new day's is, if it was not run.

    Examples
    --------
    >>> due_night("Europe/London", datetime(2026, 3, 29, 2, 59, tzinfo=UTC))
    >>> due_night("Europe/London", datetime(2026, 3, 29, 3, 0, tzinfo=UTC))
    datetime.date(2026, 3, 29)
    """
    where = zone_of(zone)
    today = civil_date(now, where)
    begun = datetime.fromtimestamp(int(midnights(today, 0, where)[0].astype(int)), tz=UTC)
    return today if now - begun >= AFTER_MIDNIGHT else None


def night_slot(zone: str, now: datetime) -> str | None:
    """Name the night's slot of a zone; None where none is due.

    Examples
    --------
    >>> night_slot("Asia/Tokyo", datetime(2026, 3, 29, 3, 0, tzinfo=UTC))
    '2026-03-29 Asia/Tokyo'
    """
    day = due_night(zone, now)
    return f"{day} {zone}" if day is not None else None


def hour_slot(now: datetime) -> str:
    """Name the slot of an hour.

    Examples
    --------
    >>> hour_slot(datetime(2026, 3, 29, 3, 59, tzinfo=UTC))
    '2026-03-29T03'
    """
    return f"{now.astimezone(UTC):%Y-%m-%dT%H}"


def minutes_slot(now: datetime, minutes: int) -> str:
    """Name the slot of so many minutes.

    Parameters
    ----------
    minutes
        Length of a slot, a divisor of 60. [min]

    Examples
    --------
    >>> minutes_slot(datetime(2026, 3, 29, 3, 59, tzinfo=UTC), 10)
    '2026-03-29T03:50'
    """
    at = now.astimezone(UTC)
    return f"{at:%Y-%m-%dT%H}:{at.minute // minutes * minutes:02d}"
