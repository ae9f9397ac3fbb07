"""Published monthly normals, and which of them stand for a house.

Flow     place or coordinates -> **normals** -> weather years
Formula  temperature moves with height by -0.65 degC per 100 m; sun keeps its clearness over latitude
Source   tables places, uk_regions and uk_postcode_areas of forecaster.tables, source in each row. The
         lapse rate, and how kilometres are weighed against metres of height: common practice, no source.
"""

import re
import unicodedata
from dataclasses import dataclass, replace
from functools import cache

import numpy as np

from forecaster.climate.curves import Dates, Floats, daily_curve, day_of_year, decimal_year, monthly_means
from forecaster.climate.sun import extraterrestrial_wh_m2
from forecaster.errors import Problem, WeatherError
from forecaster.tables import read_table
from forecaster.weather import Weather

LAPSE_C_PER_M = -0.0065
"""Change of temperature with height (common practice, no source). [degC/m]"""
KM_PER_M, KM_PER_M_UNKNOWN = 0.3, 1.0
"""A metre of height counts as so many kilometres when the nearest place is sought; more where the
house's height is not given, since then temperatures cannot be corrected for it. [km/m]"""
HIGH_PLACE_M = 150.0
"""Above this a place's height is worth a note where the house's is not given. [m]"""
REGION_KM = 60.0
"""A UK region's mean counts as so much further away than a station at its middle. [km]"""
WARN_KM, WARN_M = 150.0, 400.0
"""Normals from further away, or another height, are pointed out: of German reference years 150 to 300
km away some had 16 % more degree-days than the nearest place's normals say. [km], [m]"""
REFUSE_KM = 1200.0
"""No normals are taken from further away. [km]"""
WRONG_PLACE_C = 8.0
"""Weather this far from the normals over a month and more is from elsewhere or in another unit. [degC]"""
_COMMON_YEAR = np.arange("2001-01-01", "2002-01-01", dtype="datetime64[D]")
_POSTCODE = re.compile(r"([A-Z]{1,2})\d[A-Z\d]?(\s*\d[A-Z]{2})?")


@dataclass(frozen=True, slots=True, eq=False)
class Normals:
    """Monthly means of temperature and sun at a place, and what the weather generator borrows.

    Attributes
    ----------
    name
        Where they were measured.
    latitude, longitude
        Of the house where known, else of the place; longitude None where there is none. [deg]
    elevation_m
        Height the temperatures hold for. [m]
    temp_c
        Mean temperature, January to December, shape (12,). [degC]
    ghi_wh_m2
        Mean sun on the horizontal in a day, shape (12,). [Wh/m2]
    region_class
        Climates alike in persistence: ireland (west coasts), england, continental, nordic,
        east_north_america or unknown.
    middle_year
        Middle of the years averaged over. [yr]
    source
        Where the figures come from, in words.
    trend_c_per_decade
        Warming since. [degC/decade]
    notes
        What a reader of the forecast should know of them.
    """

    name: str
    latitude: float
    longitude: float | None
    elevation_m: float
    temp_c: Floats
    ghi_wh_m2: Floats
    region_class: str
    middle_year: float
    source: str
    trend_c_per_decade: float
    notes: tuple[str, ...] = ()


def normals_for(
    *,
    latitude: float | None = None,
    longitude: float | None = None,
    place: str | None = None,
    elevation_m: float | None = None,
) -> Normals:
    """Find the normals that stand for a house: nearest by distance and height.

    Parameters
    ----------
    latitude, longitude
        Of the house; they win over ``place``. [deg]
    place
        A place of the table, a UK region, or a UK postcode or its area.
    elevation_m
        Height of the house; None takes the place's own. [m]

    Returns
    -------
    Normals
        With the house's latitude and height; ``notes`` where they come from far away.

    Raises
    ------
    WeatherError
        When nothing is given, the place is not known, or no place lies within 1,200 km.

    Examples
    --------
    >>> hill = normals_for(latitude=53.43, longitude=-6.24, elevation_m=121)
    >>> hill.name, float(hill.temp_c[0].round(2))
    ('Dublin Airport', 4.97)
    >>> normals_for(place="BT47 6XX").name
    'Northern Ireland'
    """
    if latitude is not None and longitude is not None:
        return _nearest(latitude, longitude, elevation_m)
    if place is not None and place.strip():
        return _at_height(_named(place), elevation_m)
    if latitude is not None:
        raise WeatherError(Problem("no_longitude", "longitude", "give the longitude too"))
    raise WeatherError(
        Problem(
            "no_place", "place", "give latitude and longitude, a place, or a long record of daily weather"
        )
    )


