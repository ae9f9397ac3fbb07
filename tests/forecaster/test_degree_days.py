"""Degree-days by each method: their rules, limits and how they differ."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from forecaster.degree_days import (
    UK_BASE_C,
    integral_degree_days,
    mean_degree_days,
    min_max_degree_days,
    monthly_degree_days,
    sinusoid_degree_days,
)

temperatures = st.floats(-40.0, 40.0)


def test_a_warm_day_has_none() -> None:
    """At or above the base every daily method says exactly nothing."""
    assert mean_degree_days(15.5, base_c=UK_BASE_C) == 0.0
    assert min_max_degree_days(15.5, 22.0, base_c=UK_BASE_C) == 0.0
    assert integral_degree_days(np.full(24, 15.5), base_c=UK_BASE_C) == 0.0
    assert sinusoid_degree_days(20.5, 5.0, base_c=UK_BASE_C) == pytest.approx(0.0, abs=1e-12)


def test_unknown_temperature_gives_unknown_degree_days() -> None:
    """A gap stays a gap in every method: nan in, nan out."""
    assert np.isnan(mean_degree_days(np.nan, base_c=15.5))
    assert np.isnan(min_max_degree_days(np.nan, 12.0, base_c=15.5))
    assert np.isnan(min_max_degree_days(4.0, np.nan, base_c=15.5))
    assert np.isnan(integral_degree_days([5.0, np.nan], base_c=15.5))
    assert np.isnan(monthly_degree_days(np.nan, 30, base_c=15.5))
    assert np.isnan(sinusoid_degree_days(np.nan, 5.0, base_c=15.5))


def test_a_grid_of_bases_is_one_call() -> None:
    """Bases and days broadcast, so that a model may try many bases at once."""
    days = mean_degree_days([0.0, 10.0, 20.0], base_c=np.array([[12.0], [16.0]]))
    assert days.tolist() == [[12.0, 2.0, 0.0], [16.0, 6.0, 0.0]]
    hours = integral_degree_days(np.full((2, 1, 24), 10.0), base_c=np.array([12.0, 16.0, 8.0]))
    assert hours.tolist() == [[2.0, 6.0, 0.0], [2.0, 6.0, 0.0]]


def test_half_hours_count_half() -> None:
    """The integral knows how long its steps are."""
    assert integral_degree_days(np.full(48, 5.5), base_c=15.5, step_hours=0.5) == pytest.approx(10.0)


@given(mean=temperatures, amplitude=st.floats(0.0, 15.0), base=st.floats(5.0, 22.0))
def test_the_sine_is_the_limit_of_its_hours(mean: float, amplitude: float, base: float) -> None:
    """The closed form of a sinusoidal day equals the integral over fine steps."""
    steps = 2400
    temp = mean + amplitude * np.sin(2.0 * np.pi * (np.arange(steps) + 0.5) / steps)
    integral = integral_degree_days(temp, base_c=base, step_hours=24.0 / steps)
    assert sinusoid_degree_days(mean, amplitude, base_c=base) == pytest.approx(float(integral), abs=2e-4)


@given(mean=temperatures, amplitude=st.floats(0.0, 15.0), base=st.floats(5.0, 22.0))
def test_min_max_lies_near_the_sine(mean: float, amplitude: float, base: float) -> None:
    """The four-case equations stay within 8 % of the day's range of the exact value of a sine.

    The largest difference, 0.16 amplitudes, falls where the day's mean is at the base.
    """
    exact = sinusoid_degree_days(mean, amplitude, base_c=base)
    published = min_max_degree_days(mean - amplitude, mean + amplitude, base_c=base)
    assert abs(published - exact) <= 0.16 * amplitude + 1e-9


@given(low=temperatures, swing=st.floats(0.0, 25.0), base=st.floats(5.0, 22.0))
def test_min_max_is_never_below_the_mean_method(low: float, swing: float, base: float) -> None:
    """A day that swings around the base has degree-days that its middle does not show."""
    middle = low + swing / 2.0
    published = min_max_degree_days(low, low + swing, base_c=base)
    assert published >= mean_degree_days(middle, base_c=base) - 1e-9


@given(low=temperatures, swing=st.floats(0.0, 25.0), colder=st.floats(0.0, 5.0), base=st.floats(5.0, 22.0))
def test_colder_never_means_fewer(low: float, swing: float, colder: float, base: float) -> None:
    """Lowering both extremes never lowers the degree-days, at the cases' seams either."""
    warm = min_max_degree_days(low, low + swing, base_c=base)
    cold = min_max_degree_days(low - colder, low + swing - colder, base_c=base)
    assert cold >= warm - 1e-9


@given(below=st.floats(-30.0, 30.0))
def test_hitchin_is_smooth_and_above_the_plain_difference(below: float) -> None:
    """A month's degree-days are never less than its mean's, and pass smoothly through the base."""
    month = float(monthly_degree_days(15.5 - below, 30, base_c=15.5))
    assert month >= 30 * max(below, 0.0)
    near = monthly_degree_days([15.5 - 1e-7, 15.5 + 1e-7, 15.5 - 2e-6, 15.5 + 2e-6], 30, base_c=15.5)
    assert near == pytest.approx(30 / 0.71, rel=1e-5)


def test_half_the_range_is_not_the_mean() -> None:
    """A 40 F / 15 F day has 37.5 F.day below 65 F; (highest - lowest) / 2, printed in places, gives 52.5."""
    assert mean_degree_days((40.0 + 15.0) / 2.0, base_c=65.0) == 37.5
    assert mean_degree_days((40.0 - 15.0) / 2.0, base_c=65.0) != 37.5
