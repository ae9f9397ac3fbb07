"""The burn model of the engine, as a method of the replays.

It gets what the baselines get, and a survey without a single answer but the place. Sun that was not
measured is taken from the place's normals, as the engine does.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache

import numpy as np

from forecaster.burn_model import Additions, Observations, Posterior, Settings, fit_burn_model
from forecaster.burn_model.drivers import House, house_drivers
from forecaster.climate import Normals, normal_day, normals_for
from forecaster.dwelling import Survey, burn_prior
from forecaster.forecast import PATHS, Chances, draw_chances, simulate_litres
from forecaster.fuel import KEROSENE
from forecaster.weather import Weather
from tests.accuracy.data import Days, Floats
from tests.accuracy.replay import Predictor, Window
from tests.accuracy.tanks import CAPACITY_L, LITRES_PER_MM, RESOLUTION_MM

STEP_L = LITRES_PER_MM * RESOLUTION_MM
SENSOR_SD_L = STEP_L / np.sqrt(12.0)
"""Of a value rounded to its nearest step. [L]"""
TICKET_REL_SD = 0.015
OIL_C = 15.0
SEED = 20160101
"""Every forecast draws the same random numbers, as the service does."""


@dataclass(frozen=True, slots=True)
class Fitted:
    """The burn model of a window, with what its drivers are made from."""

    posterior: Posterior
    house: House
    normals: Normals


def fit(window: Window) -> Fitted:
    """Fit the burn model to a window, by a survey that says nothing but where the building stands."""
    survey = Survey(latitude=window.latitude, longitude=window.longitude)
    prior = burn_prior(survey, KEROSENE)
    house = House(window.latitude, window.longitude, survey, prior)
    normals = normals_for(latitude=window.latitude, longitude=window.longitude)
    year = np.arange("2001-01-01", "2002-01-01", dtype="datetime64[D]")
    midnights = np.append(window.date, window.as_of + 1).astype("datetime64[s]")
    posterior = fit_burn_model(
        house_drivers(window.date, *complete(window.weather, normals), house=house),
        midnights,
        observations(window, midnights[1:]),
        additions(window, midnights[:-1]),
        prior,
        as_of=midnights[-1],
        normal_temp_c=normal_day(normals, year)[0],
        capacity_l=CAPACITY_L,
    )
    return Fitted(posterior, house, normals)


def burn_model(window: Window) -> Predictor:
    """Fit the burn model to a window; foretell by samples of the litres burned."""
    fitted = fit(window)

    def predict(ahead: Weather) -> Floats:
        temp_c, ghi_wh_m2 = complete(ahead, fitted.normals)
        return burned_l(fitted, ahead.date, temp_c[None], ghi_wh_m2[None]).sum(axis=1)

    return predict


def burned_over_years_l(fitted: Fitted, years: Sequence[Weather]) -> Floats:
    """Litres burned on each day ahead by weather years, shape (sample, day)."""
    each = [complete(year, fitted.normals) for year in years]
    temp_c, ghi_wh_m2 = (np.stack(values) for values in zip(*each, strict=True))
    return burned_l(fitted, years[0].date, temp_c, ghi_wh_m2)


def burned_l(fitted: Fitted, date: Days, temp_c: Floats, ghi_wh_m2: Floats) -> Floats:
    """Litres burned on each day ahead, shape (sample, day); the weather has shape (scenario, day)."""
    scenarios, days = temp_c.shape
    paths = simulate_litres(
        fitted.posterior,
        house_drivers(date, temp_c, ghi_wh_m2, house=fitted.house),
        day_share=np.ones(days),
        oil_c=np.full((scenarios, days), OIL_C),
        oil_now_c=OIL_C,
        density_15c=KEROSENE.density_15c,
        promised_l=np.zeros(days),
        chances=chances(days),
    )
    return np.asarray(paths.burned_l)


@cache
def chances(days: int) -> Chances:
    """The random numbers that all forecasts share."""
    settings = Settings()
    return draw_chances(paths=PATHS, days=days, day_noise=settings.day_noise, rng=np.random.default_rng(SEED))


def observations(window: Window, day_end: Days) -> Observations:
    """The window's levels as the filter takes them; the oil is at 15 C."""
    seen = np.isfinite(window.level_l)
    level_l = window.level_l[seen]
    return Observations(
        at=day_end[seen],
        litres=level_l,
        sd_l=np.full(len(level_l), SENSOR_SD_L),
        bulk_per_15c=np.ones(len(level_l)),
        step_l=np.full(len(level_l), STEP_L),
        at_least=np.zeros(len(level_l), dtype=bool),
        repeats=np.concatenate([[False], np.diff(level_l) == 0.0]),
    )


def additions(window: Window, day_begin: Days) -> Additions:
    """The window's tickets; deliveries come at ten in the morning."""
    delivered = window.ticket_l > 0.0
    litres = window.ticket_l[delivered]
    return Additions(day_begin[delivered] + np.timedelta64(10, "h"), litres, TICKET_REL_SD * litres)


def complete(weather: Weather, normals: Normals) -> tuple[Floats, Floats]:
    """Temperature and sun of some weather, normal sun where none was measured. [C, Wh/m2]"""
    _, normal_ghi = normal_day(normals, weather.date)
    return weather.temp_c, np.where(np.isnan(weather.ghi_wh_m2), normal_ghi, weather.ghi_wh_m2)
