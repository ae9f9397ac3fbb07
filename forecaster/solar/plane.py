"""The sun on a window or a panel, from the day's sun on level ground.

Flow     daily irradiation (weather) -> **irradiation on a plane** -> useful sun of the burn model
Formula  KT = H/H0;  Hd/H = daily correlation in KT;  hour by hour G = H·rt, D = Hd·rd, B = G − D, then onto
         the plane.  Table over (day of year, KT), read by straight lines
Source   [1] Erbs, Klein, Duffie, "Estimation of the diffuse radiation fraction for hourly, daily and
         monthly-average global radiation", Solar Energy 28 (1982) 293-302, the daily correlation,
         from memory; the reference is that of pvlib's hourly one.
         [2] rt: Collares-Pereira, Rabl, Solar Energy 22 (1979) 155-164; rd: Liu, Jordan, Solar Energy 4
         (1960) 1-19; both from memory.
         [3] Sun positions and the sky model of Perez et al. 1990: the library pvlib.
"""

from collections import OrderedDict
from collections.abc import MutableMapping, Sequence
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from forecaster.solar.shade import Shade, open_beam, open_sky

Floats = npt.NDArray[np.float64]
Dates = npt.NDArray[np.datetime64]

GROUND_ALBEDO = 0.2
"""Share that the ground throws back, as pvlib's documents and SAP have it for grass. [-]"""

_CLEARNESS = np.linspace(0.02, 0.90, 23)  # nodes of the table; beyond them the ratio to level ground stays
_DAYS = 366
_REFERENCE_YEAR = np.datetime64("2024-01-01", "D")  # a leap year: every day of year has its row
_LEAST_COS_ZENITH = 0.065  # sun within 3.7° of the horizon counts as diffuse: hills, trees, haze; as in pvlib
_SPLIT_SUNSET_DEG = 81.4  # winter below, other seasons above. Source [1]. [°]
_HOURS = np.arange(24) + 0.5


TABLE_VERSION = 2
"""To be raised whenever the same place and plane would give another table."""
TABLE_SHAPE = (_DAYS, _CLEARNESS.size - 1)
"""Days of the year, and cells of clearness."""


@dataclass(frozen=True, slots=True, eq=False)
class PlaneTable:
    """Irradiation on the plane over that on level ground, by day of year and clearness.

    The ratio at clearness KT within cell i of a day is ``start[day, i] + slope[day, i]·KT``.

    Attributes
    ----------
    extraterrestrial_wh_m2
        Irradiation above the air, shape (day,). [Wh/m²]
    start, slope
        Shape (day, cell). [-]
    """

    extraterrestrial_wh_m2: Floats
    start: Floats
    slope: Floats


Plane = tuple[float, ...]
"""Latitude, longitude, tilt, azimuth as a table is made for, and horizon, overhang, gap of a shaded one. [°, -]"""

MOST_TABLES = 256
"""So many tables are held in memory; each takes about 130 kB."""


class RecentTables(OrderedDict[Plane, PlaneTable]):
    """Tables in memory, the ones made last: a fleet of any size takes no more than its share."""

    def __setitem__(self, plane: Plane, table: PlaneTable) -> None:
        """Hold a table, and let the oldest go where there are too many."""
        super().__setitem__(plane, table)
        if len(self) > MOST_TABLES:
            self.popitem(last=False)


_tables: MutableMapping[Plane, PlaneTable] = RecentTables()


def keep_tables_in(tables: MutableMapping[Plane, PlaneTable]) -> None:
    """Let the tables be looked up, and kept, in a place of the caller's: a dict, or files behind one.

    Notes
    -----
    A table depends on nothing but its key, so where it is kept changes no number; it saves loading
    the library that makes it, which takes longer than a forecast.
    """
    global _tables
    _tables = tables


