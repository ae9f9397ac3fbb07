"""The sun of an hour on walls and roofs, from the day's sun on level ground.

Flow     latitude -> **sun tables** by day of the year and hour -> the house's physics
Formula  sin(height) = sin φ sin δ + cos φ cos δ cos ω;  G_h = G r_t, D_h = D r_d, beam = G_h - D_h, onto a
         plane with tilt β by the cosine rule; diffuse from an even sky: (1 + cos β)/2
Source   r_t: Collares-Pereira & Rabl 1979; r_d: Liu & Jordan 1960; diffuse share of the day: Erbs, Klein &
         Duffie 1982; declination: Spencer 1971 (all from memory). Written apart from the engine's own,
         which has another sky.
"""

from functools import cache
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]

SOLAR_CONSTANT_W_M2 = 1361.0
AZIMUTHS = (90.0, 180.0, 270.0, 0.0)
"""Of the four walls: east, south, west, north; clockwise from north. [°]"""
HIGHEST_RATIO = 6.0
"""A sun so low that its beam on a wall would exceed this of that on the ground is behind the hills. [-]"""
_HOURS = np.arange(24) + 0.5
_DAYS = 366


class SunTable(NamedTuple):
    """The sun of a latitude by day of the year (366) and hour of solar time (24).

    ``above_wh_m2`` (day,) above the air; ``of_all`` and ``of_diffuse`` (day, hour) shares of the day's
    sun and of its diffuse part; ``wall`` (day, hour, 4) and ``roof`` (day, hour) beam on the plane over beam
    on the ground, the roof tilted 35° to the south.
    """

    above_wh_m2: Floats
    of_all: Floats
    of_diffuse: Floats
    wall: Floats
    roof: Floats


@cache
def above_the_air_wh_m2(latitude: float) -> Floats:
    """Sun on a level plane above the air by day of the year, shape (366,). [Wh/m²]

    Examples
    --------
    >>> above_the_air_wh_m2(52.0)[[0, 171]].round(-2)
    array([ 1800., 11500.])
    """
    phi, delta, _ = _angles(latitude)
    sunset = np.arccos(np.clip(-np.tan(phi) * np.tan(delta), -1.0, 1.0))
    far = 1.0 + 0.033 * np.cos(2.0 * np.pi * np.arange(_DAYS) / 365.0)
    day = np.cos(phi) * np.cos(delta) * np.sin(sunset) + sunset * np.sin(phi) * np.sin(delta)
    return np.asarray(24.0 / np.pi * SOLAR_CONSTANT_W_M2 * far * day)


@cache
def sun_table(latitude: float) -> SunTable:
    """Work the tables of a latitude out. [°]"""
    phi, delta, omega = _angles(latitude)
    delta, omega = delta[:, None], omega[None, :]
    sin_height = np.sin(phi) * np.sin(delta) + np.cos(phi) * np.cos(delta) * np.cos(omega)
    up = np.maximum(sin_height, 0.0)
    sunset = np.arccos(np.clip(-np.tan(phi) * np.tan(delta), -1.0, 1.0))
    shape = np.where(up > 0.0, up, 0.0)
    a, b = 0.409 + 0.5016 * np.sin(sunset - 1.047), 0.6609 - 0.4767 * np.sin(sunset - 1.047)
    whole = shape * np.maximum(a + b * np.cos(omega), 0.0)

    cos_height = np.sqrt(np.maximum(1.0 - up**2, 1e-9))
    cos_az = (sin_height * np.sin(phi) - np.sin(delta)) / (cos_height * np.cos(phi))  # from south
    from_south = np.sign(omega) * np.arccos(np.clip(cos_az, -1.0, 1.0))
    least = np.maximum(up, 1e-6)

    def over_ground(tilt: float, azimuth: float) -> Floats:
        turned = from_south - (azimuth - np.pi)
        incident = up * np.cos(tilt) + cos_height * np.sin(tilt) * np.cos(turned)
        ratio = np.clip(incident / least, 0.0, HIGHEST_RATIO)
        return np.asarray(np.where(up > 0.02, ratio, 0.0))

    walls = np.stack([over_ground(np.pi / 2.0, np.radians(a)) for a in AZIMUTHS], axis=-1)
    return SunTable(
        above_the_air_wh_m2(latitude),
        np.ascontiguousarray(whole / whole.sum(axis=1, keepdims=True)),
        np.ascontiguousarray(shape / shape.sum(axis=1, keepdims=True)),
        np.ascontiguousarray(walls),
        over_ground(np.radians(35.0), np.pi),
    )


def _angles(latitude: float) -> tuple[float, Floats, Floats]:
    """Latitude, declination of each day and hour angle of each hour. [rad]"""
    turn = 2.0 * np.pi * (np.arange(_DAYS) + 0.5) / 365.0
    delta = (
        0.006918 - 0.399912 * np.cos(turn) + 0.070257 * np.sin(turn) - 0.006758 * np.cos(2.0 * turn)
        + 0.000907 * np.sin(2.0 * turn) - 0.002697 * np.cos(3.0 * turn) + 0.00148 * np.sin(3.0 * turn)
    )  # fmt: skip
    return float(np.radians(latitude)), delta, np.radians(15.0 * (_HOURS - 12.0))
