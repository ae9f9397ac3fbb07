"""The baselines: each finds again what it assumes, so that it is beaten fairly or not at all."""

import numpy as np
import pytest

from forecaster.fuel import KEROSENE
from tests.accuracy import baselines
from tests.accuracy.data import Record
from tests.accuracy.replay import cut_weather, open_window
from tests.accuracy.tanks import put_tank, without_errors

DAYS = 600
DATE = np.datetime64("2021-01-01") + np.arange(DAYS)
SEASON = 2.0 * np.pi * (np.arange(DAYS) - 20) / 365.25
TEMP_C = 10.0 - 7.0 * np.cos(SEASON) + np.random.default_rng(5).normal(0.0, 2.5, DAYS)
SUN_WH = (2700.0 - 2100.0 * np.cos(SEASON)) * np.random.default_rng(6).uniform(0.3, 1.3, DAYS)


def house_burning(litres):
    """A house whose tank loses the given litres each day, read without error."""
    record = Record(
        name="known house",
        source="made up",
        latitude=52.0,
        longitude=0.0,
        date=DATE,
        kwh=litres * KEROSENE.gross_kwh_per_l,
        known=np.ones(DAYS, dtype=bool),
        temp_c=TEMP_C,
        ghi_wh_m2=SUN_WH,
    )
    return put_tank(record, rng=np.random.default_rng(1))


def foretell(method, house, *, known_days=540, ahead=60):
    """Litres foretold and burned."""
    predict = method(open_window(house, house.date[known_days - 1]))
    foretold = float(predict(cut_weather(house.weather, known_days, known_days + ahead)))
    return foretold, float(house.burned_l[known_days : known_days + ahead].sum())


def degree_days(base_c):
    """By hand."""
    return np.maximum(0.0, base_c - TEMP_C)


@pytest.mark.parametrize("method", [baselines.k_factor_since_delivery, baselines.k_factor_of_a_year])
def test_a_k_factor_foretells_a_house_that_only_heats(method):
    """Where every litre is 2 degree-days of base 15.5, a K-factor is exact; known days end in June."""
    house = without_errors(house_burning(0.5 * degree_days(15.5)))
    foretold, burned = foretell(method, house, known_days=320)
    assert foretold == pytest.approx(burned)


def test_a_k_factor_is_not_taken_from_a_summer():
    """In September the time since an August delivery has too few degree-days: an older start is taken."""
    litres = 1.5 + 0.5 * degree_days(15.5)
    house = without_errors(house_burning(litres))
    ticket_l = np.zeros(DAYS)
    ticket_l[[30, 240]] = 1e-9  # mere marks of a delivery
    window = open_window(house, house.date[259])
    marked = type(window)(
        window.as_of, window.weather, window.level_l, ticket_l[:260] + window.ticket_l, 52.0, 0.0
    )
    assert degree_days(15.5)[241:260].sum() < 100.0
    start = max(
        day
        for day in [0, *np.flatnonzero(marked.ticket_l)]
        if degree_days(15.5)[day + 1 : 260].sum() >= 100.0
    )
    by_hand = litres[start + 1 : 260].sum() / degree_days(15.5)[start + 1 : 260].sum()
    ahead = cut_weather(house.weather, 260, 320)
    foretold = float(baselines.k_factor_since_delivery(marked)(ahead))
    assert foretold == pytest.approx(by_hand * degree_days(15.5)[260:320].sum())


def test_fixed_hot_water_is_learnt_from_a_summer():
    """1.5 litres a day and 2 degree-days a litre: found exactly once a summer has been seen."""
    house = without_errors(house_burning(1.5 + 0.5 * degree_days(15.5)))
    foretold, burned = foretell(baselines.k_factor_and_hot_water, house)
    assert foretold == pytest.approx(burned)


@pytest.mark.parametrize("method", [baselines.least_squares, baselines.least_squares_of_weeks])
def test_least_squares_finds_base_slope_and_sun(method):
    """A house of exactly the fitted form, base 17 on the grid, is foretold within 1e-6."""
    heating = degree_days(17.0)
    litres = 1.2 + 0.6 * heating - 0.15 * SUN_WH / 1000.0 * (heating > 0.0)
    assert litres.min() > -1.0
    house = without_errors(house_burning(np.maximum(litres, 0.0)))
    clipped = (litres < 0.0).mean()
    assert clipped < 0.02
    foretold, burned = foretell(method, house)
    assert foretold == pytest.approx(burned, rel=1e-2)


@pytest.mark.parametrize("method", [baselines.least_squares, baselines.least_squares_of_weeks])
def test_least_squares_stands_the_1_cm_sensor(method):
    """With rounded levels and tickets 1 % off, the same house is foretold within 4 %."""
    house = house_burning(1.2 + 0.6 * degree_days(17.0))
    foretold, burned = foretell(method, house)
    assert foretold == pytest.approx(burned, rel=0.04)


def test_the_average_knows_no_weather():
    """Thirty days of 8 litres give 8 litres a day, whatever the sky."""
    house = without_errors(house_burning(np.full(DAYS, 8.0)))
    assert foretell(baselines.average_of_30_days, house)[0] == pytest.approx(480.0)


def test_the_burn_so_far_runs_straight_over_a_gap():
    """Litres burned while nothing was read are counted, evenly over the days."""
    house = without_errors(house_burning(np.full(DAYS, 8.0)))
    house.level_l[100:110] = np.nan
    so_far = baselines.burned_so_far_l(open_window(house, house.date[200]))
    assert np.diff(so_far) == pytest.approx(np.full(200, 8.0))


def test_hindsight_is_at_least_as_good_on_a_house_of_its_form():
    """Fitted to all weeks, the bound foretells its own kind of house exactly."""
    house = house_burning(1.2 + 0.6 * degree_days(17.0))
    predict = baselines.best_fit_in_hindsight(house)
    foretold = float(predict(cut_weather(house.weather, 540, 600)))
    assert foretold == pytest.approx(house.burned_l[540:600].sum(), rel=1e-6)


@pytest.mark.parametrize(
    "method",
    [
        baselines.average_of_30_days,
        baselines.k_factor_since_delivery,
        baselines.k_factor_of_a_year,
        baselines.k_factor_and_hot_water,
        baselines.least_squares,
        baselines.least_squares_of_weeks,
    ],
)
def test_every_baseline_answers_after_four_weeks_and_never_below_nothing(method):
    """From day 28 on, through a summer, each gives a finite number of at least 0 litres."""
    house = house_burning(1.0 + 0.4 * degree_days(15.5))
    for known_days in range(28, 540, 16):
        foretold, _ = foretell(method, house, known_days=known_days)
        assert np.isfinite(foretold)
        assert foretold >= 0.0
