"""Weather ahead: the short-range forecast in front of the weather years."""

from datetime import UTC, datetime

import numpy as np
import pytest

from forecaster.climate import WeatherYears, draw_weather_years, normals_for
from forecaster.outlook import (
    ERROR_FIRST_DAY_C,
    ERROR_MOST_C,
    RECENT_DAYS,
    recent_weather,
    splice_outlook,
)
from forecaster.past_weather import complete_weather
from forecaster.weather import Outlook

NORMALS = normals_for(place="UK average")
START = np.datetime64("2024-01-10")


def years() -> WeatherYears:
    """Many weather years of forty days."""
    return draw_weather_years(NORMALS, start=START, days=40, scenarios=4000, rng=np.random.default_rng(3))


def outlook(temp_c: list[float], *, first: str = "2024-01-10") -> Outlook:
    """An outlook of so many days without sun."""
    date = np.datetime64(first) + np.arange(len(temp_c))
    return Outlook(datetime(2024, 1, 10, tzinfo=UTC), date, np.array(temp_c), np.full(len(temp_c), np.nan))


def spliced(given: Outlook | None) -> WeatherYears:
    """The years with an outlook in front, always by the same draws."""
    return splice_outlook(years(), given, NORMALS, rng=np.random.default_rng(4))


def test_without_an_outlook_the_years_stand() -> None:
    """No outlook, or one that ends before the first day, changes nothing."""
    before = years().temp_c
    assert spliced(None).temp_c.tolist() == before.tolist()
    assert spliced(outlook([1.0, 2.0], first="2024-01-01")).temp_c.tolist() == before.tolist()


def test_the_outlook_stands_in_front_with_its_error_growing() -> None:
    """Its days are its temperatures on average, half a degree unsure at first and more each day, up to a limit."""
    temp_c = spliced(outlook([-4.0] * 10)).temp_c[:, :10]
    spread = temp_c.std(axis=0)
    assert temp_c.mean(axis=0) == pytest.approx(np.full(10, -4.0), abs=0.15)
    assert spread[0] == pytest.approx(ERROR_FIRST_DAY_C, rel=0.05)
    assert (np.diff(spread[:7]) > 0).all()
    assert spread[-1] == pytest.approx(ERROR_MOST_C, rel=0.05)


def test_far_behind_it_the_years_are_themselves_again() -> None:
    """Four weeks behind the outlook hardly anything of its error is left."""
    moved = np.abs(spliced(outlook([-4.0] * 10)).temp_c - years().temp_c)
    assert moved[:, 38:].max() < 0.02


def test_sun_that_the_outlook_lacks_is_the_normal_sun() -> None:
    """Without a figure for the sun its days have the normal one in every scenario."""
    ghi = spliced(outlook([0.0] * 5)).ghi_wh_m2[:, :5]
    assert ghi.std(axis=0) == pytest.approx(np.zeros(5), abs=1e-9)
    assert (ghi > 0).all()


def test_colder_outlooks_are_colder_in_every_scenario() -> None:
    """With the same draws a colder outlook makes no day of any scenario warmer."""
    warm, cold = spliced(outlook([3.0] * 7)), spliced(outlook([-3.0] * 7))
    assert (cold.temp_c <= warm.temp_c).all()


def test_nothing_is_learnt_from_days_that_are_assumed() -> None:
    """Days filled from normals are unknown to the weather years that go on from them; outlook days are known."""
    past = complete_weather(None, NORMALS, first=START - 90, today=START)
    assert np.isnan(recent_weather(past, None).temp_c).all()
    recent = recent_weather(past, outlook([1.0, 2.0, 3.0]))
    assert len(recent.date) == RECENT_DAYS
    assert recent.temp_c[-3:].tolist() == [1.0, 2.0, 3.0]
    assert np.isnan(recent.temp_c[:-3]).all()
