"""Weather years from a long local record: whole stretches of past years, moved to today's climate.

Flow     long record (+ the last weeks' weather) -> **weather years**, shape (scenario, day) -> forecast
Formula  T = m(target day) + trend (target year - reference)/10 + s(target day) z(source day)
         z = (T_source - trend part - m(source day)) / s(source day); source day = the same day of another
         year, moved by up to 15 days, and the days that follow it unbroken
Source   common practice (analogue years), no source; that warming began about 1975 is an assumption: a
         straight trend over a record from the 1940s would overstate the correction of its early years
"""

from dataclasses import dataclass

import numpy as np

from forecaster.climate.curves import (
    DAYS,
    Dates,
    Floats,
    Ints,
    daily_curve,
    day_of_year,
    decimal_year,
)
from forecaster.climate.generator import WeatherYears, draw_clearness, manner_of, without_skew
from forecaster.climate.normals import Normals
from forecaster.climate.persistence import MEMORY_DAYS, follow
from forecaster.climate.sun import extraterrestrial_wh_m2
from forecaster.errors import Problem, WeatherError
from forecaster.tables import read_table
from forecaster.weather import Weather

JITTER_DAYS = 15
"""A past year's stretch may begin so many days earlier or later in the season. [d]"""
FEWEST_YEARS = 5
"""With fewer whole years a record does not show the spread. [yr]"""
SHORTEST_TREND_YEARS = 30
"""A trend is read off records with so many years since 1975; else the default is taken. [yr]"""
DEFAULT_TREND_C, DEFAULT_TREND_SD_C = 0.2, 0.1
"""Warming of the British Isles since about 1975, and how far a place may depart from it. [degC/decade]"""
YEAR_SD_C = 0.5
"""Spread of yearly mean temperatures about their trend. [degC]"""
WARMING_SINCE = 1975.0
"""No warming is taken before this year. [yr]"""
FILLED_DAYS = 3
"""Holes up to so long are bridged within a stretch. [d]"""


@dataclass(frozen=True, slots=True, eq=False)
class _Past:
    """A record in standard form: anomalies of unit variance, and what was taken off them."""

    date: Dates
    z: Floats
    mean_c: Floats
    sd_c: Floats
    trend: float
    reference: float


def resample_weather_years(
    record: Weather,
    *,
    start: np.datetime64,
    days: int,
    scenarios: int,
    rng: np.random.Generator,
    recent: Weather | None = None,
    trend_c_per_decade: float | None = None,
    normals: Normals | None = None,
) -> WeatherYears:
    """Draw possible weather from a long local record.

    Parameters
    ----------
    record
        Daily weather of at least five years that hold the season asked for.
    start, days
        First day, and how many.
    scenarios
        How many. They repeat the record's years; see ``effective_years``.
    rng
        Source of chance.
    recent
        Weather of the last weeks: its departure from the normal fades into the years drawn.
    trend_c_per_decade
        Warming since 1975; None reads it off a record with 30 years since, else takes 0.2. [degC/decade]
    normals
        Of the place; with them, days without measured sun get a clearness drawn beside their temperature.

    Returns
    -------
    WeatherYears
        ``ghi_wh_m2`` is nan where neither the record nor normals tell of the sun.

    Raises
    ------
    WeatherError
        When fewer than five years of the record hold the stretch asked for.

    Notes
    -----
    Temperature and sun of a day stay together. Where the record has sun in ten years and more and no
    normals are given, only those years are drawn from.
    """
    past = _standard_form(record, trend_c_per_decade)
    target = start.astype("datetime64[D]") + np.arange(days)
    day = day_of_year(target)
    usable = np.isfinite(past.z)
    sun = record.ghi_wh_m2
    first, year = _stretches(past.date, target[0], days, usable)
    if normals is None:
        sunny, sunny_year = _stretches(past.date, target[0], days, usable & np.isfinite(_bridged(sun)))
        if np.unique(sunny_year).size >= 10:
            first, year = sunny, sunny_year
    held = np.unique(year)
    if held.size < FEWEST_YEARS:
        mend = f"give a longer record, or a place: {held.size} years of it hold {days} days from this date on"
        raise WeatherError(Problem("short_record", "years", mend))
    begin = _choose(first, year, scenarios, rng)
    source = begin[:, None] + np.arange(days)
    z = past.z[source]
    warming = past.trend * (decimal_year(target) - past.reference) / 10.0
    temp = past.mean_c[day] + warming + past.sd_c[day] * z
    begun = ""
    if recent is not None:
        temp += past.sd_c[day] * _departure(past, recent, begin, target, normals)
        begun = ", starting from the last weeks' weather"
    ghi = _sun(sun, source, past.date, target, z, normals, rng)
    words = (
        f"{held.size} years of the record given ({held[0]} to {held[-1]}), each moved by up to "
        f"{JITTER_DAYS} days; warming {past.trend:+.2g} degC per decade{begun}"
    )
    return WeatherYears(target[0], temp, ghi, words, effective_years=int(held.size))


