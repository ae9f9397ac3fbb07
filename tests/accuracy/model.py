"""The burn model of the engine, as a method of the replays.

It gets what the baselines get and a survey without a single answer but the place. Sun comes to the
south window plane by `forecaster.solar`; where none was measured the model has none.
"""

import numpy as np

from forecaster.burn_model import Additions, Drivers, Observations, Posterior, fit_burn_model
from forecaster.dwelling import BurnPrior, Survey, burn_prior
from forecaster.forecast import simulate_litres
from forecaster.fuel import KEROSENE
from forecaster.weather import Weather
from tests.accuracy.data import Floats
from tests.accuracy.replay import Predictor, Window
from tests.accuracy.tanks import CAPACITY_L, LITRES_PER_MM, RESOLUTION_MM

STEP_L = LITRES_PER_MM * RESOLUTION_MM
SENSOR_SD_L = STEP_L / np.sqrt(12.0)
"""Of a value rounded to its nearest step. [L]"""
TICKET_REL_SD = 0.015
SEED = 20160101
"""Every forecast draws the same random numbers, as the service does."""


def burn_model(window: Window) -> Predictor:
    """Fit the burn model to a window; foretell by samples of the litres burned."""
    survey = Survey(latitude=window.latitude, longitude=window.longitude)
    prior = burn_prior(survey, KEROSENE)
    midnights = np.append(window.date, window.as_of + 1).astype("datetime64[s]")
    seen = np.isfinite(window.level_l)
    level_l = window.level_l[seen]
    delivered = window.ticket_l > 0.0
    none = np.zeros(len(level_l), dtype=bool)
    posterior = fit_burn_model(
        to_drivers(window.weather, prior, window),
        midnights,
        Observations(
            at=midnights[1:][seen],
            litres=level_l,
            sd_l=np.full(len(level_l), SENSOR_SD_L),
            bulk_per_15c=np.ones(len(level_l)),
            step_l=np.full(len(level_l), STEP_L),
            at_least=none,
            repeats=np.concatenate([[False], np.diff(level_l) == 0.0]),
        ),
        Additions(
            at=midnights[:-1][delivered] + np.timedelta64(10, "h"),
            litres_15c=window.ticket_l[delivered],
            sd_l=TICKET_REL_SD * window.ticket_l[delivered],
        ),
        prior,
        as_of=midnights[-1],
        normal_temp_c=normal_year_c(window),
        capacity_l=CAPACITY_L,
    )
    return lambda ahead: burned_samples_l(posterior, to_drivers(ahead, prior, window))


def burned_samples_l(posterior: Posterior, ahead: Drivers) -> Floats:
    """Litres burned over all days ahead, shape (sample,); the weather is the one given."""
    days = len(ahead.date)
    once = Drivers(
        date=ahead.date,
        temp_c=ahead.temp_c[None],
        sun_kwh_m2=ahead.sun_kwh_m2[None],
        base_factor=ahead.base_factor[None],
        heat_factor=ahead.heat_factor,
        stove_kwh=ahead.stove_kwh,
        stove_rate=ahead.stove_rate,
    )
    paths = simulate_litres(
        posterior,
        once,
        day_share=np.ones(days),
        oil_c=np.full((1, days), 15.0),
        oil_now_c=15.0,
        density_15c=KEROSENE.density_15c,
        promised_l=np.zeros(days),
        rng=np.random.default_rng(SEED),
    )
    return np.asarray(paths.burned_l.sum(axis=1))


def to_drivers(weather: Weather, prior: BurnPrior, window: Window) -> Drivers:
    """What drives the burn on the days of some weather."""
    days = len(weather.date)
    month = weather.date.astype("datetime64[M]").astype(int) % 12
    return Drivers(
        date=weather.date,
        temp_c=weather.temp_c,
        sun_kwh_m2=window_sun_kwh_m2(weather, window),
        base_factor=prior.hot_water_l_per_day[month],
        heat_factor=np.ones(days),
        stove_kwh=np.zeros(days),
        stove_rate=np.zeros(days),
    )


def window_sun_kwh_m2(weather: Weather, window: Window) -> Floats:
    """Irradiation on an upright south window, 0 where none was measured. [kWh/m2/d]"""
    if np.isnan(weather.ghi_wh_m2).all():
        return np.zeros(len(weather.date))
    from forecaster.solar import plane_irradiation_kwh_m2

    return np.nan_to_num(
        plane_irradiation_kwh_m2(
            weather.date,
            weather.ghi_wh_m2,
            latitude=window.latitude,
            longitude=window.longitude,
            tilt_deg=90.0,
            azimuth_deg=180.0,
        )
    )


def normal_year_c(window: Window) -> Floats:
    """A year of daily temperatures for the prior: the last known, or a round figure for the region."""
    if len(window.date) >= 365:
        return window.weather.temp_c[-365:]
    mean_c, swing_k = (7.0, 16.0) if window.longitude < -30.0 else (10.5, 6.5)
    return mean_c - swing_k * np.cos(2.0 * np.pi * (np.arange(365) - 20) / 365)
