"""Shapes whose walls are straight one way: boxes, upright cylinders, ovals, moulded tanks.

Flow     dimensions -> **shape** -> litres (shape.py)
Formula  upright: V = S·h;  lying: V = a(h)·L, a(h) the area of the section below the level
Source   plane geometry; the profile of the moulded tank is an assumption, see there
"""

from dataclasses import dataclass

import numpy as np

from forecaster.tanks.sections import rounded_area, rounded_width
from forecaster.tanks.shape import Solid
from forecaster.units import MM3_PER_LITRE, Floats


@dataclass(frozen=True, slots=True)
class UprightBox(Solid):
    """A box with rounded vertical edges: the corners of its plan. All inside, in mm."""

    length_mm: float
    width_mm: float
    height_mm: float
    edge_radius_mm: float = 0.0

    def volume_mm3(self, dip_mm: Floats) -> Floats:
        """Volume below a dip. [mm³]"""
        return self.surface_mm2(dip_mm) * dip_mm

    def surface_mm2(self, dip_mm: Floats) -> Floats:
        """Area of the plan, the same at every dip. [mm²]"""
        plan = self.length_mm * self.width_mm - (4.0 - np.pi) * self.edge_radius_mm**2
        return plan + 0.0 * dip_mm


@dataclass(frozen=True, slots=True)
class UprightCylinder(Solid):
    """A cylinder standing on a flat bottom. All inside, in mm."""

    diameter_mm: float
    height_mm: float

    def volume_mm3(self, dip_mm: Floats) -> Floats:
        """Volume below a dip. [mm³]"""
        return self.surface_mm2(dip_mm) * dip_mm

    def surface_mm2(self, dip_mm: Floats) -> Floats:
        """Area of the plan, the same at every dip. [mm²]"""
        return np.pi / 4.0 * self.diameter_mm**2 + 0.0 * dip_mm


@dataclass(frozen=True, slots=True)
class LyingBox(Solid):
    """A box with rounded long edges: the corners of its section. All inside, in mm.

    With a radius of half the shorter side it is an oval (obround) tank, upright or lying.

    Examples
    --------
    The common American basement tank, 44 × 27 × 60 inches, at 4 inches and full:

    >>> oval = upright_oval(length_mm=1524.0, width_mm=685.8, height_mm=1117.6)
    >>> oval.litres([101.6, 1117.6]).round(1)
    array([  52. , 1014.2])
    """

    length_mm: float
    width_mm: float
    height_mm: float
    edge_radius_mm: float = 0.0

    def volume_mm3(self, dip_mm: Floats) -> Floats:
        """Volume below a dip. [mm³]"""
        return self.length_mm * rounded_area(
            dip_mm, width=self.width_mm, height=self.height_mm, radius=self.edge_radius_mm
        )

    def surface_mm2(self, dip_mm: Floats) -> Floats:
        """Area of the liquid's surface. [mm²]"""
        return self.length_mm * rounded_width(
            dip_mm, width=self.width_mm, height=self.height_mm, radius=self.edge_radius_mm
        )


def upright_oval(*, length_mm: float, width_mm: float, height_mm: float) -> LyingBox:
    """Make the tank of a tall oval section: half circles below and above, straight sides between.

    Parameters
    ----------
    length_mm, width_mm, height_mm : float
        Inside, the height at least the width. [mm]

    Returns
    -------
    LyingBox

    Examples
    --------
    >>> upright_oval(length_mm=1500.0, width_mm=700.0, height_mm=1100.0).edge_radius_mm
    350.0
    """
    return LyingBox(length_mm, width_mm, height_mm, edge_radius_mm=min(width_mm, height_mm) / 2.0)


def lying_oval(*, length_mm: float, width_mm: float, height_mm: float) -> LyingBox:
    """Make the tank of a lying oval section: half circles left and right, flat bottom and top between.

    Parameters
    ----------
    length_mm, width_mm, height_mm : float
        Inside, the width at least the height. [mm]

    Returns
    -------
    LyingBox

    Examples
    --------
    >>> lying_oval(length_mm=1500.0, width_mm=1100.0, height_mm=700.0).edge_radius_mm
    350.0
    """
    return LyingBox(length_mm, width_mm, height_mm, edge_radius_mm=min(width_mm, height_mm) / 2.0)


MOULDED_ROUNDED_SHARE = 0.1
"""Share of the height over which a moulded tank is taken to narrow, below and above. Assumption. [-]"""
MOULDED_END_SURFACE = 0.8
"""Surface at the very bottom and top, as a share of the middle's. Assumption. [-]"""
MOULDED_SD = 0.05
"""Relative standard deviation of a moulded tank's litres at a height. Assumption. [-]"""


@dataclass(frozen=True, slots=True)
class Moulded(Solid):
    """A ribbed or waisted plastic tank, known by its nominal litres and its inside height.

    Notes
    -----
    The profile is near straight: the surface grows from 80 % at the bottom to its full size at a
    tenth of the height, and shrinks likewise at the top. That is an assumption, made because a
    straight line would promise more oil at the bottom than a rounded bottom holds: 10 % of the
    litres at 10 % of the height, where this gives 9.2 %. Real tanks stray from it by about 5 %
    (`MOULDED_SD`), which the tank carries as the error of its table until tickets narrow it.

    Examples
    --------
    >>> Moulded(nominal_l=1300.0, height_mm=1200.0).litres([0.0, 120.0, 600.0, 1200.0]).round(1)
    array([   0. ,  119.4,  650. , 1300. ])
    """

    nominal_l: float
    height_mm: float

    def volume_mm3(self, dip_mm: Floats) -> Floats:
        """Volume below a dip: that of a straight tank, less what its two ends lack. [mm³]"""
        one_end = self._lack_mm(np.array(self.height_mm))
        lacking_above = one_end - self._lack_mm(self.height_mm - dip_mm)
        middle_mm2 = self.nominal_l * MM3_PER_LITRE / (self.height_mm - 2.0 * one_end)
        return np.asarray(middle_mm2 * (dip_mm - self._lack_mm(dip_mm) - lacking_above))

    def surface_mm2(self, dip_mm: Floats) -> Floats:
        """Area of the liquid's surface. [mm²]"""
        one_end = self._lack_mm(np.array(self.height_mm))
        middle_mm2 = self.nominal_l * MM3_PER_LITRE / (self.height_mm - 2.0 * one_end)
        to_nearer_end = np.minimum(dip_mm, self.height_mm - dip_mm)
        share = np.minimum(to_nearer_end / (MOULDED_ROUNDED_SHARE * self.height_mm), 1.0)
        return np.asarray(middle_mm2 * (MOULDED_END_SURFACE + (1.0 - MOULDED_END_SURFACE) * share))

    def _lack_mm(self, from_end_mm: Floats) -> Floats:
        """Height that a straight tank of the middle's surface could spare up to here. [mm]"""
        rounded = MOULDED_ROUNDED_SHARE * self.height_mm
        inside = np.minimum(from_end_mm, rounded)
        return np.asarray((1.0 - MOULDED_END_SURFACE) * (inside - inside**2 / (2.0 * rounded)))
