"""Hourly weather of the invented valley: spells of weather around a stated climate.

This is deliberately another kind of generator than the engine's: the engine draws days from an
autoregression, here *spells* (a mild westerly, a still high, a northerly) follow one another, each
with its own warmth, cloud and wind, and the hours are made from them.

Flow     seed -> **hourly weather** -> homes, weather file
Formula  temperature = monthly climate + spell + wandering + daily swing x clearness
         sun on the ground = clearness x sun outside the air
         declination = 23.45 sin(360 (284 + day of year) / 365), height of the sun by the hour angle
Source   the declination is Cooper's formula, from memory; climate, spells and swing are invented,
         the climate round numbers of an upland valley in the north of England
"""

from dataclasses import dataclass
from itertools import accumulate
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]
Hours = npt.NDArray[np.datetime64]

MONTHLY_C = (3.8, 4.1, 5.5, 7.7, 10.7, 13.3, 15.0, 14.8, 12.7, 9.6, 6.4, 4.1)
"""Mean air temperature at the valley's weather station, January to December, invented. [C]"""
SOLAR_CONSTANT_W_M2 = 1361.0
GROUND_REFLECTS = 0.2


class _Spell(NamedTuple):
    """One kind of weather: how often, how long, and how it differs from the climate."""

    share: float
    mean_days: float
    winter_c: float
    summer_c: float
    clearness: float
    wind_m_s: float


_SPELLS = (
    _Spell(0.40, 4.5, 2.8, -0.7, 0.30, 5.5),  # mild, wet and windy from the west
    _Spell(0.25, 6.0, -3.6, 2.8, 0.58, 2.0),  # a still high: frost in winter, heat in summer
    _Spell(0.20, 3.5, -2.6, -2.0, 0.42, 4.5),  # from the north
    _Spell(0.15, 4.0, -0.4, -0.7, 0.20, 2.5),  # dull and quiet
)


@dataclass(frozen=True, slots=True)
class Sky:
    """Hourly weather, all arrays of shape (hour,).

    Attributes
    ----------
    at
        Start of each hour, UTC.
    temp_c, wind_m_s, ghi_w_m2
        Means over the hour; ghi is the sun on level ground. [C], [m/s], [W/m2]
    sun_height, sun_azimuth
        Of the middle of the hour, above the horizon and clockwise from north. [rad]
    """

    at: Hours
    temp_c: Floats
    wind_m_s: Floats
    ghi_w_m2: Floats
    sun_height: Floats
    sun_azimuth: Floats


def simulate_sky(at: Hours, *, latitude: float, longitude: float, rng: np.random.Generator) -> Sky:
    """Draw the valley's weather, hour by hour.

    Parameters
    ----------
    at : datetime64[h] array, shape (hour,)
        Consecutive hours, UTC.
    latitude, longitude : float
        Of the valley; they only set the sun. [degrees]
    rng : Generator
        Its state decides the weather.

    Examples
    --------
    >>> at = np.arange("2024-01-01", "2024-01-08", dtype="datetime64[h]")
    >>> sky = simulate_sky(at, latitude=54.5, longitude=-2.6, rng=np.random.default_rng(1))
    >>> len(sky.temp_c), bool(sky.ghi_w_m2[0] == 0)
    (168, True)
    """
    height, azimuth = sun_position(at, latitude=latitude, longitude=longitude)
    summer = 0.5 - 0.5 * np.cos(2 * np.pi * (_day_of_year(at) - 15) / 365.25)
    kind = _draw_spells(len(at), rng)
    spell = np.array(_SPELLS)[kind]
    spell_c = _smooth(spell[:, 2] * (1 - summer) + spell[:, 3] * summer - _mean_spell_c(summer), hours=10)
    wander_c = (2.3 - 0.5 * summer) * _wander(len(at), hours=24, rng=rng)
    drift_c = 1.0 * _wander(len(at), hours=20 * 24, rng=rng)

    cloud = _wander(len(at), hours=5, rng=rng)
    clearness = np.clip(_smooth(spell[:, 4], hours=8) + 0.13 * cloud, 0.06, 0.78)
    outside_air = SOLAR_CONSTANT_W_M2 * np.clip(np.sin(height), 0.0, None)
    swing_c = (1.0 + 3.6 * summer) * (0.5 + 1.6 * clearness)
    solar_hour = (at - at.astype("datetime64[D]")).astype(float) + longitude / 15
    temp_c = (
        _climate_c(at) + spell_c + wander_c + drift_c + swing_c * np.cos(2 * np.pi * (solar_hour - 15) / 24)
    )
    gusts = np.exp(0.45 * _wander(len(at), hours=6, rng=rng) - 0.1)
    return Sky(
        at=at,
        temp_c=temp_c,
        wind_m_s=_smooth(spell[:, 5], hours=8) * gusts,
        ghi_w_m2=clearness * outside_air,
        sun_height=height,
        sun_azimuth=azimuth,
    )


