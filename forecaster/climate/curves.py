"""From 12 monthly values to a smooth curve over the days of the year that keeps the monthly means.

Flow     monthly normals -> **daily curve** -> anomalies, weather years
Formula  three harmonics of the monthly values, each divided by sinc(k/12), the share a monthly mean
         takes of it; then the remaining monthly errors, interpolated between mid-months, are added ten times
"""

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
Dates = npt.NDArray[np.datetime64]

MONTH_DAYS = np.array([31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31])
"""Days of the months of a common year. [d]"""
DAYS = 365
"""Days of the climate's year; 29 February takes the value of the 28th. [d]"""
MONTH_OF_DAY = np.repeat(np.arange(12), MONTH_DAYS)
"""Month, 0 to 11, of each day of the climate's year."""
_HARMONICS = 3
_PASSES = 10
_MID_MONTH = np.cumsum(MONTH_DAYS) - MONTH_DAYS / 2.0 - 0.5


def day_of_year(date: Dates) -> Ints:
    """Place days in the climate's year of 365 days, 0 to 364.

    Examples
    --------
    >>> day_of_year(np.array(["2024-02-28", "2024-02-29", "2024-03-01", "2023-03-01"], "M8[D]"))
    array([58, 58, 59, 59])
    """
    date = np.asarray(date, dtype="datetime64[D]")
    month = date.astype("datetime64[M]")
    start = np.concatenate([[0], np.cumsum(MONTH_DAYS)[:-1]])
    number = month.astype(np.int64) % 12
    within = (date - month.astype("datetime64[D]")).astype(np.int64)
    place: Ints = start[number] + np.minimum(within, MONTH_DAYS[number] - 1)
    return place


def decimal_year(date: Dates) -> Floats:
    """Return the year with its fraction, for trends. [yr]

    Examples
    --------
    >>> decimal_year(np.array(["2024-07-02"], "M8[D]")).round(2)
    array([2024.5])
    """
    return 1970.0 + np.asarray(date, dtype="datetime64[D]").astype(np.int64) / 365.2425


def monthly_means(daily: Floats, *, weight: Floats | None = None) -> Floats:
    """Average 365 daily values over the 12 months, weighted if wanted.

    Examples
    --------
    >>> monthly_means(MONTH_OF_DAY.astype(float))[:3]
    array([0., 1., 2.])
    """
    share = np.ones(DAYS) if weight is None else weight
    means: Floats = np.bincount(MONTH_OF_DAY, daily * share) / np.bincount(MONTH_OF_DAY, share)
    return means


def daily_curve(monthly: npt.ArrayLike, *, weight: Floats | None = None) -> Floats:
    """Draw a smooth curve over 365 days whose monthly means are the given ones.

    Parameters
    ----------
    monthly : float array, shape (12,)
        January to December.
    weight : float array, shape (365,), optional
        What the days weigh in a monthly mean.

    Returns
    -------
    float array, shape (365,)

    Examples
    --------
    >>> curve = daily_curve([5.3, 5.4, 6.5, 8.1, 10.7, 13.3, 15.2, 15.0, 13.0, 10.2, 7.4, 5.6])
    >>> monthly_means(curve).round(2)
    array([ 5.3,  5.4,  6.5,  8.1, 10.7, 13.3, 15.2, 15. , 13. , 10.2,  7.4,  5.6])
    """
    values = np.asarray(monthly, dtype=np.float64)
    phase = 2.0 * np.pi * np.outer(np.arange(DAYS) + 0.5, np.arange(1, _HARMONICS + 1)) / DAYS
    middle = 2.0 * np.pi * np.outer(np.arange(12) + 0.5, np.arange(1, _HARMONICS + 1)) / 12.0
    damping = np.sinc(np.arange(1, _HARMONICS + 1) / 12.0)
    cosine = (values @ np.cos(middle)) / 6.0 / damping
    sine = (values @ np.sin(middle)) / 6.0 / damping
    curve: Floats = values.mean() + np.cos(phase) @ cosine + np.sin(phase) @ sine
    for _ in range(_PASSES):
        error = values - monthly_means(curve, weight=weight)
        curve += np.interp(np.arange(DAYS), _MID_MONTH, error, period=DAYS)
    return curve
