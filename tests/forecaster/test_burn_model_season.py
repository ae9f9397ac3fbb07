"""The switch of the heating between seasons: its shape, and what is learnt of it."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from forecaster.burn_model import kernel, reference_slope_factor
from forecaster.burn_model.weather_rows import MILD_DAYS, MILD_WIDTH_K, mild_days, switched_on
from tests.forecaster.test_burn_model import YEAR_C, burn_l, drivers, fit, observed

SWITCH_C = 14.5


def switched(temp_c: np.ndarray, *, at_c: float) -> np.ndarray:
    """The shape by the library's exponential."""
    mild = mild_days(temp_c, float(temp_c[0]))
    return np.asarray(1.0 / (1.0 + np.exp((mild - at_c) / MILD_WIDTH_K)))


@given(st.floats(-30.0, 40.0), st.floats(8.0, 20.0))
def test_the_switch_is_a_logistic_of_the_mean_of_mild_days(mild_c: float, season_c: float) -> None:
    """It is the logistic function to 1e-14, one half at its own temperature, and never off where that is infinite."""
    by_library = 1.0 / (1.0 + np.exp((mild_c - season_c) / MILD_WIDTH_K))
    assert switched_on(mild_c, season_c) == pytest.approx(by_library, abs=1e-14)
    assert switched_on(season_c, season_c) == 0.5
    assert switched_on(mild_c, float("inf")) == 1.0


def test_the_mean_of_mild_days_forgets_in_five_days() -> None:
    """After a change of 10 K, five days on all but 1/e of it has arrived."""
    mean = mild_days(np.full(12, 20.0), 10.0)
    assert 20.0 - mean[int(MILD_DAYS) - 1] == pytest.approx(10.0 / np.e)
    assert (np.diff(mean) > 0.0).all()


def test_what_is_switched_off_takes_sun_and_stove_with_it() -> None:
    """Where no heat is wanted nothing is spared: all terms of the heating are nothing, the base load stays."""
    warm, sun = np.full(40, 19.0), np.full(40, 3.0)
    one, none = np.ones(40), np.zeros(40)
    at = (np.array([21.0]), np.array([0.0]), np.array([np.inf, 14.0]))
    rows = kernel.regressor_days(warm, sun, 10.0 * one, one, one, one, *at, 1.2, 1.5, 0.2)
    never, off = rows[0, 0, 0, -1], rows[0, 0, 1, -1]
    assert never[1] > 1.0
    assert off[0] == 1.0
    np.testing.assert_allclose(off[1:], none[:3], atol=0.01)


@pytest.mark.parametrize("at_c", [SWITCH_C, np.inf])
def test_a_house_tells_whether_it_switches_off(at_c: float) -> None:
    """After a year most of the weight lies where the heating is truly switched off, or never is."""
    rng = np.random.default_rng(8)
    temp_c = 10.5 - 6.5 * np.cos((np.arange(420) - 110) * 2 * np.pi / 365) + 2.5 * rng.standard_normal(420)
    heating = burn_l(temp_c, base=0.0)
    burned = 1.2 + heating * (switched(temp_c, at_c=at_c) if np.isfinite(at_c) else 1.0)
    day = np.arange(420) + 0.25
    litres = 3000.0 - np.interp(day, np.arange(421), np.r_[0.0, np.cumsum(burned)])
    posterior = fit(temp_c, observed(day, litres))
    assert posterior.weight[posterior.season_c == at_c].sum() > 0.8
    assert posterior.mild_c == pytest.approx(mild_days(drivers(temp_c).temp_c, float(temp_c[0]))[-1])


def test_the_prior_keeps_the_years_litres_at_every_season() -> None:
    """A year's degree-days for which heat is wanted, times the slope's factor, are the same at each base and season."""
    bases, seasons = np.array([15.0, 19.0, 19.0]), np.array([np.inf, 14.5, np.inf])
    factor = reference_slope_factor(bases, YEAR_C, at_c=16.0, rounding_k=1.2, seasons_c=seasons)
    one, none = np.ones(365), np.zeros(365)
    wanted = [
        kernel.regressor_days(
            YEAR_C, none, none, none, one, one, bases[i : i + 1], np.array([0.0]), seasons[i : i + 1], 1.2, 0.0, 0.0
        )[0, 0, 0, :, 1].sum()
        for i in range(3)
    ]  # fmt: skip
    np.testing.assert_allclose(wanted * factor, np.full(3, wanted[0] * factor[0]), rtol=1e-9)