def sun_position(at: Hours, *, latitude: float, longitude: float) -> tuple[Floats, Floats]:
    """Find the sun's height and its direction clockwise from north, mid-hour. [rad]

    The equation of time (at most a quarter of an hour) and refraction are left out.
    """
    declination = np.radians(23.45) * np.sin(2 * np.pi * (284 + _day_of_year(at)) / 365)
    solar_hour = (at - at.astype("datetime64[D]")).astype(float) + 0.5 + longitude / 15
    hour_angle = np.radians(15.0 * (solar_hour - 12.0))
    phi = np.radians(latitude)
    sin_height = np.sin(phi) * np.sin(declination) + np.cos(phi) * np.cos(declination) * np.cos(hour_angle)
    east = -np.cos(declination) * np.sin(hour_angle)
    north = np.cos(phi) * np.sin(declination) - np.sin(phi) * np.cos(declination) * np.cos(hour_angle)
    return np.arcsin(sin_height), np.mod(np.arctan2(east, north), 2 * np.pi)


def sun_on_plane_w_m2(sky: Sky, *, tilt_deg: float, azimuth_deg: float) -> Floats:
    """Put the sun on a window or a panel: direct by its angle, diffuse and ground by the view.

    The diffuse share falls from all under thick cloud to a fifth under a clear sky, a straight
    line of our own. [W/m2]
    """
    tilt, azimuth = np.radians(tilt_deg), np.radians(azimuth_deg)
    sin_height = np.sin(sky.sun_height)
    up = sin_height > 0.0
    clearness = np.where(up, sky.ghi_w_m2 / (SOLAR_CONSTANT_W_M2 * np.where(up, sin_height, 1.0)), 0.0)
    diffuse = sky.ghi_w_m2 * np.clip(1.4 - 1.55 * clearness, 0.2, 1.0)
    facing = np.cos(tilt) * sin_height + np.sin(tilt) * np.cos(sky.sun_height) * np.cos(
        sky.sun_azimuth - azimuth
    )
    # a sun lower than 5 degrees stands behind hedges and hills
    direct = (sky.ghi_w_m2 - diffuse) * np.clip(facing, 0.0, None) / np.maximum(sin_height, 0.087)
    around = diffuse * (1 + np.cos(tilt)) / 2 + GROUND_REFLECTS * sky.ghi_w_m2 * (1 - np.cos(tilt)) / 2
    return np.asarray(np.where(up, direct + around, 0.0))


def _day_of_year(at: Hours) -> Floats:
    days = at.astype("datetime64[D]") - at.astype("datetime64[Y]").astype("datetime64[D]")
    return np.asarray(days.astype(float) + 1.0)


def _climate_c(at: Hours) -> Floats:
    """Join the monthly means by straight lines from mid-month to mid-month. [C]"""
    middles = (np.arange(12) + 0.5) * 365.25 / 12
    return np.asarray(np.interp(_day_of_year(at), middles, MONTHLY_C, period=365.25))


def _mean_spell_c(summer: Floats) -> Floats:
    """Take the spells' own mean away, so that the climate stays the stated one. [C]"""
    weight = np.array([s.share for s in _SPELLS])
    winter_c = float(weight @ np.array([s.winter_c for s in _SPELLS]))
    summer_c = float(weight @ np.array([s.summer_c for s in _SPELLS]))
    return np.asarray(winter_c * (1 - summer) + summer_c * summer)


def _draw_spells(hours: int, rng: np.random.Generator) -> npt.NDArray[np.intp]:
    """Follow one spell by the next until the hours are full; the kind of each hour."""
    days = np.array([s.mean_days for s in _SPELLS])
    chance = np.array([s.share for s in _SPELLS]) / days
    count = int(hours / 24 + 10)
    kinds = rng.choice(len(_SPELLS), size=count, p=chance / chance.sum())
    lengths = np.maximum(12, rng.gamma(2.0, days[kinds] * 24 / 2.0)).astype(int)
    return np.asarray(np.repeat(kinds, lengths)[:hours])


def _wander(count: int, *, hours: float, rng: np.random.Generator) -> Floats:
    """Draw a wandering of standard deviation 1 that forgets itself over so many hours."""
    keep = np.exp(-1.0 / hours)
    steps = rng.standard_normal(count)
    steps[1:] *= np.sqrt(1.0 - keep**2)
    return _remember(steps, keep)


def _smooth(values: Floats, *, hours: float) -> Floats:
    """Follow a value with a lag of so many hours."""
    keep = np.exp(-1.0 / hours)
    return np.asarray(values[0] + _remember((1.0 - keep) * (values - values[0]), keep))


def _remember(steps: Floats, keep: float) -> Floats:
    """Sum steps of which a share is kept from hour to hour: y[t] = keep y[t-1] + steps[t]."""
    return np.array(list(accumulate(steps.tolist(), lambda kept, step: keep * kept + step)))
