"""The trade's rules and least squares, each with a way to begin before there is a history.

Where less than 100 degree-days have been seen, the K-factor is that of the receipts, then that of the
survey; where less than 28 days have been seen, least squares gives way to K-factor and hot water; where
less than 14, an average is that of the receipts, then of the survey.

Formula  K-factor + hot water: litres = fixed days + (past litres - fixed past days) / past degree-days
         x degree-days ahead
Source   common practice, no source; as `tests.accuracy.baselines`
"""

import numpy as np

from tests.accuracy import baselines
from tests.accuracy.baselines import BASE_C, LEAST_DEGREE_DAYS, degree_days
from tests.accuracy.replay import Method
from tests.accuracy.rivals.seen import Past, Samples, Seen

LEAST_DAYS_OF_AVERAGE, LEAST_DAYS_OF_FIT = 14, 28


def average_of_30_days(seen: Seen) -> Samples:
    """Tomorrow as the last 30 days."""
    if seen.history_days < LEAST_DAYS_OF_AVERAGE:
        rate = _before(seen).rate_l
        return lambda days: np.asarray(rate * days)
    return _over_years(seen, baselines.average_of_30_days)


def k_factor_since_delivery(seen: Seen) -> Samples:
    """The K-factor since the last delivery."""
    return _over_years(seen, baselines.k_factor_since_delivery) if _has_heated(seen) else _k(seen, 0.0)


def k_factor_of_a_year(seen: Seen) -> Samples:
    """The K-factor of the last 365 days."""
    return _over_years(seen, baselines.k_factor_of_a_year) if _has_heated(seen) else _k(seen, 0.0)


def k_factor_and_hot_water(seen: Seen) -> Samples:
    """Fixed litres a day for hot water, a K-factor for the rest; before a history, the survey's hot water."""
    if _has_heated(seen):
        return _over_years(seen, baselines.k_factor_and_hot_water)
    return _k(seen, seen.prior.base_l_per_day)


def least_squares(seen: Seen) -> Samples:
    """Least squares on levels; the base by best fit."""
    return _fitted(seen, baselines.least_squares)


def least_squares_of_weeks(seen: Seen) -> Samples:
    """Least squares on weeks; the base by best fit."""
    return _fitted(seen, baselines.least_squares_of_weeks)


def _fitted(seen: Seen, method: Method) -> Samples:
    if seen.history_days < LEAST_DAYS_OF_FIT:
        return k_factor_and_hot_water(seen)
    return _over_years(seen, method)


def _over_years(seen: Seen, method: Method) -> Samples:
    assert seen.days is not None
    predict = method(seen.days)
    return lambda days: np.asarray(predict(seen.weather(days)))


def _has_heated(seen: Seen) -> bool:
    if seen.days is None or seen.history_days < 2:
        return False
    return bool(degree_days(seen.days.weather.temp_c, BASE_C)[1:].sum() >= LEAST_DEGREE_DAYS)


def _before(seen: Seen) -> Past:
    return seen.receipts if seen.receipts is not None else seen.surveyed


def _k(seen: Seen, fixed_l: float) -> Samples:
    past = _before(seen)
    fixed = min(fixed_l, past.rate_l)
    litres_a_degree_day = (past.litres - fixed * past.days) / past.degree_days

    def samples(days: int) -> np.ndarray:
        ahead = degree_days(seen.weather(days).temp_c, BASE_C).sum(axis=-1)
        return np.asarray(fixed * days + litres_a_degree_day * ahead)

    return samples
