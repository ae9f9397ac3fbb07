"""The lying cylinder with flat or dished ends, level or tilted along its length.

Flow     diameter, length, ends, tilt -> **lying cylinder** -> litres (shape.py)
Formula  level: V = A(R, h) L + ends. Elliptical ends of depth a, both together:
         (a/R) π h² (3R − h)/3. Tilt t, h0 the depth at the low tangent line: V = (F(h0) − F(h0 − L tan t))
         / tan t + π R² (length that is full), F(h) = R³ [u acos(−u) + √(1−u²) − (1−u²)^(3/2)/3],
         u = (h − R)/R. Other ends by quadrature over the circles of heads.py.
Source   [1] Jones, "Computing Fluid Tank Volumes", *Chemical Processing*, 2002, as reproduced in the
         documentation of the package fluids 1.3.1 (level tanks). The tilted form is the integral of
         the segment's area along the axis; the tests check it by quadrature.

::

                 dip_at_mm
               |<-------->|
          .----------------------------------.
    low  (     |          |                   )   high      the dip is taken at right angles to the
    end  (~~~~~|~~~~~~~~~~|~~~~               )   end       axis, in the tank's own frame
          '----------------------------------'
               0  low tangent line            L
"""

from dataclasses import dataclass, field

import numpy as np

from forecaster.tanks.heads import Elliptical, Flat, Head, Profile
from forecaster.tanks.sections import chord, segment_area
from forecaster.tanks.shape import Solid
from forecaster.units import MM3_PER_LITRE, Floats

MAX_TILT_DEG = 10.0
"""A steeper cylinder is no lying tank. [°]"""

_LEVEL_SLOPE = 1e-6
# below this slope F(h0) − F(h0 − L tan t) is all rounding, and the level at mid-length is exact to 1e-12
_KNOTS = 256


@dataclass(frozen=True, slots=True)
class LyingCylinder(Solid):
    """A cylinder lying on its side, with equal ends. All inside, in mm.

    Attributes
    ----------
    length_mm
        Tangent to tangent: without the ends. [mm]
    tilt_deg
        Slope of the axis, 0 for level. [°]
    dip_at_mm
        Where dips are taken, from the low tangent line. [mm]

    Notes
    -----
    A tilted tank keeps oil that no dip shows, and air above the greatest dip: ``litres(0)`` is above
    0 and ``litres(height_mm)`` below ``capacity_l``. Volumes outside what a dip can show are out of
    range.

    Examples
    --------
    Read as if it stood level, this tank would promise 7.5 % too much:

    >>> tank = LyingCylinder(1000.0, 2000.0, Flat(), tilt_deg=2.0)
    >>> level = LyingCylinder(1000.0, 2000.0, Flat())
    >>> round(float(tank.litres(600.0)), 1), round(float(level.litres(600.0)), 1)
    (915.1, 984.1)
    """

    diameter_mm: float
    length_mm: float
    head: Head = field(default_factory=Flat)
    tilt_deg: float = 0.0
    dip_at_mm: float = 0.0
    _ends: "_ClosedEnds | _TabulatedEnds" = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        slope = float(np.tan(np.radians(self.tilt_deg)))
        ends: _ClosedEnds | _TabulatedEnds
        if isinstance(self.head, Flat):
            ends = _ClosedEnds(self.diameter_mm / 2.0, depth_mm=0.0)
        elif slope <= _LEVEL_SLOPE and isinstance(self.head, Elliptical):
            ends = _ClosedEnds(self.diameter_mm / 2.0, depth_mm=self.head.depth_mm)
        else:
            ends = _tabulate_ends(
                self.head.profile(),
                radius=self.diameter_mm / 2.0,
                length=self.length_mm,
                slope=slope,
                dip_at=self.dip_at_mm,
            )
        object.__setattr__(self, "_ends", ends)

    @property
    def height_mm(self) -> float:
        """The greatest dip: the diameter. [mm]"""
        return self.diameter_mm

    @property
    def capacity_l(self) -> float:
        """Litres of the tank filled to the last corner, whatever its tilt. [l]"""
        radius = self.diameter_mm / 2.0
        cut = self.head.profile()
        one_end = float(np.sum(np.pi * cut.radius_mm**2 * cut.weight_mm))
        return float(np.pi * radius**2 * self.length_mm + 2.0 * one_end) / MM3_PER_LITRE

    def volume_mm3(self, dip_mm: Floats) -> Floats:
        """Volume below a dip. [mm³]"""
        radius, slope = self.diameter_mm / 2.0, float(np.tan(np.radians(self.tilt_deg)))
        at_low_end = dip_mm + self.dip_at_mm * slope
        body = body_volume(at_low_end, radius=radius, length=self.length_mm, slope=slope)
        return np.asarray(body + self._ends.volume_mm3(dip_mm))

    def surface_mm2(self, dip_mm: Floats) -> Floats:
        """Area of the liquid's surface, seen along the dip. [mm²]"""
        radius, slope = self.diameter_mm / 2.0, float(np.tan(np.radians(self.tilt_deg)))
        at_low_end = dip_mm + self.dip_at_mm * slope
        body = body_surface(at_low_end, radius=radius, length=self.length_mm, slope=slope)
        return np.asarray(body + self._ends.surface_mm2(dip_mm))


