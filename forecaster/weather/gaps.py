"""Gaps: consecutive civil days out of scattered ones, short holes filled, the rest said in words.

Flow     scattered days -> **every day, gaps as nan** -> Weather
"""

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from forecaster.errors import Problem, WeatherError
from forecaster.weather.series import Dates, Floats

FILLED_DAYS = 1
"""A hole of so many days is filled from its neighbours; a longer one stays a gap. [d]"""
MONTH_GAP_SHARE = 0.2
"""A month that lacks a larger share of its days is refused."""
LONG_RECORD_YEARS = 10
"""In a record at least so long a month full of gaps is set aside, not a reason to refuse the file. [yr]"""
_SHOWN = 5


def spread_over_days(date: Dates, columns: Sequence[Floats]) -> tuple[Dates, list[Floats]]:
    """Put values of distinct days, in any order, on consecutive days; days not given are nan.

    Examples
    --------
    >>> scattered = np.array(["2024-01-03", "2024-01-01"], "M8[D]")
    >>> days, (temp,) = spread_over_days(scattered, [np.array([3.0, 1.0])])
    >>> temp
    array([ 1., nan,  3.])
    """
    every = np.arange(date.min(), date.max() + np.timedelta64(1, "D"), dtype="datetime64[D]")
    index = (date - every[0]).astype(np.int64)
    spread = []
    for values in columns:
        out = np.full(every.size, np.nan)
        out[index] = values
        spread.append(out)
    return every, spread


def holes(missing: npt.NDArray[np.bool_]) -> list[tuple[int, int]]:
    """Find runs of missing values as (first, one past the last).

    Examples
    --------
    >>> holes(np.array([False, True, True, False, True]))
    [(1, 3), (4, 5)]
    """
    edge = np.diff(np.concatenate([[0], missing.astype(np.int8), [0]]))
    return list(zip(np.flatnonzero(edge == 1).tolist(), np.flatnonzero(edge == -1).tolist(), strict=True))


def fill_short(values: Floats, *, longest: int) -> tuple[Floats, int]:
    """Fill holes of at most ``longest`` values on the straight line between their neighbours.

    Returns
    -------
    tuple
        The values, and how many were filled. Holes at either end are left.

    Examples
    --------
    >>> fill_short(np.array([1.0, np.nan, 3.0, np.nan, np.nan, 6.0, np.nan]), longest=1)
    (array([ 1.,  2.,  3., nan, nan,  6., nan]), 1)
    """
    out = values.copy()
    filled = 0
    for first, stop in holes(np.isnan(values)):
        if first > 0 and stop < values.size and stop - first <= longest:
            out[first:stop] = np.interp(
                np.arange(first, stop), [first - 1, stop], [values[first - 1], values[stop]]
            )
            filled += stop - first
    return out, filled


def refuse_months_of_gaps(date: Dates, temp_c: Floats) -> tuple[Floats, list[Problem]]:
    """Refuse months that lack more than a fifth of their days.

    Returns
    -------
    tuple
        The temperatures and no problem; for a record of ten years and more the temperatures without
        those months, and a problem for them.

    Raises
    ------
    WeatherError
        For a shorter file with such a month.
    """
    month = date.astype("datetime64[M]")
    each, index = np.unique(month, return_inverse=True)
    gaps = np.bincount(index, np.isnan(temp_c))
    length = ((each + 1).astype("datetime64[D]") - each.astype("datetime64[D]")).astype(np.int64)
    bad = gaps > MONTH_GAP_SHARE * length
    if not bad.any():
        return temp_c, []
    names = [str(m) for m in each[bad]]
    shown = ", ".join(names[:_SHOWN]) + (f" and {len(names) - _SHOWN} more" if len(names) > _SHOWN else "")
    problem = Problem(
        "month_gaps",
        "temp_c",
        f"fill these months, or leave them and all before them out: more than {MONTH_GAP_SHARE:.0%} "
        f"of their days have no temperature: {shown}",
    )
    if date.size < LONG_RECORD_YEARS * 365:
        raise WeatherError(problem)
    return np.where(bad[index], np.nan, temp_c), [problem]


def say_gaps(date: Dates, missing: npt.NDArray[np.bool_], what: str) -> str:
    """Say which days lack a value, in words.

    Examples
    --------
    >>> days = np.arange("2024-01-01", "2024-01-06", dtype="datetime64[D]")
    >>> say_gaps(days, np.array([False, True, True, False, True]), "temperature")
    '3 days have no temperature: 2024-01-02 to 2024-01-03, 2024-01-05'
    """
    runs = holes(missing)
    spans = [str(date[a]) if b - a == 1 else f"{date[a]} to {date[b - 1]}" for a, b in runs[:_SHOWN]]
    more = f" and {len(runs) - _SHOWN} more stretches" if len(runs) > _SHOWN else ""
    count = int(missing.sum())
    return f"{count} day{'s have' if count != 1 else ' has'} no {what}: {', '.join(spans)}{more}"
