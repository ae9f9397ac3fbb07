"""What stands before a window: a horizon in front of it, and an overhang above it.

Flow     sun's position, window -> **open part of the beam, open part of the sky** -> `plane`
Formula  shadow of an overhang, from its edge down: depth · tan Ω,  tan Ω = tan(altitude)/cos(azimuth off the
         window's);  sky seen by a vertical window below it: mean of sin θ over the window's height, θ the
         elevation of the overhang's edge;  of a tilted window above a horizon E: (1 + cos(β + E))/2
Source   profile angle and its shadow: common in the literature of shading (ASHRAE Handbook Fundamentals,
         from memory); the sky's parts: view factors of long strips, plane geometry
"""

from dataclasses import dataclass

import numpy as np

from forecaster.units import Floats

_LEAST_COS = 1e-6  # the sun along the window's plane, or behind it


@dataclass(frozen=True, slots=True)
class Shade:
    """What shades a window; lengths as parts of the window's height.

    Attributes
    ----------
    horizon_deg
        Elevation of houses, trees or hills in front, the same to both sides. [°]
    overhang
        How far an overhang stands out, over the window's height; wide to both sides. [-]
    gap
        How far above the window's top edge it is, over the window's height. [-]
    """

    horizon_deg: int = 0
    overhang: float = 0.0
    gap: float = 0.0


def open_beam(zenith_deg: Floats, sun_azimuth_deg: Floats, *, azimuth_deg: float, shade: Shade) -> Floats:
    """Find the part of a window that the sun reaches.

    Parameters
    ----------
    zenith_deg, sun_azimuth_deg : float arrays, any shape
        Where the sun stands. [°]
    azimuth_deg : float
        Where the window looks. [°]
    shade : Shade
        An overhang is that of a vertical window.

    Returns
    -------
    float array, same shape
        0 to 1; of the sun behind the window 1, because no beam falls on it anyway. [-]

    Examples
    --------
    The sun at 60° straight in front; an overhang of half the window's height right above it:

    >>> open_beam(np.array([30.0]), np.array([180.0]), azimuth_deg=180.0, shade=Shade(overhang=0.5)).round(3)
    array([0.134])
    """
    altitude = np.radians(90.0 - zenith_deg)
    towards = np.cos(np.radians(sun_azimuth_deg - azimuth_deg))
    in_front = towards > _LEAST_COS
    profile = np.tan(np.clip(altitude, 0.0, np.radians(89.9))) / np.where(in_front, towards, 1.0)
    shadow = np.clip(shade.overhang * profile - shade.gap, 0.0, 1.0)
    above = (
        altitude > np.radians(shade.horizon_deg) if shade.horizon_deg > 0 else np.ones_like(altitude, bool)
    )
    return np.where(in_front, (1.0 - shadow) * above, 1.0)


def open_sky(*, tilt_deg: float, shade: Shade) -> float:
    """Find the part of the sky's light that a window still gets, over that of the window alone.

    Parameters
    ----------
    tilt_deg : float
        From level: 90 for a window in a wall. [°]
    shade : Shade

    Returns
    -------
    float
        0 to 1. [-]

    Examples
    --------
    >>> round(open_sky(tilt_deg=90.0, shade=Shade(horizon_deg=20)), 3)
    0.658
    >>> round(open_sky(tilt_deg=90.0, shade=Shade(overhang=0.5)), 3)
    0.618
    """
    tilt, horizon = np.radians(tilt_deg), np.radians(shade.horizon_deg)
    alone = (1.0 + np.cos(tilt)) / 2.0
    seen = (1.0 + np.cos(min(tilt + horizon, np.pi))) / 2.0
    if shade.overhang > 0:
        top, bottom = shade.gap, shade.gap + 1.0
        # mean over the window of sin θ = d/√(d² + P²), d below an overhang of depth P
        mean_sine = np.hypot(bottom, shade.overhang) - np.hypot(top, shade.overhang)
        seen -= (1.0 - mean_sine) / 2.0
    return float(max(seen, 0.0) / alone)