def plane_irradiation_kwh_m2(
    date: Dates,
    ghi_wh_m2: npt.ArrayLike,
    *,
    latitude: float,
    longitude: float,
    tilt_deg: float,
    azimuth_deg: float,
    shade: Shade | None = None,
) -> Floats:
    """Carry daily irradiation from level ground to a tilted plane.

    Parameters
    ----------
    date : datetime64[D] array, shape (day,)
        Civil days.
    ghi_wh_m2 : float array, shape (..., day)
        Global horizontal irradiation of each day; ``nan`` where unknown. [Wh/m²]
    latitude, longitude : float
        North and east positive; used to a tenth of a degree. [°]
    tilt_deg : float
        From level: 90 for a window. Used to a degree. [°]
    azimuth_deg : float
        Clockwise from north: 180 looks south. Used to a degree. [°]
    shade : Shade, optional
        What stands before it.

    Returns
    -------
    float array, shape (..., day)
        ``nan`` where the irradiation is. [kWh/m²]

    Raises
    ------
    ValueError
        If the last axis of ``ghi_wh_m2`` is not the days.

    Notes
    -----
    A day's clearness says little about when it was clear, so east and west are told apart only by
    the sun's path. Irradiation above the clearest day of the table keeps that day's ratio to level
    ground. Walls to the south get 7 to 17 % more in the heating season than by SAP's factors, and
    within 2 % what hours of direct and diffuse sun give (see the reference tests). The first call for
    a place and plane makes its table (about a fifth of a second); later calls read it.

    Examples
    --------
    >>> december = np.array(["2024-12-21"], dtype="datetime64[D]")
    >>> plane_irradiation_kwh_m2(
    ...     december, [800.0], latitude=53.5, longitude=-2.0, tilt_deg=90.0, azimuth_deg=180.0
    ... ).round(1)
    array([2.8])
    """
    plane = Facing(tilt_deg, azimuth_deg, shade or Shade())
    return _by_table(date, ghi_wh_m2, _plane_table(_key(latitude, longitude, plane)))


@dataclass(frozen=True, slots=True)
class Facing:
    """Which way a plane looks, what stands before it, and how much of it there is. [°, °, -, m²]"""

    tilt_deg: float
    azimuth_deg: float
    shade: Shade = field(default_factory=Shade)
    area_m2: float = 1.0


def windows_irradiation_kwh_m2(
    date: npt.NDArray[np.datetime64],
    ghi_wh_m2: npt.ArrayLike,
    *,
    latitude: float,
    longitude: float,
    windows: Sequence[Facing],
) -> Floats:
    """Carry daily irradiation to several windows: the mean over their area.

    Parameters
    ----------
    date, ghi_wh_m2, latitude, longitude
        As for `plane_irradiation_kwh_m2`.
    windows : sequence of Facing
        At least one, with an area above zero.

    Returns
    -------
    float array, shape (..., day)
        Sun on the windows over their area together. [kWh/m²]

    Notes
    -----
    The tables of the planes are summed once; a scenario costs the same whatever the number of windows.

    Examples
    --------
    >>> december = np.array(["2024-12-21"], dtype="datetime64[D]")
    >>> south, north = Facing(90.0, 180.0, area_m2=3.0), Facing(90.0, 0.0, area_m2=1.0)
    >>> for windows in ([south], [north], [south, north]):
    ...     sun = windows_irradiation_kwh_m2(
    ...         december, [800.0], latitude=53.5, longitude=-2.0, windows=windows
    ...     )
    ...     print(sun.round(2))
    [2.83]
    [0.27]
    [2.19]
    """
    if len(windows) == 1:
        return _by_table(date, ghi_wh_m2, _plane_table(_key(latitude, longitude, windows[0])))
    total = sum(w.area_m2 for w in windows)
    tables = [(_plane_table(_key(latitude, longitude, w)), w.area_m2 / total) for w in windows]
    start = sum(share * table.start for table, share in tables)
    slope = sum(share * table.slope for table, share in tables)
    mean = PlaneTable(tables[0][0].extraterrestrial_wh_m2, np.asarray(start), np.asarray(slope))
    return _by_table(date, ghi_wh_m2, mean)


def _key(latitude: float, longitude: float, plane: Facing) -> Plane:
    place = (round(latitude, 1), round(longitude, 1), round(plane.tilt_deg), round(plane.azimuth_deg) % 360)
    shade = plane.shade
    if shade == Shade():
        return place
    return (*place, round(shade.horizon_deg), round(shade.overhang, 2), round(shade.gap, 2))


