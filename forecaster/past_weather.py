"""The weather behind us without holes: known days, and normals where a day is not known.

Days without a known temperature take the normals' curve and the departure from it that the
neighbouring days had, fading with distance; they are marked, and the burn model widens on them.

Flow     weather, normals -> **past weather** -> drivers of the burn model
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from forecaster.climate import Normals, normal_day
from forecaster.weather import Weather

Floats = npt.NDArray[np.float64]
Dates = npt.NDArray[np.datetime64]

FADE = 0.76
"""A day's departure from the normals is on average that part of the day before's: the lag-1
correlation of daily temperature, mean of 23 stations. [-]"""


@dataclass(frozen=True, slots=True, eq=False)
class PastWeather:
    """Daily weather up to the day of as-of, complete.

    Attributes
    ----------
    date
        Consecutive civil days, shape (day,).
    temp_c, ghi_wh_m2
        Temperature and sun on the horizontal, shape (day,). [C, Wh/m2]
    assumed
        True where the temperature is not known but assumed, shape (day,).
    newest
        The newest day with a known temperature, or None.
    """

    date: Dates
    temp_c: Floats
    ghi_wh_m2: Floats
    assumed: npt.NDArray[np.bool_]
    newest: np.datetime64 | None


def complete_weather(
    weather: Weather | None, normals: Normals, *, first: np.datetime64, today: np.datetime64
) -> PastWeather:
    """Fill the days from ``first`` to ``today``, which itself is unfinished and always assumed.

    Parameters
    ----------
    weather : Weather or None
        What is known; rows of ``today`` and later are not looked at.
    normals : Normals
        Of the place.
    first, today : datetime64[D]
        First civil day needed, and the civil day of as-of.
    """
    date = np.arange(first, today + 1, dtype="datetime64[D]")
    normal_c, normal_ghi = normal_day(normals, date)
    if weather is None:
        return PastWeather(date, normal_c, normal_ghi, np.ones(len(date), bool), None)
    known = weather.window(date[0], today + 1)
    temp, ghi = known.temp_c.copy(), known.ghi_wh_m2.copy()
    temp[-1] = ghi[-1] = np.nan
    departure = temp - normal_c
    assumed = np.isnan(departure)
    newest = date[~assumed][-1] if not assumed.all() else None
    return PastWeather(
        date,
        np.where(assumed, normal_c + faded(departure), temp),
        np.where(np.isnan(ghi), normal_ghi, ghi),
        assumed,
        newest,
    )


def faded(departure: Floats) -> Floats:
    """Fill gaps with what the known neighbours on both sides suggest, fading with distance.

    Parameters
    ----------
    departure : float array, shape (day,)
        Departures from the normals, nan where unknown.

    Examples
    --------
    >>> faded(np.array([4.0, np.nan, np.nan])).round(2)
    array([4.  , 3.04, 2.31])
    """
    index = np.arange(len(departure))
    known = np.flatnonzero(~np.isnan(departure))
    if len(known) == 0:
        return np.zeros(len(departure))
    after = np.searchsorted(known, index)
    left, right = known[np.maximum(after - 1, 0)], known[np.minimum(after, len(known) - 1)]
    from_left = np.where(left <= index, FADE ** np.abs(index - left), 0.0) * departure[left]
    from_right = np.where(right >= index, FADE ** np.abs(right - index), 0.0) * departure[right]
    filled: Floats = np.where(np.isnan(departure), from_left + from_right, departure)
    return filled
