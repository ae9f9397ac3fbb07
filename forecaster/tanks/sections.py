"""Areas below a level in a tank's cross-section.

Flow     **section area** -> volume of a lying tank
Formula  segment of a circle  A = r² (acos u − u √(1−u²)),  u = (r − h)/r,  chord = 2 √(2rh − h²)
Source   [1] Bronshtein et al., *Handbook of Mathematics*, circular segment; any table of areas has it.
"""

import numpy as np

from forecaster.units import Floats


def segment_area(radius: Floats | float, depth: Floats | float) -> Floats:
    """Area below a level in a circle.

    Parameters
    ----------
    radius, depth : float arrays, broadcast together
        Radius, and depth of the liquid above the circle's lowest point. [mm]

    Returns
    -------
    float array
        0 where the level lies below the circle, the whole circle where it lies above: the parts of
        a section that a level misses. [mm²]

    Examples
    --------
    >>> round(float(segment_area(500.0, 500.0)), 1)  # half a circle
    392699.1
    """
    u = np.clip((radius - depth) / np.asarray(radius, dtype=float), -1.0, 1.0)
    return np.asarray(np.square(radius) * (np.arccos(u) - u * np.sqrt(1.0 - u * u)))


def chord(radius: Floats | float, depth: Floats | float) -> Floats:
    """Width of the surface of a liquid in a circle, the derivative of `segment_area`.

    Parameters
    ----------
    radius, depth : float arrays, broadcast together
        Radius, and depth of the liquid above the circle's lowest point. [mm]

    Returns
    -------
    float array
        0 outside the circle. [mm]

    Examples
    --------
    >>> float(chord(500.0, 500.0))
    1000.0
    """
    return np.asarray(2.0 * np.sqrt(np.maximum(np.multiply(depth, 2.0 * np.asarray(radius) - depth), 0.0)))


def rounded_area(depth: Floats, *, width: float, height: float, radius: float) -> Floats:
    """Area below a level in a rectangle with four rounded corners.

    Parameters
    ----------
    depth : float array
        Depth of the liquid, 0 to ``height``. [mm]
    width, height, radius : float
        Sides, and radius of the corners, at most half the shorter side. [mm]

    Returns
    -------
    float array, shape of ``depth``
        [mm²]

    Notes
    -----
    The circle, cut through its middle both ways and drawn apart; the rest is a cross::

         .--+----+--.
        (   |    |   )     two half circles, of radius r, low and high,
        |---+----+---|     a band of height (height − 2r) between them,
        (   |    |   )     and a box of width (width − 2r) over the whole height
         '--+----+--'

    With r = width/2 or r = height/2 it is an oval (obround), with both a circle.

    Examples
    --------
    >>> round(float(rounded_area(np.array(60.0), width=50.0, height=60.0, radius=0.0)), 1)
    3000.0
    """
    in_band = np.clip(depth - radius, 0.0, height - 2.0 * radius)
    box = (width - 2.0 * radius) * depth
    band = 2.0 * radius * in_band
    circle = segment_area(radius, depth - in_band) if radius > 0.0 else 0.0
    return np.asarray(box + band + circle)


def rounded_width(depth: Floats, *, width: float, height: float, radius: float) -> Floats:
    """Width of the surface in a rectangle with four rounded corners, the derivative of `rounded_area`.

    Parameters
    ----------
    depth : float array
        Depth of the liquid, 0 to ``height``. [mm]
    width, height, radius : float
        Sides, and radius of the corners, at most half the shorter side. [mm]

    Returns
    -------
    float array, shape of ``depth``
        [mm]

    Examples
    --------
    >>> float(rounded_width(np.array(30.0), width=50.0, height=60.0, radius=10.0))
    50.0
    """
    in_band = np.clip(depth - radius, 0.0, height - 2.0 * radius)
    return np.asarray(width - 2.0 * radius + chord(radius, depth - in_band))
