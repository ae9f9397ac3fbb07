"""Ways of foretelling burn that need no model: the trade's K-factor, an average, least squares.

Each takes what a window holds, that is 1 cm levels and tickets, and gives litres for the weather of
the days ahead; over weather of shape (scenario, day) it gives one number a scenario. Where practice
leaves room the stronger form is taken: a K-factor is never taken from fewer than 100 degree-days, and a
warm summer is no reason to foretell nothing.

Formula  K = degree-days / litres between two fills;  litres ahead = degree-days ahead / K
         least squares: litres = b0 days + b1 degree-days(base) - b2 sun on heating days, all b >= 0
Source   K-factor: common practice, no source; degree-days from daily means; base 15.5 C as published in
         Britain and Ireland
         base temperature by best fit: M. F. Fels, "PRISM: An introduction", Energy and Buildings 9 (1986)
         5-18
"""

from collections.abc import Callable

import numpy as np

from forecaster.weather import Weather
from tests.accuracy.data import Floats
from tests.accuracy.replay import Predictor, Window
from tests.accuracy.tanks import House

BASE_C = 15.5
LEAST_DEGREE_DAYS = 100.0
"""A K-factor from fewer degree-days tells of hot water, not of heating. [K d]"""
YEAR_D = 365
BLOCK_D = 7
FIXED_HOT_WATER_L = 1.0
"""Before a summer has been seen [assumption: two people's hot water and its losses]. [L/d]"""
WARM_DAYS_NEEDED = 30
BASES_C = np.arange(10.0, 22.1, 0.5)


def average_of_30_days(window: Window) -> Predictor:
    """Tomorrow as the last 30 days: no weather at all."""
    return _at_rate(_mean_rate(window, days=30))


def k_factor_since_delivery(window: Window) -> Predictor:
    """The K-factor of the time since the last delivery, or since the last that gives 100 degree-days."""
    cumulative, burned = _degree_days_so_far(window, BASE_C), burned_so_far_l(window)
    delivered = np.flatnonzero(window.ticket_l > 0.0)
    starts = [int(day) for day in delivered[::-1]] + [0]
    start = next((s for s in starts if cumulative[-1] - cumulative[s] >= LEAST_DEGREE_DAYS), 0)
    return _at_k(cumulative[-1] - cumulative[start], burned[-1] - burned[start], window)


def k_factor_of_a_year(window: Window) -> Predictor:
    """The K-factor of the last 365 days, or of all there are."""
    cumulative, burned = _degree_days_so_far(window, BASE_C), burned_so_far_l(window)
    start = max(0, len(burned) - 1 - YEAR_D)
    return _at_k(cumulative[-1] - cumulative[start], burned[-1] - burned[start], window)


def k_factor_and_hot_water(window: Window) -> Predictor:
    """Fixed litres a day for hot water, and a K-factor of the last 365 days for the rest.

    The fixed litres are what burned on the year's days without degree-days, when there were 30 of
    them, else one litre; never more than the year's mean.
    """
    cumulative, burned = _degree_days_so_far(window, BASE_C), burned_so_far_l(window)
    start = max(0, len(burned) - 1 - YEAR_D)
    days = len(burned) - 1 - start
    total = max(0.0, burned[-1] - burned[start])
    warm = np.diff(cumulative[start:]) <= 0.0
    fixed = FIXED_HOT_WATER_L
    if warm.sum() >= WARM_DAYS_NEEDED:
        fixed = max(0.0, float(np.diff(burned[start:])[warm].mean()))
    fixed = min(fixed, total / max(days, 1))
    heating = _at_k(cumulative[-1] - cumulative[start], total - fixed * days, window)
    return lambda ahead: heating(ahead) + fixed * len(ahead.date)


def least_squares(window: Window) -> Predictor:
    """Least squares on the delivery-adjusted levels of the last 365 days; the base by best fit."""
    first = max(0, len(window.date) - YEAR_D)
    seen = first + np.flatnonzero(np.isfinite(window.level_l[first:]))
    burned = burned_so_far_l(window)[seen]

    def columns(base_c: float) -> Floats:
        so_far = np.cumsum(_columns(window.weather, base_c), axis=0)[seen]
        return np.asarray(so_far - so_far.mean(axis=0))  # in place of an unbounded intercept

    return _best_fit(columns, burned - burned.mean())


