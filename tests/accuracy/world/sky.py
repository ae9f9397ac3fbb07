"""The world's weather: departures of real records about a place's climate, with the hours of real days.

Flow     records, normals of a station -> a place's true climate -> **weather of a life**; scenarios
         from the engine's own generator, the same for the oracle and for its rivals
Formula  T = m(day) + warming + s(month) z;  z: a stretch of a real record, unbroken, from a year drawn at
         random;  clearness, wind and the hours: those of a real day of the season with a like z
Source   s: measured at Dublin Airport 1942-2025 (Met Éireann, CC BY 4.0) and Bedford 2000-2022 (MIDAS Open,
         OGL v3), about two harmonics and a straight trend

The engine draws its weather years by another method (two AR(1) parts about monthly normals, a beta law
of the sun), from another place's normals: those of the station that is nearest, while the true climate
departs from them by some tenths of a degree.
"""

from dataclasses import dataclass, replace
from functools import cache
from typing import NamedTuple

import numpy as np

from forecaster.climate import Normals, draw_weather_years, normal_day, normals_for
from forecaster.weather import Weather
from tests.accuracy.world.records import (
    Days,
    Departures,
    Floats,
    Ints,
    RealDays,
    between,
    chicago,
    clemson,
    of_year,
    real_days,
)
from tests.accuracy.world.sun import sun_table

DUBLIN_SD_C = (3.00, 2.85, 2.58, 2.37, 2.23, 2.15, 1.97, 1.96, 2.18, 2.50, 2.76, 3.04)
BEDFORD_SD_C = (3.40, 3.36, 2.85, 2.73, 2.62, 2.52, 2.56, 2.30, 2.28, 2.65, 2.94, 3.73)
"""Daily departures by month, January first. [K]"""
SEASON_D, LIKE = 20, 25
"""A real day stands for one at most so many days off in the season, among so many of like z."""
BINS = 48
CALENDAR_YEAR = np.datetime64("2023-01-01", "D") + np.arange(365)


class Hours(NamedTuple):
    """What happens within the days of a sky: rows of a table of real days, shapes (n, 24)."""

    swing_c: Floats
    wind_m_per_s: Floats


@dataclass(frozen=True, slots=True, eq=False)
class Sky:
    """Where a world's weather is taken from: stretches of records, and real days for the hours."""

    records: tuple[Departures, ...]
    regions: tuple[int, ...]

    @property
    def days(self) -> RealDays:
        """The real days."""
        return real_days(self.regions)


@cache
def tuning_sky() -> Sky:
    """Clemson 1930 to 1979, and the reference years of regions 1 to 8."""
    return Sky((between(clemson(), "1930-01-01", "1979-12-31"),), tuple(range(1, 9)))


@cache
def reporting_sky() -> Sky:
    """Clemson 1980 to 2020 and Chicago 2001 to 2016, and the reference years of regions 9 to 15."""
    return Sky((between(clemson(), "1980-01-01", "2020-12-31"), chicago()), tuple(range(9, 16)))


@dataclass(frozen=True, slots=True, eq=False)
class Climate:
    """The true climate of a house's weather station.

    Attributes
    ----------
    normals
        What is publicly known: of the nearest station, at the place's height.
    latitude, longitude, elevation_m
        Of the house.
    mean_c, sd_c, clearness
        True mean temperature in 2023, spread and mean clearness, by day of the year (366). [degC, K, -]
    warming_c_per_decade
        True.
    sky
        Where departures and hours are from.
    """

    normals: Normals
    latitude: float
    longitude: float
    elevation_m: float
    mean_c: Floats
    sd_c: Floats
    clearness: Floats
    warming_c_per_decade: float
    sky: Sky

    def mean_at(self, date: Days) -> Floats:
        """True mean temperature of some days, warming included. [degC]"""
        years = (date - CALENDAR_YEAR[181]).astype(float) / 365.25
        return np.asarray(self.mean_c[of_year(date)] + self.warming_c_per_decade * years / 10.0)

    def hours_of(self, date: Days, temp_c: Floats, rng: np.random.Generator) -> Ints:
        """Choose the real day whose hours each day has; ``temp_c`` of shape (..., day)."""
        z = (temp_c - self.mean_at(date)) / self.sd_c[of_year(date)]
        return like_days(self.sky.regions, of_year(date), z, rng)

    @property
    def hours(self) -> Hours:
        """The table that `hours_of` points into."""
        return Hours(self.sky.days.swing_c, self.sky.days.wind_m_per_s)


