"""What a reading is: its quantity, its time, its value in engine units.

Flow     parsed cells -> **readings** -> screening
"""

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from types import MappingProxyType

import numpy as np
import numpy.typing as npt

from forecaster.errors import Problem
from forecaster.units import MM_PER_CM, MM_PER_INCH, Floats

Times = npt.NDArray[np.datetime64]
Bools = npt.NDArray[np.bool_]


class Quantity(StrEnum):
    """What a reading's value measures, with its unit."""

    ULLAGE_MM = "ullage_mm"
    DIP_MM = "dip_mm"
    LITRES = "litres"
    FRACTION = "fraction"


LEVEL_COLUMNS: Mapping[str, tuple[Quantity, float]] = MappingProxyType(
    {
        "ullage_mm": (Quantity.ULLAGE_MM, 1.0),
        "ullage_cm": (Quantity.ULLAGE_MM, MM_PER_CM),
        "ullage_in": (Quantity.ULLAGE_MM, MM_PER_INCH),
        "dip_mm": (Quantity.DIP_MM, 1.0),
        "dip_cm": (Quantity.DIP_MM, MM_PER_CM),
        "dip_in": (Quantity.DIP_MM, MM_PER_INCH),
        "litres": (Quantity.LITRES, 1.0),
        "fraction": (Quantity.FRACTION, 1.0),
    }
)
"""Column name -> quantity, and the factor to mm, litres or a fraction of the capacity."""


@dataclass(frozen=True, slots=True)
class Readings:
    """Readings of one tank, sorted by time, in engine units.

    Attributes
    ----------
    at
        Instants of reading, UTC, to the second, shape (n,).
    quantity
        What each value measures, texts equal to members of `Quantity`, shape (n,).
    value
        The level as read: mm, litres or a fraction of the capacity, shape (n,).
    air_c
        Air in the tank, ``nan`` where not measured, shape (n,). [C]
    oil_c
        Oil, ``nan`` where not measured, shape (n,). [C]
    step
        How finely each value was read, in the value's own unit, ``nan`` where it is the tank file's
        ``resolution_mm``, shape (n,). None where that holds of all: a sensor's readings.
    """

    at: Times
    quantity: npt.NDArray[np.str_]
    value: Floats
    air_c: Floats
    oil_c: Floats
    step: Floats | None = None

    def __len__(self) -> int:
        return len(self.at)

    @classmethod
    def none(cls) -> "Readings":
        """No reading at all."""
        number = np.empty(0)
        return cls(np.empty(0, "datetime64[s]"), np.empty(0, "<U9"), number, number, number)

    def where(self, mask: Bools | npt.NDArray[np.intp]) -> "Readings":
        """Keep only the readings under a mask, shape (n,), or those at the positions given."""
        return Readings(
            self.at[mask],
            self.quantity[mask],
            self.value[mask],
            self.air_c[mask],
            self.oil_c[mask],
            None if self.step is None else self.step[mask],
        )


@dataclass(frozen=True, slots=True)
class ParsedReadings:
    """Readings of one file, and what became of every row.

    Attributes
    ----------
    readings
        The good rows.
    problems
        One or more for each row that was set aside, and for each refused temperature.
    rows_read
        Rows below the header, blank lines not counted.
    ignored_columns
        Columns that no use was made of.
    duplicates
        Rows dropped because time and value repeat an earlier row.
    """

    readings: Readings
    problems: tuple[Problem, ...]
    rows_read: int
    ignored_columns: tuple[str, ...]
    duplicates: int = 0

    @property
    def summary(self) -> str:
        """What was read and what was not, in one sentence."""
        kept = len(self.readings)
        set_aside = self.rows_read - kept - self.duplicates
        first, last = (str(t)[:10] for t in self.readings.at[[0, -1]])
        parts = [f"{kept} of {self.rows_read} rows read, {first} to {last} (UTC)"]
        if set_aside:
            parts.append(f"{set_aside} set aside")
        if self.duplicates:
            parts.append(f"{self.duplicates} exact repeats dropped")
        refused = len({p.row for p in self.problems if p.field in ("air_c", "oil_c")})
        if refused:
            parts.append(f"{refused} kept without a temperature that cannot be")
        if self.ignored_columns:
            parts.append(f"columns not used: {', '.join(c or '(no name)' for c in self.ignored_columns)}")
        return "; ".join(parts) + "."
