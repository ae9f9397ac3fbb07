"""Ends of a lying cylinder: flat, elliptical, hemispherical, torispherical.

Flow     **end** -> lying cylinder (cylinder.py)
Formula  an end is a body of revolution of radius r(x), 0 ≤ x ≤ depth, x counted outward from the
         tangent line. Elliptical, depth a: r = R √(1 − x²/a²). Torispherical, dish radius f·D and
         knuckle radius k·D: a knuckle r = (R − kD) + √((kD)² − x²) up to the joint, then the dish
         r = √((fD)² − (x − (a − fD))²), with a = D [f − √((f−k)² − (½−k)²)].
Source   [1] Jones, "Computing Fluid Tank Volumes", *Chemical Processing*, 2002, as reproduced in the
         documentation of the package fluids 1.3.1 (its worked examples are among the reference tests).
         [2] Proportions of a common dished end, D and 0.1 D, as in DIN 28011 (from memory); the
         ASME flanged and dished end has D and 0.06 D, the "korbbogen" 0.8 D and 0.154 D (from memory).
"""

from dataclasses import dataclass, field
from functools import cache
from typing import Protocol

import numpy as np

from forecaster.units import Floats

DISH_RADIUS_FRACTION = 1.0
"""Radius of the dish as a fraction of the diameter, unless given. Source [2]. [-]"""
KNUCKLE_RADIUS_FRACTION = 0.1
"""Radius of the knuckle as a fraction of the diameter, unless given. Source [2]. [-]"""
ELLIPTICAL_DEPTH_FRACTION = 0.25
"""Depth of the 2:1 elliptical end as a fraction of the diameter, by its name. [-]"""

_NODES = 96


@dataclass(frozen=True, slots=True)
class Profile:
    """An end cut into circles: where they stand, how much length each has, and their radius. [mm]

    Arrays of shape (node,), so that ∫ g(r(x)) dx is Σ weight · g(radius).
    """

    x_mm: Floats
    weight_mm: Floats
    radius_mm: Floats


class Head(Protocol):
    """One end of a lying cylinder."""

    @property
    def depth_mm(self) -> float:
        """How far it stands out beyond the tangent line. [mm]"""
        ...

    def profile(self) -> Profile:
        """The end cut into circles, for quadrature."""
        ...


@dataclass(frozen=True, slots=True)
class Flat:
    """A flat end: no volume beyond the tangent line."""

    depth_mm: float = field(default=0.0, init=False)

    def profile(self) -> Profile:
        """No circles at all: every sum over them is 0."""
        none = np.empty(0)
        return Profile(none, none, none)


@dataclass(frozen=True, slots=True)
class Elliptical:
    """A half ellipsoid of revolution: depth D/4 for 2:1, depth R for the hemisphere.

    Examples
    --------
    A full 2:1 end holds π D³/24:

    >>> cut = Elliptical(radius_mm=0.5, depth_mm=0.25).profile()
    >>> round(float(np.sum(np.pi * cut.radius_mm**2 * cut.weight_mm)), 6), round(np.pi / 24, 6)
    (0.1309, 0.1309)
    """

    radius_mm: float
    depth_mm: float

    def profile(self) -> Profile:
        """Circles at x = a sin θ, which keeps the tip, where r falls steeply, smooth."""
        theta, weight = _gauss(0.0, np.pi / 2.0)
        return Profile(
            self.depth_mm * np.sin(theta),
            self.depth_mm * np.cos(theta) * weight,
            self.radius_mm * np.cos(theta),
        )


@dataclass(frozen=True, slots=True)
class Torispherical:
    """A dish with a knuckle; its radii are fractions of the diameter.

    Examples
    --------
    >>> round(Torispherical(radius_mm=0.5).depth_mm, 4)
    0.1938
    """

    radius_mm: float
    dish_radius_fraction: float = DISH_RADIUS_FRACTION
    knuckle_radius_fraction: float = KNUCKLE_RADIUS_FRACTION

    @property
    def depth_mm(self) -> float:
        """How far it stands out beyond the tangent line. [mm]"""
        f, k = self.dish_radius_fraction, self.knuckle_radius_fraction
        return float(2.0 * self.radius_mm * (f - np.sqrt((f - k) ** 2 - (0.5 - k) ** 2)))

    def profile(self) -> Profile:
        """Circles along the arc of the knuckle, then along the arc of the dish.

        By angle, not by x, because both arcs are smooth in their angle::

            dish    x = a − fD (1 − cos φ),   r = fD sin φ        φ from the axis
            knuckle x = kD cos φ,             r = R − kD + kD sin φ

        They meet where both have the same tangent, sin φ = (R − kD)/(fD − kD).
        """
        diameter = 2.0 * self.radius_mm
        dish, knuckle = self.dish_radius_fraction * diameter, self.knuckle_radius_fraction * diameter
        joint = np.arcsin((self.radius_mm - knuckle) / (dish - knuckle)) if dish > knuckle else np.pi / 2.0
        phi, weight = _gauss(0.0, joint)
        on_dish = (
            self.depth_mm - dish * (1.0 - np.cos(phi)),
            dish * np.sin(phi) * weight,
            dish * np.sin(phi),
        )
        phi, weight = _gauss(joint, np.pi / 2.0)
        on_knuckle = (
            knuckle * np.cos(phi),
            knuckle * np.sin(phi) * weight,
            self.radius_mm - knuckle + knuckle * np.sin(phi),
        )
        return Profile(*(np.concatenate(pair) for pair in zip(on_knuckle, on_dish, strict=True)))


def _gauss(start: float, end: float) -> tuple[Floats, Floats]:
    """Nodes and weights of Gauss-Legendre quadrature on an interval."""
    node, weight = _unit_gauss()
    half = (end - start) / 2.0
    return start + half * (node + 1.0), half * weight


@cache
def _unit_gauss() -> tuple[Floats, Floats]:
    """Nodes and weights on −1 to 1, worked out once: they are an eigenvalue problem."""
    return np.polynomial.legendre.leggauss(_NODES)