def body_volume(at_low_end: Floats, *, radius: float, length: float, slope: float) -> Floats:
    """Volume between the tangent lines of a cylinder whose axis rises by ``slope``.

    Parameters
    ----------
    at_low_end : float array
        Depth at the low tangent line, from the lowest point of the circle there. [mm]
    radius, length : float
        [mm]
    slope : float
        Tangent of the tilt.

    Returns
    -------
    float array, shape of ``at_low_end``
        [mm³]

    Examples
    --------
    >>> round(float(body_volume(np.array(600.0), radius=500.0, length=2000.0, slope=0.0)) / 1e6, 1)
    984.1
    """
    if slope <= _LEVEL_SLOPE:
        return segment_area(radius, at_low_end - slope * length / 2.0) * length
    full_length = np.clip((at_low_end - 2.0 * radius) / slope, 0.0, length)
    wedge = _area_integral(at_low_end, radius) - _area_integral(at_low_end - length * slope, radius)
    return np.asarray(wedge / slope + np.pi * radius**2 * full_length)


def body_surface(at_low_end: Floats, *, radius: float, length: float, slope: float) -> Floats:
    """Derivative of `body_volume` with respect to the depth.

    Parameters
    ----------
    at_low_end : float array
        Depth at the low tangent line, from the lowest point of the circle there. [mm]
    radius, length : float
        [mm]
    slope : float
        Tangent of the tilt.

    Returns
    -------
    float array, shape of ``at_low_end``
        [mm²]

    Examples
    --------
    >>> float(body_surface(np.array(500.0), radius=500.0, length=2000.0, slope=0.0))
    2000000.0
    """
    if slope <= _LEVEL_SLOPE:
        return chord(radius, at_low_end - slope * length / 2.0) * length
    low, high = segment_area(radius, at_low_end), segment_area(radius, at_low_end - length * slope)
    return np.asarray((low - high) / slope)


def _area_integral(depth: Floats, radius: float) -> Floats:
    """∫ of the segment's area from depth 0, the F of the module's formula. [mm³]"""
    u = np.clip((depth - radius) / radius, -1.0, 1.0)
    v = 1.0 - u * u
    return np.asarray(radius**3 * (u * np.arccos(-u) + np.sqrt(v) - v * np.sqrt(v) / 3.0))


@dataclass(frozen=True, slots=True)
class _ClosedEnds:
    """Both ends of a level tank, flat (depth 0) or elliptical."""

    radius_mm: float
    depth_mm: float

    def volume_mm3(self, dip_mm: Floats) -> Floats:
        ratio = self.depth_mm / self.radius_mm
        return np.asarray(ratio * np.pi * dip_mm**2 * (3.0 * self.radius_mm - dip_mm) / 3.0)

    def surface_mm2(self, dip_mm: Floats) -> Floats:
        ratio = self.depth_mm / self.radius_mm
        return np.asarray(ratio * np.pi * dip_mm * (2.0 * self.radius_mm - dip_mm))


@dataclass(frozen=True, slots=True)
class _TabulatedEnds:
    """Both ends by quadrature, tabulated once over φ with dip = R (1 − cos φ), shape (knot,).

    Between knots a cubic (Hermite) through volume and slope: over φ the volume is smooth where over
    the dip it starts like h^(3/2). Within 2 ml of a table sixteen times finer, for 2500 l.
    """

    radius_mm: float
    volume_knots: Floats
    surface_knots: Floats

    def volume_mm3(self, dip_mm: Floats) -> Floats:
        position = self._angle(dip_mm) / np.pi * _KNOTS
        left = np.clip(np.nan_to_num(np.floor(position)), 0, _KNOTS - 1).astype(np.intp)
        s, step = position - left, np.pi / _KNOTS
        slope = self.surface_knots * self.radius_mm * np.sin(np.linspace(0.0, np.pi, _KNOTS + 1)) * step
        v0, v1, m0, m1 = self.volume_knots[left], self.volume_knots[left + 1], slope[left], slope[left + 1]
        return np.asarray(
            v0 + s * (m0 + s * (3.0 * (v1 - v0) - 2.0 * m0 - m1 + s * (2.0 * (v0 - v1) + m0 + m1)))
        )

    def surface_mm2(self, dip_mm: Floats) -> Floats:
        knots = np.linspace(0.0, np.pi, _KNOTS + 1)
        return np.asarray(np.interp(self._angle(dip_mm), knots, self.surface_knots))

    def _angle(self, dip_mm: Floats) -> Floats:
        return np.asarray(np.arccos(np.clip(1.0 - dip_mm / self.radius_mm, -1.0, 1.0)))


def _tabulate_ends(
    cut: Profile, *, radius: float, length: float, slope: float, dip_at: float
) -> _TabulatedEnds:
    """Add up the segments of all circles of both ends, for each knot of the table."""
    dips = radius * (1.0 - np.cos(np.linspace(0.0, np.pi, _KNOTS + 1)))[:, None]
    to_circle_bottom = cut.radius_mm - radius  # from the tank's lowest line up to each circle's, negative
    low_end = dips + (dip_at + cut.x_mm) * slope + to_circle_bottom
    high_end = dips + (dip_at - length - cut.x_mm) * slope + to_circle_bottom
    volume = segment_area(cut.radius_mm, low_end) + segment_area(cut.radius_mm, high_end)
    surface = chord(cut.radius_mm, low_end) + chord(cut.radius_mm, high_end)
    return _TabulatedEnds(radius, volume @ cut.weight_mm, surface @ cut.weight_mm)
