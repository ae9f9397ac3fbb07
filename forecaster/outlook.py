"""Weather ahead: weather years, with a short-range forecast spliced in front.

Flow     weather years, outlook -> **weather ahead** (scenario, day) -> litres paths
"""

from dataclasses import replace

import numpy as np
import numpy.typing as npt

from forecaster.climate import Normals, WeatherYears, normal_day
from forecaster.past_weather import FADE, PastWeather
from forecaster.weather import Outlook, Weather

Floats = npt.NDArray[np.float64]

ERROR_FIRST_DAY_C, ERROR_A_DAY_C, ERROR_MOST_C = 0.5, 0.33, 2.5
"""Error of a forecast daily mean temperature: 0.5 C on the first day, growing to 2.5 C in a week.
Common practice, no source; standard deviations. [C]"""
ERROR_KEPT = 0.8
"""Part of a forecast's error that is still there the next day. Assumption. [-]"""
RECENT_DAYS = 60
"""Days behind us that the weather years go on from. [d]"""


def recent_weather(past: PastWeather, outlook: Outlook | None) -> Weather:
    """The last days and the forecast ones as one series, for weather years to go on from.

    Days assumed from normals are nan: nothing is learnt from them.
    """
    date, temp, ghi = past.date, np.where(past.assumed, np.nan, past.temp_c), past.ghi_wh_m2
    if outlook is not None:
        end = max(date[-1], outlook.date[-1])
        days = np.arange(date[0], end + 1, dtype="datetime64[D]")
        at = (outlook.date - date[0]).astype(np.int64)
        late = at >= len(date) - 1
        temp = np.concatenate([temp, np.full(len(days) - len(temp), np.nan)])
        ghi = np.concatenate([ghi, np.full(len(days) - len(ghi), np.nan)])
        temp[at[late]], ghi[at[late]] = outlook.temp_c[late], outlook.ghi_wh_m2[late]
        date = days
    unknown = np.full(len(date), np.nan)
    return Weather(date, temp, unknown, unknown, ghi).window(date[-1] + 1 - RECENT_DAYS, date[-1] + 1)


def splice_outlook(
    years: WeatherYears, outlook: Outlook | None, normals: Normals, *, rng: np.random.Generator
) -> WeatherYears:
    """Put a short-range forecast in front of every scenario, its error growing by day.

    Parameters
    ----------
    years : WeatherYears
        Scenarios from the day of as-of on, shape (scenario, day).
    outlook : Outlook or None
        None leaves the years as they are. Days before the years' start are passed over.
    normals : Normals
        For the sun where the outlook has none.
    rng : Generator
        Draws the errors.

    Notes
    -----
    The error of the last forecast day lives on in the days behind it, fading as temperature does.
    """
    if outlook is None:
        return years
    at = (outlook.date - years.start).astype(np.int64)
    ahead = (at >= 0) & (at < years.temp_c.shape[1])
    if not ahead.any():
        return years
    at = at[ahead]
    temp, ghi = years.temp_c.copy(), years.ghi_wh_m2.copy()
    scenarios = temp.shape[0]
    sd = np.minimum(ERROR_FIRST_DAY_C + ERROR_A_DAY_C * np.arange(len(at)), ERROR_MOST_C)
    error = np.empty((scenarios, len(at)))
    unit = rng.standard_normal(scenarios)
    for d in range(len(at)):
        error[:, d] = sd[d] * unit
        unit = ERROR_KEPT * unit + np.sqrt(1 - ERROR_KEPT**2) * rng.standard_normal(scenarios)
    temp[:, at] = outlook.temp_c[ahead] + error
    behind = np.arange(at[-1] + 1, temp.shape[1])
    temp[:, behind] += error[:, -1:] * FADE ** (behind - at[-1])
    _, normal_ghi = normal_day(normals, outlook.date[ahead])
    ghi[:, at] = np.where(np.isnan(outlook.ghi_wh_m2[ahead]), normal_ghi, outlook.ghi_wh_m2[ahead])
    return replace(years, temp_c=temp, ghi_wh_m2=ghi)