def _standard_form(record: Weather, trend: float | None) -> _Past:
    year = np.maximum(decimal_year(record.date), WARMING_SINCE)
    reference = float(year[-1])
    day = day_of_year(record.date)
    if trend is None:
        trend = _trend(record, year, day)
    level = record.temp_c - trend * (year - reference) / 10.0
    month = record.date.astype("datetime64[M]").astype(np.int64) % 12
    mean = _curve(level, month)
    departure = level - mean[day]
    sd = np.maximum(np.sqrt(np.maximum(_curve(departure**2, month), 0.0)), 0.5)
    return _Past(record.date, _bridged(departure / sd[day]), mean, sd, trend, reference)


def _curve(values: Floats, month: Ints) -> Floats:
    """Daily curve through the monthly means of all years; a month never seen is refused."""
    known = np.isfinite(values)
    days = np.bincount(month[known], minlength=12)
    if days.min() == 0:
        mend = "give a record of whole years, or a place: some months never have a temperature"
        raise WeatherError(Problem("short_record", "years", mend))
    return daily_curve(np.bincount(month[known], values[known]) / days)


def _trend(record: Weather, year: Floats, day: Ints) -> float:
    """Slope of the anomalies since 1975, drawn towards the default by its own uncertainty. [degC/decade]"""
    known = np.isfinite(record.temp_c) & (year > WARMING_SINCE)
    if known.sum() < SHORTEST_TREND_YEARS * 330:
        return DEFAULT_TREND_C
    month = record.date.astype("datetime64[M]").astype(np.int64) % 12
    off = record.temp_c[known] - _curve(record.temp_c, month)[day[known]]
    decades = (year[known] - year[known].mean()) / 10.0
    slope = float(decades @ (off - off.mean()) / (decades @ decades))
    variance = YEAR_SD_C**2 / (float(np.mean(decades**2)) * known.sum() / 365.0)
    weight = DEFAULT_TREND_SD_C**2 / (DEFAULT_TREND_SD_C**2 + variance)
    return float(weight * slope + (1.0 - weight) * DEFAULT_TREND_C)


def _bridged(values: Floats) -> Floats:
    """Fill holes of up to three days on the straight line between their neighbours."""
    known = np.flatnonzero(np.isfinite(values))
    if known.size == 0:
        return values
    filled = np.interp(np.arange(values.size), known, values[known])
    after = np.searchsorted(known, np.arange(values.size))
    inner = (after > 0) & (after < known.size)
    width = np.where(
        inner, known[np.minimum(after, known.size - 1)] - known[np.maximum(after - 1, 0)] - 1, 10**6
    )
    return np.where(np.isfinite(values), values, np.where(width <= FILLED_DAYS, filled, np.nan))


def _stretches(
    date: Dates, start: np.datetime64, days: int, usable: np.ndarray[tuple[int], np.dtype[np.bool_]]
) -> tuple[Ints, Ints]:
    """Find where whole stretches may begin: index of the first day, and the year it belongs to."""
    years = np.arange(int(str(date[0])[:4]) - 1, int(str(date[-1])[:4]) + 2)
    season = start.astype("datetime64[D]")
    month_day = (season - season.astype("datetime64[Y]").astype("datetime64[D]")).astype(np.int64)
    same_day = (years - 1970).astype("datetime64[Y]").astype("datetime64[D]") + month_day
    first = (same_day - date[0]).astype(np.int64)[:, None] + np.arange(-JITTER_DAYS, JITTER_DAYS + 1)
    label = np.broadcast_to(years[:, None], first.shape)
    inside = (first >= 0) & (first + days <= date.size)
    first, label = first[inside], label[inside]
    bad = np.concatenate([[0], np.cumsum(~usable)])
    whole = bad[first + days] == bad[first]
    return first[whole], label[whole]


