"""Degree-days of a place, worked out once for all tanks there.

Flow     temperature -> **degree-days at every base, inertia and season** -> regressors of each house
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from forecaster.burn_model.lanes import Grid, spread_out

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class Degrees:
    """Degree-days of one place for every triple of the grid: the same for each tank there.

    ``degree_days`` and ``smoothed_c`` have shape (row, day, PAIRS); ``mild_c``, the mean of the last days, (day,).
    Both temperatures stand at each day's end. [K d, C, C]
    """

    degree_days: Floats
    smoothed_c: Floats
    mild_c: Floats

    def from_day(self, day: int) -> "Degrees":
        """Those of a day and of all days after it."""
        return Degrees(
            np.ascontiguousarray(self.degree_days[:, day:]), np.ascontiguousarray(self.smoothed_c[:, day:]),
            self.mild_c[day:],
        )  # fmt: skip


def degrees_of(
    temp_c: Floats, *, grid: Grid, rounding_k: float, smooth_c: Floats | None = None, mild_c: float | None = None,
) -> Degrees:  # fmt: skip
    """Work out the degree-days of a place once, for all tanks there.

    Parameters
    ----------
    temp_c : float array, shape (day,)
        Of the drivers' days. [C]
    grid : Grid
    rounding_k : float
        See `Settings`. [K]
    smooth_c : float array, shape (inertia,), optional
        Smoothed temperature before the first day; without it, that of the first day. [C]
    mild_c : float, optional
        Mean of the last days before the first, likewise. [C]
    """
    from forecaster.burn_model import weather_rows

    points = spread_out(grid)
    before = np.full(len(grid.inertia_d), temp_c[0]) if smooth_c is None else smooth_c
    mild = weather_rows.mild_days(temp_c, float(temp_c[0]) if mild_c is None else mild_c)
    degree_days, smoothed_c = weather_rows.degree_day_rows(
        temp_c, before[points.pair_inertia_index], mild, points.pair_base_c, points.pair_inertia,
        points.pair_season_c, rounding_k,
    )  # fmt: skip
    return Degrees(degree_days, smoothed_c, mild)