def normals_from_record(record: Weather, *, like: Normals) -> Normals:
    """Take the 12 means from a record of at least a year, and all else from other normals.

    For records too short to be resampled: a typical year, or a few years of a near station.

    Raises
    ------
    WeatherError
        When a month of the year has less than 20 days with a temperature.
    """
    month = record.date.astype("datetime64[M]").astype(np.int64) % 12
    known = np.isfinite(record.temp_c)
    days = np.bincount(month[known], minlength=12)
    if days.min() < 20:
        lacking = ", ".join(str(m + 1) for m in np.flatnonzero(days < 20))
        raise WeatherError(
            Problem(
                "short_record", "years", f"give at least a whole year; months with under 20 days: {lacking}"
            )
        )
    temp = np.bincount(month[known], record.temp_c[known]) / days
    sunny = np.isfinite(record.ghi_wh_m2)
    hours = np.bincount(month[sunny], minlength=12)
    ghi = like.ghi_wh_m2
    if hours.min() >= 20:
        ghi = np.bincount(month[sunny], record.ghi_wh_m2[sunny]) / hours
    span = f"{record.date[0]} to {record.date[-1]}"
    return replace(
        like,
        name="the record given",
        temp_c=temp,
        ghi_wh_m2=ghi,
        middle_year=float(decimal_year(record.date[known]).mean()),
        source=f"12 monthly means of the record given ({span}); spread and persistence as for {like.name}",
    )


def normal_day(normals: Normals, date: Dates) -> tuple[Floats, Floats]:
    """Return the smooth daily course of the normals: mean temperature and sun of each day. [degC, Wh/m2]

    The monthly means of the course are the normals themselves; no warming is added.

    Examples
    --------
    >>> temp, ghi = normal_day(normals_for(place="Dublin Airport"), np.array(["2024-01-15"], "M8[D]"))
    >>> temp.round(1), ghi.round(-1)
    (array([5.4]), array([610.]))
    """
    day = day_of_year(date)
    clear = clearness_curve(normals)
    return daily_curve(normals.temp_c)[day], clear[day] * extraterrestrial_wh_m2(date, normals.latitude)


def clearness_curve(normals: Normals) -> Floats:
    """Return the mean clearness index, sun over sun outside the atmosphere, of the 365 days."""
    ceiling = extraterrestrial_wh_m2(_COMMON_YEAR, normals.latitude)
    monthly = normals.ghi_wh_m2 / np.maximum(monthly_means(ceiling), 1.0)
    return np.clip(daily_curve(np.clip(monthly, 0.0, 0.8), weight=np.maximum(ceiling, 1.0)), 0.05, 0.8)


def check_place(weather: Weather, normals: Normals) -> Problem | None:
    """Tell weather that cannot be from near these normals: another place, or another unit.

    Examples
    --------
    >>> days = np.arange("2024-01-01", "2024-03-01", dtype="datetime64[D]")
    >>> fahrenheit = Weather(days, np.full(60, 15.0), *[np.full(60, np.nan)] * 3)
    >>> check_place(fahrenheit, normals_for(place="Duluth MN")).code
    'not_this_place'
    """
    off = (weather.temp_c - normal_day(normals, weather.date)[0])[-365:]
    off = off[np.isfinite(off)]
    if off.size < 28 or abs(off.mean()) <= WRONG_PLACE_C:
        return None
    mend = f"check unit and place: the weather is {off.mean():+.0f} degC off the normals of {normals.name}"
    return Problem("not_this_place", "temp_c", mend)