def draw_climate(
    place: str, rng: np.random.Generator, *, sky: Sky, offset_sd_c: float, spread: tuple[float, float]
) -> Climate:
    """Draw the true climate of a house some kilometres from a station of the packaged normals.

    Parameters
    ----------
    place
        A station's name.
    sky
        Records and real days.
    offset_sd_c
        How far the true mean departs from the normals: half of it the whole year, half by season. [K]
    spread
        Range of the mix between Dublin's spread (0) and Bedford's (1); beyond 1 it goes on. [-]
    """
    station = normals_for(place=place)
    elevation = max(0.0, station.elevation_m + rng.normal(0.0, 40.0))
    latitude = station.latitude + rng.normal(0.0, 0.1)
    longitude = (station.longitude or 0.0) + rng.normal(0.0, 0.15)
    known = normals_for(latitude=latitude, longitude=longitude, elevation_m=elevation)
    temp, ghi = normal_day(known, CALENDAR_YEAR)
    warming = rng.normal(0.25, 0.08)
    day = np.arange(365)
    offset = rng.normal(0.0, offset_sd_c) + rng.normal(0.0, 0.7 * offset_sd_c) * np.cos(
        2.0 * np.pi * (day - rng.uniform(0.0, 365.0)) / 365.0
    )
    since = known.trend_c_per_decade * (2023.5 - known.middle_year) / 10.0
    share = rng.uniform(*spread)
    sd = (1.0 - share) * np.array(DUBLIN_SD_C) + share * np.array(BEDFORD_SD_C)
    sd_daily = np.interp(day, 15.2 + 30.4 * np.arange(-1, 13), np.concatenate([sd[-1:], sd, sd[:1]]))
    above = sun_table(round(latitude, 2)).above_wh_m2[:365]
    return Climate(
        known, latitude, longitude, elevation, _leap(temp + since + offset), _leap(sd_daily),
        _leap(np.clip(ghi / above * np.exp(rng.normal(0.0, 0.04)), 0.1, 0.7)), warming, sky,
    )  # fmt: skip


def draw_weather(climate: Climate, date: Days, rng: np.random.Generator) -> tuple[Weather, Ints]:
    """Draw the weather of consecutive days, and the real day whose hours each has."""
    weights = np.array([r.date.size for r in climate.sky.records], float)
    record = climate.sky.records[int(rng.choice(len(weights), p=weights / weights.sum()))]
    years = np.unique(record.date.astype("datetime64[Y]"))
    begins = years.astype("datetime64[D]") + of_year(date[:1])[0] - record.date[0]
    begins = begins.astype(np.int64)
    begins = begins[(begins >= 0) & (begins + date.size <= record.date.size)]
    if begins.size == 0:
        raise ValueError(f"no stretch of {date.size} days in the record of {record.name}")
    begin = int(rng.choice(begins))
    z = record.z[begin : begin + date.size]
    day = of_year(date)
    temp = climate.mean_at(date) + climate.sd_c[day] * z
    hours = like_days(climate.sky.regions, day, z, rng)
    days = climate.sky.days
    clearness = days.clearness[hours] * (climate.clearness / _seasonal_clearness(climate.sky.regions))[day]
    above = sun_table(round(climate.latitude, 2)).above_wh_m2[day]
    ghi = np.clip(clearness, 0.02, 0.8) * above
    swing = days.swing_c[hours]
    return Weather(date, temp, temp + swing.min(axis=1), temp + swing.max(axis=1), ghi, "mean"), hours


def weather_ahead(
    climate: Climate, recent: Weather, *, start: np.datetime64, days: int, scenarios: int,
    rng: np.random.Generator,
) -> tuple[Floats, Floats]:  # fmt: skip
    """Draw the engine's weather years from the nearest station's normals, from where the weather stands."""
    drawn = draw_weather_years(
        climate.normals, start=start, days=days, scenarios=scenarios, rng=rng, recent=recent
    )
    return drawn.temp_c, drawn.ghi_wh_m2


def like_days(regions: tuple[int, ...], day_of_year: Ints, z: Floats, rng: np.random.Generator) -> Ints:
    """Choose for each day a real day of its season among those most like it in departure."""
    pick = rng.integers(0, LIKE, z.shape)
    out = np.empty(z.shape, np.int64)
    half_month = (day_of_year * BINS // 366) % BINS
    for season in np.unique(half_month):
        order, values = _season(regions, int(season))
        at = half_month == season
        low = np.searchsorted(values, z[..., at]) - LIKE // 2
        out[..., at] = order[np.clip(low, 0, order.size - LIKE) + pick[..., at]]
    return out


@cache
def _season(regions: tuple[int, ...], bin_: int) -> tuple[Ints, Floats]:
    """Days of a season in the order of their departure, and these departures in sd of the season."""
    days = real_days(regions)
    apart = np.abs(days.day_of_year - (bin_ + 0.5) * 365.0 / BINS)
    held = np.flatnonzero(np.minimum(apart, 365.0 - apart) <= SEASON_D)
    order = held[np.argsort(days.z[held], kind="stable")]
    values = days.z[order]
    return order, (values - values.mean()) / values.std()


@cache
def _seasonal_clearness(regions: tuple[int, ...]) -> Floats:
    """Mean clearness of the real days by day of the year, shape (366,)."""
    means = [real_days(regions).clearness[_season(regions, b)[0]].mean() for b in range(BINS)]
    centre = (np.arange(-1, BINS + 1) + 0.5) * 365.0 / BINS
    return np.interp(np.arange(366), centre, [means[-1], *means, means[0]])


def _leap(by_day: Floats) -> Floats:
    return np.append(by_day, by_day[-1])


def cut(weather: Weather, first: int, stop: int) -> Weather:
    """The days ``first`` to ``stop - 1`` of some weather."""
    part = slice(first, stop)
    return replace(
        weather, date=weather.date[part], temp_c=weather.temp_c[part], tmin_c=weather.tmin_c[part],
        tmax_c=weather.tmax_c[part], ghi_wh_m2=weather.ghi_wh_m2[part],
    )  # fmt: skip
