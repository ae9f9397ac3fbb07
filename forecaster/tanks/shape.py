"""What every tank shape can do: dip to litres, litres to dip, litres a centimetre.

Flow     dip -> **shape** -> litres
Formula  litres = ∫₀^h S(z) dz,  S = area of the liquid's surface;  litres a centimetre = S · 1 cm;
         dip = the root of litres(h) − V, by Newton's method held in a bracket
"""

from abc import ABC, abstractmethod
from collections.abc import Callable
from typing import Protocol

import numpy as np
import numpy.typing as npt

from forecaster.errors import OutOfRangeError
from forecaster.units import MM3_PER_LITRE, MM_PER_CM, Floats

DIP_TOLERANCE_MM = 1e-6
"""A dip may lie so far outside the tank, which is rounding. [mm]"""
VOLUME_TOLERANCE = 1e-9
"""A volume may lie so far outside, as a share of the capacity, which is rounding. [-]"""

_BRACKETS = 256
_MAX_STEPS = 60
_DIP_CLOSE = 1e-10  # share of the height at which Newton's method stops


class Shape(Protocol):
    """The inside of a tank, standing as it stands.

    Every method takes and gives arrays of any shape; nan goes through as nan, because an unknown
    level is not an error. Nothing is ever clipped to the tank.
    """

    @property
    def height_mm(self) -> float:
        """The greatest dip. [mm]"""
        ...

    @property
    def capacity_l(self) -> float:
        """Litres of the tank filled to the last corner. [l]"""
        ...

    def litres(self, dip_mm: npt.ArrayLike) -> Floats:
        """Litres at a dip; raises OutOfRangeError outside 0 to ``height_mm``. [l]"""
        ...

    def dip_mm(self, litres: npt.ArrayLike) -> Floats:
        """Dip at so many litres; raises OutOfRangeError outside what a dip can show. [mm]"""
        ...

    def litres_per_cm(self, dip_mm: npt.ArrayLike) -> Floats:
        """Litres that a centimetre of dip makes at this height. [l/cm]"""
        ...


class Solid(ABC):
    """A shape given by the volume below a dip and the area of the liquid's surface there."""

    __slots__ = ()

    @property
    @abstractmethod
    def height_mm(self) -> float:
        """The greatest dip. [mm]"""

    @property
    def capacity_l(self) -> float:
        """Litres of the tank filled to the last corner. [l]"""
        return float(self.volume_mm3(np.array(self.height_mm))) / MM3_PER_LITRE

    @abstractmethod
    def volume_mm3(self, dip_mm: Floats) -> Floats:
        """Volume below dips that lie within the tank. [mm³]"""

    @abstractmethod
    def surface_mm2(self, dip_mm: Floats) -> Floats:
        """Area of the liquid's surface at dips that lie within the tank. [mm²]"""

    def litres(self, dip_mm: npt.ArrayLike) -> Floats:
        """Litres at a dip.

        Parameters
        ----------
        dip_mm : float array, any shape
            Depth of the oil above the inside bottom. [mm]

        Returns
        -------
        float array, same shape
            Bulk litres. [l]

        Raises
        ------
        OutOfRangeError
            When a dip lies below 0 or above ``height_mm``.
        """
        return np.asarray(self.volume_mm3(self._within(dip_mm)) / MM3_PER_LITRE)

    def litres_per_cm(self, dip_mm: npt.ArrayLike) -> Floats:
        """Litres that a centimetre of dip makes at this height.

        Parameters
        ----------
        dip_mm : float array, any shape
            Depth of the oil above the inside bottom. [mm]

        Returns
        -------
        float array, same shape
            [l/cm]

        Raises
        ------
        OutOfRangeError
            When a dip lies below 0 or above ``height_mm``.
        """
        return np.asarray(self.surface_mm2(self._within(dip_mm)) * (MM_PER_CM / MM3_PER_LITRE))

    def dip_mm(self, litres: npt.ArrayLike) -> Floats:
        """Dip at so many litres.

        Parameters
        ----------
        litres : float array, any shape
            Bulk litres in the tank. [l]

        Returns
        -------
        float array, same shape
            [mm]

        Raises
        ------
        OutOfRangeError
            When a volume lies below that of dip 0 or above that of ``height_mm``.
        """
        low, high = self.volume_mm3(np.array([0.0, self.height_mm])) / MM3_PER_LITRE
        inside = require_within(
            "litres", litres, low=float(low), high=float(high), tolerance=VOLUME_TOLERANCE * self.capacity_l
        )
        return invert(
            self.volume_mm3, self.surface_mm2, volume_mm3=inside * MM3_PER_LITRE, height_mm=self.height_mm
        )

    def _within(self, dip_mm: npt.ArrayLike) -> Floats:
        return require_within("dip_mm", dip_mm, low=0.0, high=self.height_mm, tolerance=DIP_TOLERANCE_MM)


