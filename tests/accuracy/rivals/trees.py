"""Boosted trees: quantiles of the litres over a horizon, learnt from other simulated houses.

Flow     seen, horizon -> what a row holds -> LightGBM, one model a quantile -> samples
Formula  target = litres burned / litres by K-factor and hot water in the mean weather year
Source   LightGBM (Microsoft) with its quantile objective; features of our own
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from tests.accuracy.baselines import BASE_C, burned_so_far_l, degree_days
from tests.accuracy.data import Floats
from tests.accuracy.rivals.seen import Samples, Seen
from tests.accuracy.rivals.trade import k_factor_and_hot_water, least_squares

LEVELS = (0.02, 0.05, 0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 0.95, 0.98)
LEARNT_D = (14, 30, 60)
"""Horizons of the rows to learn from. [d]"""
SAMPLES = 199
LOOKS_BACK_D = (3, 7, 14, 30, 60, 120, 365)
LEAST_L_PER_DAY = 0.3
ROUNDS = 250
PARAMETERS = {
    "objective": "quantile", "learning_rate": 0.05, "num_leaves": 15, "min_data_in_leaf": 40,
    "feature_fraction": 0.8, "bagging_fraction": 0.8, "bagging_freq": 1, "num_threads": 1, "verbosity": -1,
    "seed": 1, "deterministic": True,
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Example:
    """One row to learn from: what is seen, the scale of the target, and what came. [L]"""

    features: Floats
    scale_l: float
    actual_l: float


@dataclass(frozen=True, slots=True)
class Row:
    """What is seen, and the litres by which the target is scaled. [L]"""

    features: Floats
    scale_l: float


def rows_of(seen: Seen) -> Callable[[int], Row]:
    """Turn what is seen into a row for each horizon."""
    k_litres, fit_litres = k_factor_and_hot_water(seen), least_squares(seen)
    doy = 2.0 * np.pi * float((seen.start - seen.start.astype("datetime64[Y]")).astype(int)) / 365.25
    receipts = seen.receipts.rate_l if seen.receipts is not None else np.nan
    own = [
        float(seen.history_days), np.sin(doy), np.cos(doy), seen.prior.base_l_per_day,
        seen.prior.slope_l_per_kday, seen.surveyed.rate_l, receipts, *_looks_back(seen),
    ]  # fmt: skip

    def row(days: int) -> Row:
        k, fit = np.atleast_1d(k_litres(days)), np.atleast_1d(fit_litres(days))
        heating = degree_days(seen.weather(days).temp_c, BASE_C).sum(axis=-1)
        scale = max(float(k.mean()), LEAST_L_PER_DAY * days)
        ahead = [float(days), float(heating.mean()), float(heating.std()), scale / days]
        spread = [float(k.std()) / scale, float(fit.mean()) / scale, float(fit.std()) / scale]
        return Row(np.array(own + ahead + spread), scale)

    return row


def learn(examples: Sequence[Example]) -> Callable[[Seen], Samples]:
    """Fit one model a quantile; the rival that comes of it gives the quantiles in order."""
    import lightgbm

    x = np.array([e.features for e in examples])
    y = np.array([e.actual_l / e.scale_l for e in examples])
    boosters = []
    for level in LEVELS:
        data = lightgbm.Dataset(x, y, params={"verbosity": -1})
        boosters.append(lightgbm.train({**PARAMETERS, "alpha": level}, data, num_boost_round=ROUNDS))

    def predict(features: Floats) -> Floats:
        return np.stack([np.asarray(b.predict(features, num_threads=1)) for b in boosters], axis=-1)

    return by_quantiles(predict)


def by_quantiles(predict: Callable[[Floats], Floats]) -> Callable[[Seen], Samples]:
    """Make a rival of whatever predicts the quantiles of the target, from (row, feature) to (row, level).

    Between the horizons that were learnt the nearest one's spread is taken, about the scale of the days.
    """

    def rival(seen: Seen) -> Samples:
        row_of = rows_of(seen)
        told = predict(np.array([row_of(days).features for days in LEARNT_D]))

        def samples(days: int) -> Floats:
            nearest = int(np.argmin(np.abs(np.array(LEARNT_D) - days)))
            return row_of(days).scale_l * spread_out(told[nearest])

        return samples

    return rival


def spread_out(quantile: Floats) -> Floats:
    """Evenly spaced quantiles between those at `LEVELS`, put in order; the tails run on straight.

    Examples
    --------
    >>> spread = spread_out(np.array(LEVELS))
    >>> spread[[0, 99, -1]].round(3)
    array([0.003, 0.5  , 0.997])
    """
    q = np.sort(quantile)
    level = np.array([0.0, *LEVELS, 1.0])
    low = q[0] - (q[1] - q[0]) * LEVELS[0] / (LEVELS[1] - LEVELS[0])
    high = q[-1] + (q[-1] - q[-2]) * (1.0 - LEVELS[-1]) / (LEVELS[-1] - LEVELS[-2])
    places = (np.arange(SAMPLES) + 0.5) / SAMPLES
    return np.asarray(np.maximum(0.0, np.interp(places, level, [low, *q, high])))


def _looks_back(seen: Seen) -> list[float]:
    """Litres and degree-days a day over some spans until now; nan where the history is shorter."""
    if seen.days is None:
        return [np.nan] * (2 * len(LOOKS_BACK_D))
    burned = burned_so_far_l(seen.days)
    heating = np.cumsum(degree_days(seen.days.weather.temp_c, BASE_C))
    found = []
    for span in LOOKS_BACK_D:
        if len(burned) > span:
            found += [(burned[-1] - burned[-1 - span]) / span, (heating[-1] - heating[-1 - span]) / span]
        else:
            found += [np.nan, np.nan]
    return [float(value) for value in found]
