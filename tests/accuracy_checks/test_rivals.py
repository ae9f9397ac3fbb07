"""The rivals of the simulated houses: each sees what the engine sees, and has a way to begin."""

from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from forecaster.backtest import end_of_day, open_window
from forecaster.climate import WeatherYears
from forecaster.deliveries import Receipts
from tests.accuracy.baselines import burned_so_far_l
from tests.accuracy.rivals import TRADE, see, series, trees
from tests.accuracy.rivals.seen import Seen
from tests.forecaster.homes import Home

HOME = Home(days=90, poured={20: 500.0})
FIRST = np.datetime64(HOME.first, "D")
BURN = 1.0 + np.maximum(15.0 - HOME.temp_c(), 0.0) / 2.0
"""What the home burns on each day. [L]"""


def the_weather_to_come(start):
    """Five equal weather years: the week of the home goes on."""
    temp = np.resize(np.array(HOME.week_c), 200)[int((start - FIRST).astype(int)) :][:60]
    return WeatherYears(start, np.tile(temp, (5, 1)), np.full((5, 60), 700.0), "as it was")


@cache
def seen_after(days, *, receipts=False) -> Seen:
    """What a rival sees of the home at the end of a day."""
    inputs = HOME.inputs()
    if receipts:
        given = Receipts(FIRST - np.array([364, 0]), np.array([700.0, 2400.0]), np.array(["yes", "yes"]))
        inputs = replace(inputs, receipts=given)
    window = open_window(inputs, end_of_day((FIRST + days - 1).item(), inputs.timezone))
    return see(window, the_weather_to_come(window.today))


def test_levels_and_tickets_give_the_litres_burned():
    """Across a delivery too, what is seen to have burned is what burned, within three steps of the sensor."""
    seen = seen_after(60)
    assert seen.days is not None
    burned = burned_so_far_l(seen.days)
    true = np.cumsum(BURN)[: len(burned)]
    assert np.abs(burned - burned[0] - (true - true[0])).max() < 30.0
    assert seen.days.ticket_l.sum() == pytest.approx(500.0)


@pytest.mark.parametrize("name", ["K-factor + hot water", "least squares", "least squares by week"])
def test_a_rival_with_a_history_foretells_the_home(name):
    """In weather that goes on as it was, sixty days of history give the next thirty within 8 %."""
    litres = TRADE[name](seen_after(60))(30)
    assert litres == pytest.approx(float(BURN[60:90].sum()), rel=0.08)
    assert litres.shape == (5,)


@pytest.mark.parametrize("name", TRADE)
def test_every_rival_can_begin_with_two_days(name):
    """With two days of readings each gives a number above nothing, and receipts change it."""
    bare, told = (TRADE[name](seen_after(2, receipts=given))(30) for given in (False, True))
    assert np.all(bare > 0)
    assert np.all(told > 0)
    assert not np.allclose(bare, told)


def test_receipts_give_the_k_factor_of_their_year():
    """On the second day a K-factor burns by degree-days what the receipts burned by theirs."""
    seen = seen_after(2, receipts=True)
    assert seen.receipts is not None
    assert (seen.receipts.litres, seen.receipts.days) == (2400.0, 364.0)
    ahead = np.maximum(15.5 - seen.weather(30).temp_c, 0.0).sum(axis=1)
    expected = 2400.0 / seen.receipts.degree_days * ahead
    assert TRADE["K-factor of a year"](seen)(30) == pytest.approx(expected)


def test_a_series_goes_on_from_what_was_burned():
    """Mean and spread that a series method tells become samples of the litres beyond today."""

    def at_five_a_day(burned, steps):
        ahead = np.arange(1.0, steps + 1)
        return burned[-1] + 5.0 * ahead, 2.0 * np.sqrt(ahead)

    litres = series.of_series(seen_after(60), at_five_a_day)(16)
    assert np.median(litres) == pytest.approx(80.0)
    assert litres.std() == pytest.approx(8.0, rel=0.02)
    assert series.of_series(seen_after(5), at_five_a_day)(16).ndim == 0


def test_trees_give_the_quantiles_in_order():
    """Whatever the models say, the samples rise, and their median is the middle quantile times the scale."""
    rng = np.random.default_rng(2)
    told = np.array(trees.LEVELS)[rng.permutation(len(trees.LEVELS))]
    rival = trees.by_quantiles(lambda features: np.tile(told, (len(features), 1)))
    seen = seen_after(60)
    litres = rival(seen)(30)
    assert np.all(np.diff(litres) >= 0)
    assert np.median(litres) == pytest.approx(0.5 * trees.rows_of(seen)(30).scale_l)


def test_a_row_holds_nothing_of_the_past_where_there_is_none():
    """With two days, rates over longer spans are unknown, not nothing; with sixty, those of a month are known."""
    short, long = (trees.rows_of(seen_after(days))(14).features for days in (2, 60))
    assert len(short) == len(long)
    assert np.isnan(short).sum() > np.isnan(long).sum() > 0
    month = 7 + 2 * trees.LOOKS_BACK_D.index(30)
    assert long[month] == pytest.approx(BURN.mean(), rel=0.1)