def require_within(
    quantity: str, value: npt.ArrayLike, *, low: float, high: float, tolerance: float
) -> Floats:
    """Refuse values outside limits; take off what is only rounding.

    Parameters
    ----------
    quantity : str
        Its name, for the message.
    value : float array, any shape
        nan goes through.
    low, high, tolerance : float
        In the unit of ``value``.

    Returns
    -------
    float array, same shape
        Within ``low`` to ``high``, or nan.

    Raises
    ------
    OutOfRangeError
        Naming the first value outside.

    Examples
    --------
    >>> require_within("dip_mm", [0.0, 1300.0], low=0.0, high=1200.0, tolerance=1e-6)
    Traceback (most recent call last):
    forecaster.errors.OutOfRangeError: dip_mm 1300 lies outside 0 to 1200
    """
    values = np.asarray(value, dtype=float)
    outside = (values < low - tolerance) | (values > high + tolerance)
    if np.any(outside):
        raise OutOfRangeError(quantity, float(values[outside].flat[0]), low=low, high=high)
    return np.asarray(np.minimum(np.maximum(values, low), high))


def invert(
    volume: Callable[[Floats], Floats],
    surface: Callable[[Floats], Floats],
    *,
    volume_mm3: Floats,
    height_mm: float,
) -> Floats:
    """Find the dips of given volumes, all at once.

    Parameters
    ----------
    volume, surface : callables
        Volume below a dip and its derivative; volume rises from dip 0 to ``height_mm``.
    volume_mm3 : float array, any shape
        Volumes within the tank, or nan. [mm³]
    height_mm : float
        The greatest dip. [mm]

    Returns
    -------
    float array, same shape
        [mm]

    Notes
    -----
    A table of 256 brackets, close together where a lying tank narrows, gives each root its bracket::

        0 |.|..|...|....|.....|......|.....|....|...|..|.| height      h = H/2 (1 − cos φ)

    Newton's step is taken when it stays inside the bracket, else the bracket is halved; three or
    four steps are usual.
    """
    knots = height_mm / 2.0 * (1.0 - np.cos(np.linspace(0.0, np.pi, _BRACKETS + 1)))
    knots[-1] = height_mm
    known = np.maximum.accumulate(volume(knots))
    unknown = np.isnan(volume_mm3)
    target = np.where(unknown, known[0], volume_mm3)
    bracket = np.clip(np.searchsorted(known, target, side="right") - 1, 0, _BRACKETS - 1)
    low, high = knots[bracket], knots[bracket + 1]
    dip = np.clip(np.interp(target, known, knots), low, high)
    for _ in range(_MAX_STEPS):
        miss = volume(dip) - target
        low, high = np.where(miss <= 0.0, dip, low), np.where(miss >= 0.0, dip, high)
        with np.errstate(divide="ignore", invalid="ignore"):
            newton = dip - miss / surface(dip)
        step_inside = (newton >= low) & (newton <= high)  # false for nan
        better = np.where(miss == 0.0, dip, np.where(step_inside, newton, (low + high) / 2.0))
        moved = np.max(np.abs(better - dip), initial=0.0)
        dip = better
        if moved <= _DIP_CLOSE * height_mm:
            break
    return np.asarray(np.where(unknown, np.nan, dip))