def _choose(first: Ints, year: Ints, scenarios: int, rng: np.random.Generator) -> Ints:
    """Take every year equally often, and within a year any of its stretches."""
    held, number = np.unique(year, return_counts=True)
    order = np.argsort(year, kind="stable")
    offset = np.cumsum(number) - number
    turn = rng.permuted(np.resize(np.arange(held.size), scenarios))
    within = (rng.random(scenarios) * number[turn]).astype(np.int64)
    chosen: Ints = first[order[offset[turn] + within]]
    return chosen


def _departure(past: _Past, recent: Weather, begin: Ints, target: Dates, normals: Normals | None) -> Floats:
    """What the last weeks add to each stretch: their state less the stretch's own, fading. [sd]

    The stretch carries the chance around its own beginning, so only the difference of the two states
    is added (conditioning of a Gaussian process by its residual).
    """
    if normals is not None:
        manner = manner_of(normals)
        phi_fast, phi_slow, slow = manner.phi_fast, manner.phi_slow, manner.slow_share
    else:
        kind = next(row for row in read_table("weather_classes") if row["region_class"] == "unknown")
        phi_fast, phi_slow = float(kind["phi_fast"]), float(kind["phi_slow"])
        slow = np.full(DAYS, np.mean([float(kind[f"slow_{s}"]) for s in ("djf", "mam", "jja", "son")]))
    before = recent.window(target[0] - np.timedelta64(MEMORY_DAYS, "D"), target[0])
    day = day_of_year(before.date)
    warming = past.trend * (decimal_year(before.date) - past.reference) / 10.0
    now = np.clip((before.temp_c - past.mean_c[day] - warming) / past.sd_c[day], -5.0, 5.0)
    index = begin[:, None] - MEMORY_DAYS + np.arange(MEMORY_DAYS)
    then = np.where(index >= 0, past.z[np.maximum(index, 0)], np.nan)
    each = np.where(np.isfinite(now), then, np.nan)  # both must have seen the same days
    share = slow[day]
    state_now, _ = follow(now[None, :], slow_share=share, phi_fast=phi_fast, phi_slow=phi_slow)
    state_then, _ = follow(each, slow_share=share, phi_fast=phi_fast, phi_slow=phi_slow)
    change = state_now - state_then
    ahead = np.arange(1, target.size + 1)
    share = slow[day_of_year(target)]
    fast_part = np.sqrt(1.0 - share) * phi_fast**ahead
    slow_part = np.sqrt(share) * phi_slow**ahead
    result: Floats = change[:, :1] * fast_part + change[:, 1:] * slow_part
    return result


def _sun(
    ghi: Floats,
    source: Ints,
    date: Dates,
    target: Dates,
    z: Floats,
    normals: Normals | None,
    rng: np.random.Generator,
) -> Floats:
    """Move the sun of the source days to the target days; draw it where it was not measured."""
    if normals is None:
        known = np.isfinite(ghi)
        month = date.astype("datetime64[M]").astype(np.int64) % 12
        if not known.any() or np.bincount(month[known], minlength=12).min() == 0:
            return np.full(source.shape, np.nan)
        season = np.maximum(_curve(ghi, month), 1.0)
        moved: Floats = (_bridged(ghi) / season[day_of_year(date)])[source] * season[day_of_year(target)]
        return moved
    ceiling = np.maximum(extraterrestrial_wh_m2(date, normals.latitude), 1.0)
    clear = np.clip(ghi / ceiling, 0.0, 0.85)[source]
    missing = np.isnan(clear)
    if missing.any():
        manner = manner_of(normals)
        day = day_of_year(target)
        x = without_skew(np.clip(z, -5.0, 5.0), manner.skew[day])
        clear = np.where(missing, draw_clearness(x.T, day, manner, rng).T, clear)
    return clear * extraterrestrial_wh_m2(target, normals.latitude)
