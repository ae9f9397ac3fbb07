"""Heating degree-days: how much colder than a base it was, summed over time.

Flow     Weather -> **degree-days** -> burn model, K-factor, scores
Formula  D = integral of max(0, base - temperature) dt / 1 day
Source   [1] Met Eireann and Met Office minimum/maximum equations, as published on met.ie and vesma.com
         [2] Hitchin's formula for monthly means, attributed to Hitchin 1983 and CIBSE TM41; the formula
             and k = 0.71 /K are from memory
         [3] Carbon Trust degree-day page: 7.5 degC for 48 hours is 16 K.day below 15.5 degC

Methods differ by tenths of a degree-day on mild days: never fit with one and forecast with another.
Every function works in any unit of temperature as long as all of its arguments share it.
"""

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.floating]

UK_BASE_C = 15.5
"""Base temperature of published degree-days in the British Isles [1]. [degC]"""
UK_HITCHIN_PER_K = 0.71
"""Shape of Hitchin's formula for the United Kingdom [2]. [1/K]"""


def mean_degree_days(temp_c: npt.ArrayLike, *, base_c: npt.ArrayLike) -> Floats:
    """Degree-days of each day from its mean temperature (mean-daily method). [K.day]

    Parameters
    ----------
    temp_c, base_c : float array
        Daily mean temperature and base, shapes that broadcast. [degC]

    Returns
    -------
    float array
        ``max(0, base - temp)``; nan where the temperature is.

    Notes
    -----
    With the mid-range (highest + lowest) / 2 in place of the mean this is the North American
    method. It says 0 for a day that swings around the base, where the others say 1 or 2.

    Examples
    --------
    >>> mean_degree_days([5.5, 20.0], base_c=15.5)
    array([10.,  0.])
    """
    below = np.asarray(base_c, dtype=np.float64) - np.asarray(temp_c, dtype=np.float64)
    return np.maximum(below, 0.0)


def integral_degree_days(temp_c: npt.ArrayLike, *, base_c: npt.ArrayLike, step_hours: float = 1.0) -> Floats:
    """Degree-days of a stretch of time, integrated over its steps (hourly method). [K.day]

    Parameters
    ----------
    temp_c : float array, shape (..., step)
        Temperature of each step. [degC]
    base_c : float array, shape (...)
        Base. [degC]
    step_hours
        Length of a step. [h]

    Returns
    -------
    float array, shape (...)
        Sum over the last axis; nan where a step is.

    Examples
    --------
    >>> float(integral_degree_days(np.full(48, 7.5), base_c=15.5))
    16.0
    """
    below = np.asarray(base_c, dtype=np.float64)[..., None] - np.asarray(temp_c, dtype=np.float64)
    total: Floats = np.maximum(below, 0.0).sum(axis=-1) * step_hours / 24.0
    return total


def min_max_degree_days(tmin_c: npt.ArrayLike, tmax_c: npt.ArrayLike, *, base_c: npt.ArrayLike) -> Floats:
    """Degree-days of each day from its extremes, by the published four-case equations [1]. [K.day]

    Parameters
    ----------
    tmin_c, tmax_c, base_c : float array
        Lowest and highest temperature of the day, and base; shapes that broadcast. [degC]

    Returns
    -------
    float array
        nan where an extreme is.

    Notes
    -----
    Tested in this order, with middle = (lowest + highest) / 2::

        lowest  >= base    0                                        never below the base
        middle  >  base    (base - lowest) / 4                      mostly above
        highest >= base    (base - lowest) / 2 - (highest - base) / 4   mostly below
        otherwise          base - middle                            never above

    Examples
    --------
    >>> min_max_degree_days([4.0, 10.0, 12.0, 16.0], [12.0, 20.0, 24.0, 22.0], base_c=15.5)
    array([7.5  , 1.625, 0.875, 0.   ])
    """
    low, high, base = (np.asarray(a, dtype=np.float64) for a in (tmin_c, tmax_c, base_c))
    middle = (low + high) / 2.0
    days: Floats = np.select(
        [low >= base, middle > base, high >= base],
        [np.zeros(()), (base - low) / 4.0, (base - low) / 2.0 - (high - base) / 4.0],
        base - middle,
    )
    return np.where(np.isnan(middle), np.nan, days)


def monthly_degree_days(
    mean_c: npt.ArrayLike, days: npt.ArrayLike, *, base_c: npt.ArrayLike, k_per_k: float = UK_HITCHIN_PER_K
) -> Floats:
    """Degree-days of a month from its mean temperature, by Hitchin's formula [2]. [K.day]

    Parameters
    ----------
    mean_c, base_c : float array
        Mean temperature of the month, and base. [degC]
    days : float array
        Days in the month. [d]
    k_per_k
        Shape: larger where the days of a month differ less. [1/K]

    Returns
    -------
    float array
        ``days x below / (1 - exp(-k below))`` with ``below = base - mean``.

    Notes
    -----
    At ``mean = base`` the formula is 0/0; its limit is ``days / k``.

    Examples
    --------
    >>> monthly_degree_days([6.0, 15.5], [31, 30], base_c=15.5).round(2)
    array([294.85,  42.25])
    """
    below = np.asarray(base_c, dtype=np.float64) - np.asarray(mean_c, dtype=np.float64)
    near = np.abs(below) < 1e-6
    safe = np.where(near, 1.0, below)
    per_day = np.where(near, 1.0 / k_per_k + below / 2.0, safe / -np.expm1(-k_per_k * safe))
    result: Floats = np.asarray(days, dtype=np.float64) * per_day
    return result


def sinusoid_degree_days(
    mean_c: npt.ArrayLike, amplitude_c: npt.ArrayLike, *, base_c: npt.ArrayLike
) -> Floats:
    """Degree-days of a day whose temperature is a sine: exact, to judge the other methods by. [K.day]

    Parameters
    ----------
    mean_c, amplitude_c, base_c : float array
        Mean, half the range (not negative), and base; shapes that broadcast. [degC]

    Returns
    -------
    float array
        ``((base - mean)(pi - arccos x) + amplitude sqrt(1 - x^2)) / pi``, ``x = (base - mean) / amplitude``.

    Examples
    --------
    >>> float(sinusoid_degree_days(15.0, 5.0, base_c=15.5).round(4))
    1.8495
    """
    amplitude = np.asarray(amplitude_c, dtype=np.float64)
    below = np.asarray(base_c, dtype=np.float64) - np.asarray(mean_c, dtype=np.float64)
    level = np.sign(below)
    ratio = np.divide(
        below,
        amplitude,
        out=np.broadcast_to(level, np.broadcast_shapes(below.shape, amplitude.shape)).copy(),
        where=amplitude > 1e-9,
    )
    x = np.clip(ratio, -1.0, 1.0)
    result: Floats = (below * (np.pi - np.arccos(x)) + amplitude * np.sqrt(1.0 - x**2)) / np.pi
    return result
