"""Civil days of a place: the instants at which they begin, and the day an instant falls on.

Inside, time is UTC; a civil date is a date in the tank's zone, and may have 23, 24 or 25 hours.
"""

from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

import numpy as np
import numpy.typing as npt

from forecaster.errors import InputError, Problem

Days = npt.NDArray[np.datetime64]


def zone_of(name: str, *, error: type[InputError] = InputError) -> ZoneInfo:
    """Find a time zone by its name in the zone list.

    Raises
    ------
    InputError
        (or the given subclass) for a name that is not in the list.

    Examples
    --------
    >>> zone_of("Europe/Dublin").key
    'Europe/Dublin'
    """
    try:
        if not name or name.startswith((".", "/")) or ".." in name:
            raise ValueError
        return ZoneInfo(name)
    except (ValueError, ZoneInfoNotFoundError, OSError):
        raise error(
            Problem("no_zone", "timezone", "name a zone of the zone list, such as Europe/Dublin", name)
        ) from None


def instant(at: datetime) -> np.datetime64:
    """Turn an aware time into datetime64[s] UTC."""
    return np.datetime64(at.astimezone(UTC).replace(tzinfo=None), "s")


def to_datetime(at: np.datetime64) -> datetime:
    """Turn datetime64 UTC into an aware time."""
    return datetime.fromtimestamp(int(at.astype("datetime64[s]").astype(np.int64)), tz=UTC)


def civil_date(at: datetime, zone: ZoneInfo) -> date:
    """Find the civil day on which an instant falls."""
    return at.astimezone(zone).date()


def midnights(first: date, days: int, zone: ZoneInfo) -> Days:
    """Instants at which civil days begin, and the end of the last.

    Parameters
    ----------
    first : date
        First civil day.
    days : int
        How many.
    zone : ZoneInfo

    Returns
    -------
    datetime64[s] array, shape (days + 1,), UTC

    Examples
    --------
    >>> midnights(date(2024, 3, 31), 1, ZoneInfo("Europe/Dublin"))
    array(['2024-03-31T00:00:00', '2024-03-31T23:00:00'], dtype='datetime64[s]')
    """
    starts = [datetime.combine(first + timedelta(days=i), datetime.min.time(), zone) for i in range(days + 1)]
    return np.array([int(s.timestamp()) for s in starts], "datetime64[s]")
