"""AutoETS and AutoARIMA on the level less what was delivered, one value a day.

They know no weather; each tells a mean and bands, taken as a normal law of the litres over the horizon.

Flow     seen -> litres burned so far, day by day -> statsforecast -> samples
Source   statsforecast (Nixtla): automatic exponential smoothing and ARIMA after R. J. Hyndman,
         Y. Khandakar, "Automatic time series forecasting: the forecast package for R", Journal of
         Statistical Software 27 (2008) no. 3 [from memory]
"""

from collections.abc import Callable, Mapping
from typing import Any

import numpy as np

from tests.accuracy.baselines import burned_so_far_l
from tests.accuracy.data import Floats
from tests.accuracy.rivals.seen import Samples, Seen
from tests.accuracy.rivals.trade import average_of_30_days

LONGEST_D = 730
"""No more than two years are fitted. [d]"""
LEAST_D = 14
"""With fewer the average stands in. [d]"""
BAND = 80
Z_OF_BAND = 1.2815515655446004
SAMPLES = 199
FAR_D = 102
"""Days that are forecast at once. [d]"""

Bands = Callable[[Floats, int], tuple[Floats, Floats]]
"""From a series and a number of steps to mean and standard deviation of each step ahead."""


def auto_ets(seen: Seen) -> Samples:
    """Exponential smoothing, its form chosen by the package; no season."""
    return of_series(seen, _bands_of("AutoETS"))


def auto_arima(seen: Seen) -> Samples:
    """ARIMA, its orders and differencing chosen by the package; no season."""
    return of_series(seen, _bands_of("AutoARIMA"))


def of_series(seen: Seen, bands: Bands) -> Samples:
    """Foretell by a method that goes on with a series."""
    if seen.days is None or seen.history_days < LEAST_D:
        return average_of_30_days(seen)
    burned = burned_so_far_l(seen.days)[-LONGEST_D:]
    mean, sd = bands(burned, FAR_D)
    return lambda days: normal_samples(max(0.0, mean[days - 1] - burned[-1]), sd[days - 1])


def normal_samples(mean: float, sd: float) -> Floats:
    """Evenly spaced quantiles of a normal law, none below nothing.

    Examples
    --------
    >>> normal_samples(50.0, 5.0)[[0, 99, -1]].round(1)
    array([36., 50., 64.])
    """
    from scipy.stats import norm

    places = (np.arange(SAMPLES) + 0.5) / SAMPLES
    return np.asarray(np.maximum(0.0, mean + sd * norm.ppf(places)))


def _bands_of(model: str) -> Bands:
    from statsforecast import models

    def bands(series: Floats, steps: int) -> tuple[Floats, Floats]:
        told: Mapping[str, Any] = getattr(models, model)(season_length=1).forecast(
            series, steps, level=[BAND]
        )
        mean, high = np.asarray(told["mean"], float), np.asarray(told[f"hi-{BAND}"], float)
        return mean, np.maximum(0.0, high - mean) / Z_OF_BAND

    return bands