def _by_table(date: npt.NDArray[np.datetime64], ghi_wh_m2: npt.ArrayLike, table: PlaneTable) -> Floats:
    """Read each day's ratio from a table."""
    days = np.asarray(date, dtype="datetime64[D]")
    ghi = np.asarray(ghi_wh_m2, dtype=float)
    if days.ndim != 1 or ghi.shape[-1:] != days.shape:
        raise ValueError(f"irradiation of shape {ghi.shape} does not end in the {days.shape} days")
    row = (days - days.astype("datetime64[Y]")).astype(np.intp)
    above = table.extraterrestrial_wh_m2[row]
    per_clearness = np.divide(1.0, above, out=np.zeros_like(above), where=above > 0)  # polar night: no sun
    # fmax and fmin pass over nan, which could not name a cell
    clearness = np.fmin(np.fmax(ghi * per_clearness, _CLEARNESS[0]), _CLEARNESS[-1])
    step = _CLEARNESS[1] - _CLEARNESS[0]
    cell = ((clearness - _CLEARNESS[0]) * (1.0 / step)).astype(np.intp)
    cells = table.start.shape[1]
    np.minimum(cell, cells - 1, out=cell)
    cell += row * cells
    ratio = table.slope.ravel()[cell]
    ratio *= clearness
    ratio += table.start.ravel()[cell]
    ratio *= np.maximum(ghi, 0.0)
    ratio *= 1e-3
    return np.asarray(ratio, dtype=float)


def daily_diffuse_fraction(clearness: npt.ArrayLike, *, sunset_deg: npt.ArrayLike) -> Floats:
    """Split a day's irradiation: the share that comes from the whole sky instead of from the sun.

    Parameters
    ----------
    clearness : float array
        KT, irradiation over that above the air. [-]
    sunset_deg : float array
        Hour angle of sunset: below 81.4 in winter. [°]

    Returns
    -------
    float array
        [-]

    Examples
    --------
    >>> daily_diffuse_fraction([0.1, 0.5, 0.8], sunset_deg=60.0).round(2)
    array([0.99, 0.57, 0.14])
    """
    k = np.asarray(clearness, dtype=float)
    winter = np.where(k < 0.715, 1 - 0.2727 * k + 2.4495 * k**2 - 11.9514 * k**3 + 9.3879 * k**4, 0.143)
    other = np.where(k < 0.722, 1 + 0.2832 * k - 2.5557 * k**2 + 0.8448 * k**3, 0.175)
    # the polynomial of the other seasons passes 1 by less than a hundredth on the dullest days
    return np.minimum(np.where(np.asarray(sunset_deg) <= _SPLIT_SUNSET_DEG, winter, other), 1.0)


def _plane_table(plane: Plane) -> PlaneTable:
    """Find the table of a place and plane, or make it."""
    table = _tables.get(plane)
    if table is None:
        latitude, longitude, tilt_deg, azimuth_deg = plane[:4]
        shade = Shade(int(plane[4]), *plane[5:]) if len(plane) > 4 else Shade()
        above, ratio = _ratios(latitude, longitude, tilt_deg, azimuth_deg, shade)
        slope = np.diff(ratio, axis=1) / np.diff(_CLEARNESS)
        start = ratio[:, :-1] - slope * _CLEARNESS[:-1]
        table = _tables[plane] = PlaneTable(above, start, slope)
    return table


