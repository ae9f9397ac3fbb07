"""The sun outside the atmosphere: the ceiling of a day's sun, by latitude and season.

Flow     date, latitude -> **extraterrestrial irradiation** -> clearness index -> weather years
Formula  H0 = 24/pi I0 E (cos l cos d sin w + w sin l sin d),  cos w = -tan l tan d
Source   Duffie and Beckman, Solar Engineering of Thermal Processes, eq. 1.10.3 (from memory); declination
         by Cooper, distance by the one-term formula; the solar constant of 1367 W/m2 as in the parameters
         of the generator. pvlib checks it in the tests.
"""

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]
Dates = npt.NDArray[np.datetime64]

SOLAR_CONSTANT_W_M2 = 1367.0
"""Irradiance outside the atmosphere at the mean distance of the sun. [W/m2]"""


def extraterrestrial_wh_m2(date: Dates | np.datetime64, latitude: float) -> Floats:
    """Sun on a horizontal plane outside the atmosphere, over a whole day. [Wh/m2]

    Parameters
    ----------
    date : datetime64[D] array, shape (...)
        Days.
    latitude
        North positive. [deg]

    Returns
    -------
    float array, shape (...)
        Zero in the polar night.

    Examples
    --------
    >>> extraterrestrial_wh_m2(np.array(["2024-01-10", "2024-06-21"], "M8[D]"), 53.4).round(-1)
    array([ 1770., 11570.])
    """
    day = np.asarray(date, dtype="datetime64[D]")
    number = (day - day.astype("datetime64[Y]").astype("datetime64[D]")).astype(np.int64) + 1
    turn = 2.0 * np.pi * number / 365.0
    declination = np.radians(23.45) * np.sin(2.0 * np.pi * (284 + number) / 365.0)
    lat = np.radians(latitude)
    half_day = np.arccos(np.clip(-np.tan(lat) * np.tan(declination), -1.0, 1.0))
    strength = SOLAR_CONSTANT_W_M2 * (1.0 + 0.033 * np.cos(turn))
    height = np.cos(lat) * np.cos(declination) * np.sin(half_day) + half_day * np.sin(lat) * np.sin(
        declination
    )
    result: Floats = 24.0 / np.pi * strength * np.maximum(height, 0.0)
    return result
