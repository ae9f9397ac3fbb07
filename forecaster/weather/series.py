"""What the engine knows of the weather: one row a civil day, gaps as nan.

Flow     weather files -> **Weather** -> degree-days, burn model, weather years
"""

from dataclasses import dataclass
from datetime import datetime
from typing import Literal

import numpy as np
import numpy.typing as npt

from forecaster.errors import Problem

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
Dates = npt.NDArray[np.datetime64]
Kind = Literal["mean", "midrange"]


@dataclass(frozen=True, slots=True, eq=False)
class Weather:
    """Daily weather over consecutive civil days.

    Attributes
    ----------
    date
        Civil days without a hole, datetime64[D], shape (day,).
    temp_c
        Outdoor temperature of the day, nan where unknown. [degC]
    tmin_c, tmax_c
        Lowest and highest temperature, nan where unknown. [degC]
    ghi_wh_m2
        Sun on the horizontal over the whole day, nan where unknown. [Wh/m2]
    kind
        What ``temp_c`` is: the mean of the day, or half-way between lowest and highest. The two
        differ by some tenths of a degree, so a model fitted on one is not fed the other.
    """

    date: Dates
    temp_c: Floats
    tmin_c: Floats
    tmax_c: Floats
    ghi_wh_m2: Floats
    kind: Kind = "mean"

    def window(self, start: np.datetime64, stop: np.datetime64) -> "Weather":
        """Return the days from ``start`` up to and without ``stop``; days not held are nan.

        Examples
        --------
        >>> days = np.arange("2024-01-01", "2024-01-08", dtype="datetime64[D]")
        >>> week = Weather(days, *[np.arange(7.0)] * 4)
        >>> week.window(np.datetime64("2024-01-06"), np.datetime64("2024-01-09")).temp_c
        array([ 5.,  6., nan])
        """
        date = np.arange(start, stop, dtype="datetime64[D]")
        offset = (date - self.date[0]).astype(np.int64) if self.date.size else np.full(date.size, -1)
        held = (offset >= 0) & (offset < self.date.size)

        def pick(values: Floats) -> Floats:
            out = np.full(date.size, np.nan)
            out[held] = values[offset[held]]
            return out

        return Weather(
            date, pick(self.temp_c), pick(self.tmin_c), pick(self.tmax_c), pick(self.ghi_wh_m2), self.kind
        )


@dataclass(frozen=True, slots=True)
class ParsedWeather:
    """Weather read from a file, what was wrong with it, and what a reader should know, in words."""

    weather: Weather
    problems: tuple[Problem, ...]
    notes: tuple[str, ...]


@dataclass(frozen=True, slots=True, eq=False)
class Outlook:
    """A short-range weather forecast, as it was issued.

    Attributes
    ----------
    issued_at
        When it was issued, UTC.
    date
        Consecutive civil days, the first being the issue's own day or later, datetime64[D].
    temp_c
        Mean temperature of each day. [degC]
    ghi_wh_m2
        Sun on the horizontal, nan where not forecast. [Wh/m2]
    """

    issued_at: datetime
    date: Dates
    temp_c: Floats
    ghi_wh_m2: Floats
