"""The weather behind us: known days kept, holes filled from the normals and marked."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from forecaster.climate import normal_day, normals_for
from forecaster.past_weather import FADE, complete_weather, faded
from forecaster.weather import Weather

NORMALS = normals_for(place="UK average")
FIRST, TODAY = np.datetime64("2024-01-01"), np.datetime64("2024-01-11")


def weather(temp_c: list[float], *, first: str = "2024-01-01") -> Weather:
    """Days in a row from the first on, temperature only."""
    date = np.datetime64(first) + np.arange(len(temp_c))
    none = np.full(len(temp_c), np.nan)
    return Weather(date, np.array(temp_c), none, none, none)


def test_known_days_stand_as_they_are() -> None:
    """A known temperature is kept and not marked; the newest known day is told."""
    past = complete_weather(weather([1.0, 2.0, 3.0, 4.0]), NORMALS, first=FIRST, today=TODAY)
    assert past.temp_c[:4].tolist() == [1.0, 2.0, 3.0, 4.0]
    assert past.assumed.tolist() == [False] * 4 + [True] * 7
    assert past.newest == np.datetime64("2024-01-04")


def test_without_weather_the_normals_stand() -> None:
    """Where nothing is known every day is the normal one, and marked."""
    past = complete_weather(None, NORMALS, first=FIRST, today=TODAY)
    assert past.temp_c == pytest.approx(normal_day(NORMALS, past.date)[0])
    assert past.assumed.all()
    assert past.newest is None


def test_today_is_never_known() -> None:
    """The unfinished day is assumed even where a row tells of it, and later rows change nothing."""
    whole = complete_weather(weather([5.0] * 20), NORMALS, first=FIRST, today=TODAY)
    until = complete_weather(weather([5.0] * 10), NORMALS, first=FIRST, today=TODAY)
    assert whole.assumed[-1]
    assert whole.temp_c == pytest.approx(until.temp_c)


def test_sun_that_was_not_measured_is_the_normal_sun() -> None:
    """Sun is filled from the normals without marking the day: its temperature is known."""
    past = complete_weather(weather([5.0] * 10), NORMALS, first=FIRST, today=TODAY)
    assert past.ghi_wh_m2 == pytest.approx(normal_day(NORMALS, past.date)[1])
    assert not past.assumed[:-1].any()


def test_a_hole_is_filled_from_both_sides_and_forgotten_with_distance() -> None:
    """In a hole of one day both neighbours count; far from any known day nothing of them is left."""
    assert faded(np.array([2.0, np.nan, -1.0]))[1] == pytest.approx(FADE * (2.0 - 1.0))
    assert abs(faded(np.array([8.0, *[np.nan] * 40]))[-1]) < 0.01


@given(st.lists(st.one_of(st.just(np.nan), st.floats(-20, 20)), min_size=1, max_size=30))
def test_filling_keeps_what_is_known_and_leaves_no_hole(departure: list[float]) -> None:
    """Known departures are unchanged, and every other day gets a finite number."""
    given_c = np.array(departure)
    filled = faded(given_c)
    known = ~np.isnan(given_c)
    assert filled[known].tolist() == given_c[known].tolist()
    assert np.isfinite(filled).all()