def least_squares_of_weeks(window: Window) -> Predictor:
    """Least squares on the burn of each week of the last 365 days; the base by best fit."""
    burned = burned_so_far_l(window)
    blocks = min(YEAR_D, len(burned) - 1) // BLOCK_D
    edges = len(burned) - 1 - BLOCK_D * np.arange(blocks, -1, -1)

    def columns(base_c: float) -> Floats:
        return np.diff(np.cumsum(_columns(window.weather, base_c), axis=0)[edges], axis=0)

    return _best_fit(columns, np.diff(burned[edges]))


def best_fit_in_hindsight(house: House) -> Predictor:
    """Fit the same least squares to the true burn of all weeks, those ahead too: a bound, no method."""
    blocks = int(house.known.sum()) // BLOCK_D

    def by_week(daily: Floats) -> Floats:
        known = daily[house.known][: blocks * BLOCK_D]
        return np.asarray(known.reshape(blocks, BLOCK_D, *known.shape[1:]).sum(axis=1))

    return _best_fit(lambda base_c: by_week(_columns(house.weather, base_c)), by_week(house.burned_l))


def burned_so_far_l(window: Window) -> Floats:
    """Litres burned from the first day to the end of each, by levels and tickets, shape (day,).

    Over days without a reading it runs straight.
    """
    adjusted = window.level_l - np.cumsum(window.ticket_l)
    seen = np.flatnonzero(np.isfinite(adjusted))
    whole = np.interp(np.arange(len(adjusted)), seen, adjusted[seen])
    return np.asarray(whole[0] - whole)


def degree_days(temp_c: Floats, base_c: float) -> Floats:
    """Degree-days of each day from its mean temperature. [K d]

    Examples
    --------
    >>> degree_days(np.array([5.5, 20.0]), 15.5)
    array([10.,  0.])
    """
    return np.asarray(np.maximum(0.0, base_c - temp_c))


def _degree_days_so_far(window: Window, base_c: float) -> Floats:
    # From the end of the first day, like the litres burned so far.
    daily = degree_days(window.weather.temp_c, base_c)
    return np.asarray(np.cumsum(daily) - daily[0])


def _mean_rate(window: Window, *, days: int) -> float:
    burned = burned_so_far_l(window)
    start = max(0, len(burned) - 1 - days)
    return max(0.0, float(burned[-1] - burned[start]) / max(1, len(burned) - 1 - start))


def _at_rate(litres_a_day: float) -> Predictor:
    return lambda ahead: np.asarray(litres_a_day * len(ahead.date))


def _at_k(degree_days_past: float, litres_past: float, window: Window) -> Predictor:
    if degree_days_past < LEAST_DEGREE_DAYS:
        return _at_rate(_mean_rate(window, days=30))
    litres_a_degree_day = max(0.0, litres_past) / degree_days_past
    return lambda ahead: np.asarray(litres_a_degree_day * degree_days(ahead.temp_c, BASE_C).sum(axis=-1))


def _columns(weather: Weather, base_c: float) -> Floats:
    heating = degree_days(weather.temp_c, base_c)
    sun_kwh_m2 = np.nan_to_num(weather.ghi_wh_m2 / 1000.0) * (heating > 0.0)
    return np.stack([np.ones_like(heating), heating, -sun_kwh_m2], axis=-1)


def _best_fit(columns: Callable[[float], Floats], litres: Floats) -> Predictor:
    from scipy.optimize import nnls

    fits = [(float(base_c), *nnls(columns(float(base_c)), litres)) for base_c in BASES_C]
    base_c, coefficients, _ = min(fits, key=lambda fit: fit[2])
    return lambda ahead: np.asarray(np.maximum(0.0, _columns(ahead, base_c) @ coefficients).sum(axis=-1))