def _nearest(latitude: float, longitude: float, elevation_m: float | None) -> Normals:
    if not (-90.0 <= latitude <= 90.0 and -180.0 <= longitude <= 180.0):
        raise WeatherError(
            Problem(
                "coordinates", "latitude", "give latitude -90 to 90 and longitude -180 to 180, east positive"
            )
        )
    candidates = [n for n in (*_places(), *_regions()) if n.longitude is not None]
    away = np.array([_km(latitude, longitude, n) for n in candidates])
    heights = np.array([n.elevation_m for n in candidates])
    near = heights[np.argsort(away)[:3]]
    height = float(np.nanmedian(near)) if elevation_m is None else elevation_m
    up = np.nan_to_num(height - heights)
    extra = np.array([0.0] * len(_places()) + [REGION_KM] * (len(candidates) - len(_places())))
    per_m = KM_PER_M_UNKNOWN if elevation_m is None else KM_PER_M
    best = int(np.argmin(np.hypot(away + extra, per_m * up)))
    found, km, rise = candidates[best], float(away[best]), float(up[best])
    if km > REFUSE_KM:
        mend = (
            f"give a long record of daily weather: the nearest normals, {found.name}, are {km:,.0f} km away"
        )
        raise WeatherError(Problem("no_normals", "latitude", mend))
    notes = list(found.notes)
    if km > WARN_KM:
        notes.append(
            f"The normals are those of {found.name}, {km:,.0f} km away: a record of nearer weather is better."
        )
    if elevation_m is not None and abs(rise) > WARN_M:
        notes.append(f"The house lies {abs(rise):,.0f} m {'above' if rise > 0 else 'below'} {found.name}.")
    if elevation_m is None and found.elevation_m > HIGH_PLACE_M:
        notes.append(
            f"Height of the house not given: that of {found.name}, {found.elevation_m:.0f} m, is taken."
        )
    clear = found.ghi_wh_m2 / _monthly_ceiling(found.latitude)
    moved = replace(
        found,
        latitude=latitude,
        longitude=longitude,
        ghi_wh_m2=clear * _monthly_ceiling(latitude),
        source=f"{found.source}; {km:.0f} km from the house",
        notes=tuple(notes),
    )
    return _at_height(moved, elevation_m)


def _at_height(normals: Normals, elevation_m: float | None) -> Normals:
    if elevation_m is None:
        return normals
    if np.isnan(normals.elevation_m):
        note = f"The height of {normals.name} is not known: no correction for height."
        return replace(normals, elevation_m=elevation_m, notes=(*normals.notes, note))
    shift = LAPSE_C_PER_M * (elevation_m - normals.elevation_m)
    return replace(normals, elevation_m=elevation_m, temp_c=normals.temp_c + shift)


def _named(place: str) -> Normals:
    wanted = _plain(place)
    known = {_plain(n.name): n for n in (*_regions(), *_places())}
    if wanted in known:
        return known[wanted]
    starting = [n for name, n in known.items() if name.startswith(wanted)]
    if len(starting) == 1 and len(wanted) >= 4:
        return starting[0]
    postcode = _POSTCODE.fullmatch(place.strip().upper())
    areas = {row["area"]: int(row["region"]) for row in read_table("uk_postcode_areas")}
    area = postcode[1] if postcode else place.strip().upper()
    if area in areas:
        return _regions()[areas[area]]
    mend = "give latitude and longitude, a UK postcode or region, or one of: " + ", ".join(
        n.name for n in _places()
    )
    raise WeatherError(Problem("unknown_place", "place", mend, place))


def _plain(name: str) -> str:
    letters = unicodedata.normalize("NFKD", name.casefold())
    return " ".join(re.sub(r"[^a-z0-9 ]", "", letters.replace("-", " ")).split())


def _km(latitude: float, longitude: float, normals: Normals) -> float:
    a, b = np.radians([latitude, normals.latitude])
    half_turn = np.radians((normals.longitude or 0.0) - longitude) / 2.0
    chord = np.sin((b - a) / 2.0) ** 2 + np.cos(a) * np.cos(b) * np.sin(half_turn) ** 2
    return float(2.0 * 6371.0 * np.arcsin(np.sqrt(chord)))


def _monthly_ceiling(latitude: float) -> Floats:
    return np.maximum(monthly_means(extraterrestrial_wh_m2(_COMMON_YEAR, latitude)), 1.0)


@cache
def _places() -> tuple[Normals, ...]:
    return tuple(_normals(row, row["place"], row["period"]) for row in read_table("places"))


@cache
def _regions() -> tuple[Normals, ...]:
    return tuple(_normals(row, row["region_name"], "regional means") for row in read_table("uk_regions"))


def _normals(row: dict[str, str], name: str, period: str) -> Normals:
    sun = row.get("ghi_source", "")
    nation = row.get("nation", "")
    assumed = (
        f"; weather class assumed for {nation}" if nation in ("Scotland", "Wales", "Northern Ireland") else ""
    )
    return Normals(
        name=name,
        latitude=float(row["latitude"]),
        longitude=float(row["longitude"]) if row["longitude"] else None,
        elevation_m=float(row["elevation_m"] or "nan"),
        temp_c=np.array([float(row[f"temp_{m}_c"]) for m in range(1, 13)]),
        ghi_wh_m2=np.array([float(row[f"ghi_{m}_wh_m2"]) for m in range(1, 13)]),
        region_class=row["region_class"],
        middle_year=float(row["middle_year"]),
        source=f"{name} ({period}), {row['source']}" + (f"; sun {sun}" if sun else "") + assumed,
        trend_c_per_decade=float(row["trend_c_per_decade"]),
    )
