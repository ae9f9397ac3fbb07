"""Civil days: their beginnings, their length, the day an instant falls on."""

from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from forecaster.civil import civil_date, instant, midnights, to_datetime, zone_of
from forecaster.errors import InputError, TankError

ZONES = st.sampled_from(["UTC", "Europe/London", "Europe/Dublin", "America/Chicago", "Asia/Kathmandu"]).map(
    ZoneInfo
)
FROM, TO = (datetime(year, 1, 1, tzinfo=UTC).replace(tzinfo=None) for year in (1990, 2060))
TIMES = st.datetimes(FROM, TO, timezones=st.just(UTC)).map(lambda at: at.replace(microsecond=0))


@pytest.mark.parametrize(("day", "hours"), [("2024-03-31", 23), ("2024-06-01", 24), ("2024-10-27", 25)])
def test_a_day_has_the_hours_that_its_clocks_give_it(day: str, hours: int) -> None:
    """In Dublin the day lasts 23 hours when the clocks go forward and 25 when they go back."""
    begin, end = midnights(date.fromisoformat(day), 1, ZoneInfo("Europe/Dublin"))
    assert (end - begin) / np.timedelta64(1, "h") == hours


@given(TIMES, ZONES)
def test_an_instant_lies_between_the_midnights_of_its_day(at: datetime, zone: ZoneInfo) -> None:
    """The civil day of an instant begins at or before it and ends after it."""
    begin, end = midnights(civil_date(at, zone), 1, zone)
    assert begin <= instant(at) < end


@given(TIMES, ZONES)
def test_an_instant_comes_back(at: datetime, zone: ZoneInfo) -> None:
    """To the engine's form and back, an instant is the same, whatever zone it was written in."""
    assert to_datetime(instant(at.astimezone(zone))) == at


@given(st.dates(date(1990, 1, 1), date(2060, 1, 1)), st.integers(1, 400), ZONES)
def test_days_follow_each_other_without_a_gap(first: date, days: int, zone: ZoneInfo) -> None:
    """Each midnight starts the next civil day, and a day lasts 23 to 25 hours."""
    starts = midnights(first, days, zone)
    hours = np.diff(starts) / np.timedelta64(1, "h")
    assert hours.min() >= 23
    assert hours.max() <= 25
    assert civil_date(to_datetime(starts[-1]), zone) == first + timedelta(days=days)


@pytest.mark.parametrize("name", ["", "Europe/Atlantis", "../../etc/passwd", "/etc/localtime", "Europe"])
def test_a_zone_that_is_none_is_refused_by_name(name: str) -> None:
    """Neither an unknown name nor a path is a zone; the error is of the kind asked for, and names a zone."""
    with pytest.raises(TankError, match="Europe/Dublin"):
        zone_of(name, error=TankError)
    assert issubclass(TankError, InputError)
