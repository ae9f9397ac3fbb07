"""Tanks of one place fitted together."""

from dataclasses import fields, replace

import numpy as np

from forecaster.burn_model import Additions, Observations, Posterior, fit_burn_model
from forecaster.burn_model.fleet import FleetTank, fit_fleet, station_of
from tests.forecaster.test_burn_model import (
    CAPACITY_L,
    DAY,
    FIRST,
    YEAR_C,
    burn_l,
    drivers,
    none_added,
    prior,
    weather_c,
)

DAYS = 90


def tank(number: int, temp_c: np.ndarray) -> FleetTank:
    """One of several tanks: its own house, reading hour, gaps, sun and deliveries."""
    rng = np.random.default_rng(number)
    mine = replace(drivers(temp_c), sun_kwh_m2=rng.uniform(0.0, 2.0, DAYS))
    days = np.flatnonzero(rng.random(DAYS) < 0.8)
    at = FIRST + days * DAY + np.timedelta64(int(rng.integers(1, 23)), "h")
    level = 1500.0 - np.cumsum(burn_l(temp_c, slope=0.3 + 0.1 * number))[days] + 400.0 * (days > 50)
    sd, one = np.full(len(days), 4.0), np.ones(len(days))
    seen = Observations(at, level, sd, one, 10.0 * one, np.zeros(len(days), bool), np.zeros(len(days), bool))
    added = Additions(FIRST + np.array([50]) * DAY, np.array([400.0]), np.array([6.0]))
    return FleetTank(mine, seen, added if number else none_added(), prior(solar_l_per_kwh_m2=0.3), CAPACITY_L)


def test_a_fleet_is_its_tanks_one_by_one() -> None:
    """With the place's weather laid once, each tank's posterior is what it is by itself, bit for bit."""
    temp_c = weather_c(DAYS)
    midnights = FIRST + np.arange(DAYS + 1) * DAY
    tanks = [tank(number, temp_c) for number in range(3)]
    as_of = midnights[-1]
    together = list(fit_fleet(station_of(temp_c, midnights, YEAR_C), tanks, as_of=as_of))
    assert len(together) == 3
    for one, found in zip(tanks, together, strict=True):
        alone = fit_burn_model(
            one.drivers, midnights, one.observations, one.additions, one.prior, as_of=as_of, normal_temp_c=YEAR_C,
            capacity_l=one.capacity_l,
        )  # fmt: skip
        for f in fields(Posterior):
            np.testing.assert_array_equal(getattr(found, f.name), getattr(alone, f.name))
    assert abs(together[0].moments()[0][2] - together[2].moments()[0][2]) > 0.05