def _ratios(
    latitude: float, longitude: float, tilt_deg: float, azimuth_deg: float, shade: Shade
) -> tuple[Floats, Floats]:
    """Find, for each day of year, the sun above the air, and the plane's ratio at each clearness."""
    # imported here because it takes longer than everything else this module does
    from pvlib import atmosphere, irradiance, solarposition

    zenith_deg, sun_azimuth_deg = _sun_positions(latitude, longitude)
    cos_zenith = np.maximum(np.cos(np.radians(zenith_deg)), 0.0)
    normal_w_m2 = np.asarray(irradiance.get_extra_radiation(np.arange(1, _DAYS + 1)))[:, np.newaxis]
    level_w_m2 = normal_w_m2 * cos_zenith
    above_wh_m2 = level_w_m2.sum(axis=1)
    declination = np.asarray(solarposition.declination_spencer71(np.arange(1, _DAYS + 1)))
    sunset = np.arccos(np.clip(-np.tan(np.radians(latitude)) * np.tan(declination), -1.0, 1.0))
    diffuse_hour = level_w_m2 / np.maximum(above_wh_m2, 1e-9)[:, np.newaxis]  # rd
    global_hour = _global_by_hour(diffuse_hour, sunset)  # rt

    global_day = _CLEARNESS * above_wh_m2[:, np.newaxis]
    shape = (_DAYS, _CLEARNESS.size, _HOURS.size)
    ghi = global_day[:, :, np.newaxis] * global_hour[:, np.newaxis, :]
    diffuse_day = (
        daily_diffuse_fraction(_CLEARNESS, sunset_deg=np.degrees(sunset)[:, np.newaxis]) * global_day
    )
    dhi = np.minimum(diffuse_day[:, :, np.newaxis] * diffuse_hour[:, np.newaxis, :], ghi)
    cosine = np.broadcast_to(cos_zenith[:, np.newaxis, :], shape)
    is_high = cosine > _LEAST_COS_ZENITH
    dhi = np.where(is_high, dhi, ghi)
    dni = (ghi - dhi) / np.where(is_high, cosine, 1.0)
    zenith = np.broadcast_to(zenith_deg[:, np.newaxis, :], shape)
    air_mass = np.nan_to_num(np.asarray(atmosphere.get_relative_airmass(zenith)), nan=40.0)
    parts = irradiance.get_total_irradiance(
        tilt_deg,
        azimuth_deg,
        zenith,
        np.broadcast_to(sun_azimuth_deg[:, np.newaxis, :], shape),
        dni,
        ghi,
        dhi,
        dni_extra=np.broadcast_to(normal_w_m2[:, :, np.newaxis], shape),
        airmass=air_mass,
        albedo=GROUND_ALBEDO,
        model="perez",
    )
    beam, sky, ground = (
        np.nan_to_num(np.asarray(parts[name], dtype=float))
        for name in ("poa_direct", "poa_sky_diffuse", "poa_ground_diffuse")
    )
    reached = open_beam(zenith_deg, sun_azimuth_deg, azimuth_deg=azimuth_deg, shade=shade)
    plane = beam * reached[:, np.newaxis, :] + sky * open_sky(tilt_deg=tilt_deg, shade=shade) + ground
    plane_day = plane.sum(axis=2)
    return above_wh_m2, plane_day / np.maximum(global_day, 1e-9)


def _sun_positions(latitude: float, longitude: float) -> tuple[Floats, Floats]:
    """Find zenith and azimuth in the middle of each hour of the sun's day, shape (day, hour)."""
    import pandas as pd
    from pvlib import solarposition

    seconds = ((_HOURS - longitude / 15.0) * 3600.0).astype("timedelta64[s]")
    at = (_REFERENCE_YEAR + np.arange(_DAYS)).astype("datetime64[s]")[:, np.newaxis] + seconds
    position = solarposition.get_solarposition(pd.DatetimeIndex(at.ravel(), tz="UTC"), latitude, longitude)
    zenith, azimuth = (np.asarray(position[name], dtype=float) for name in ("zenith", "azimuth"))
    return zenith.reshape(at.shape), azimuth.reshape(at.shape)


def _global_by_hour(diffuse_hour: Floats, sunset: Floats) -> Floats:
    """Share a day's irradiation out over its hours: rt of source [2], made to sum to 1."""
    a = 0.409 + 0.5016 * np.sin(sunset - np.pi / 3.0)
    b = 0.6609 - 0.4767 * np.sin(sunset - np.pi / 3.0)
    hour_angle = np.radians(15.0 * (_HOURS - 12.0))
    share = np.maximum(diffuse_hour * (a[:, np.newaxis] + b[:, np.newaxis] * np.cos(hour_angle)), 0.0)
    return np.asarray(share / np.maximum(share.sum(axis=1, keepdims=True), 1e-9), dtype=float)
