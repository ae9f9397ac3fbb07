"""A tank known by its strapping (calibration) table.

Flow     rows of dip and litres -> **table** -> litres
Formula  linear between neighbouring rows, nothing beyond the first and the last
Source   [1] ISO 7507 and ISO 12917-1, calibration of upright and lying cylindrical tanks (titles from
         memory); reading linearly between rows is common practice, no source.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from forecaster.tanks.shape import DIP_TOLERANCE_MM, VOLUME_TOLERANCE, require_within
from forecaster.units import MM_PER_CM, Floats


@dataclass(frozen=True, slots=True)
class StrappingTable:
    """Rows of dip and litres, both rising.

    Attributes
    ----------
    dips_mm, volumes_l
        At least two of each. [mm], [l]

    Notes
    -----
    The least dip is that of the first row, which need not be 0: below it the table says nothing.
    At a row the litres a centimetre are those above it; at the last row those below.

    Examples
    --------
    >>> table = StrappingTable((0.0, 100.0, 200.0, 300.0), (0.0, 80.0, 190.0, 310.0))
    >>> float(table.litres(250.0)), float(table.dip_mm(250.0)), float(table.litres_per_cm(250.0))
    (250.0, 250.0, 12.0)
    """

    dips_mm: tuple[float, ...]
    volumes_l: tuple[float, ...]

    @property
    def height_mm(self) -> float:
        """The greatest dip: that of the last row. [mm]"""
        return self.dips_mm[-1]

    @property
    def capacity_l(self) -> float:
        """Litres of the last row. [l]"""
        return self.volumes_l[-1]

    def litres(self, dip_mm: npt.ArrayLike) -> Floats:
        """Litres at a dip.

        Parameters
        ----------
        dip_mm : float array, any shape
            [mm]

        Returns
        -------
        float array, same shape
            [l]

        Raises
        ------
        OutOfRangeError
            Below the first row or above the last.
        """
        return np.asarray(np.interp(self._within(dip_mm), self.dips_mm, self.volumes_l))

    def dip_mm(self, litres: npt.ArrayLike) -> Floats:
        """Dip at so many litres.

        Parameters
        ----------
        litres : float array, any shape
            [l]

        Returns
        -------
        float array, same shape
            [mm]

        Raises
        ------
        OutOfRangeError
            Below the first row or above the last.
        """
        low, high = self.volumes_l[0], self.volumes_l[-1]
        inside = require_within("litres", litres, low=low, high=high, tolerance=VOLUME_TOLERANCE * high)
        return np.asarray(np.interp(inside, self.volumes_l, self.dips_mm))

    def litres_per_cm(self, dip_mm: npt.ArrayLike) -> Floats:
        """Litres that a centimetre of dip makes at this height.

        Parameters
        ----------
        dip_mm : float array, any shape
            [mm]

        Returns
        -------
        float array, same shape
            [l/cm]

        Raises
        ------
        OutOfRangeError
            Below the first row or above the last.
        """
        inside = self._within(dip_mm)
        per_cm = np.diff(self.volumes_l) / np.diff(self.dips_mm) * MM_PER_CM
        row = np.clip(np.searchsorted(self.dips_mm, inside, side="right") - 1, 0, len(per_cm) - 1)
        return np.asarray(np.where(np.isnan(inside), np.nan, per_cm[row]))

    def _within(self, dip_mm: npt.ArrayLike) -> Floats:
        low, high = self.dips_mm[0], self.dips_mm[-1]
        return require_within("dip_mm", dip_mm, low=low, high=high, tolerance=DIP_TOLERANCE_MM)
