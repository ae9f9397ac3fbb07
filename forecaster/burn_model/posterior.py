"""What is known of a house and its tank at an instant.

Flow     fit -> **posterior** -> forecast, expected burn, anomalies
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Posterior:
    """What is known at the as-of instant.

    Attributes
    ----------
    at
        The as-of instant, datetime64[s] UTC.
    base_c, inertia, season_c, slow_sd, noise
        The grid, one value a point, shape (grid,); ``inertia`` is exp(-1/tau), 0 for none, ``season_c`` the mean
        of mild days at which the heating is switched off, inf for never.
    mean, cov, weight
        Of (V, base, slope, sun, stove, m) at each point: (grid, 6), (grid, 6, 6), (grid,).
    smooth_c
        Smoothed outdoor temperature at the end of the last full day, shape (grid,). [C]
    mild_c
        Mean outdoor temperature of the last days, at the same instant. [C]
    kappa, omega
        Degree-days per kWh/m2 of sun and per kWh of stove heat. [K d / (kWh/m2), K d / kWh]
    innovations, verdicts
        Of each observation at the heaviest grid point: standardised innovation (nan: not used as a
        number), and 1 used, 2 gated, 3 stuck, 4 at-least not binding, 5 at-least used; (reading,).
    observed_from
        Instant of the first observation, or None when there was none.
    """

    at: np.datetime64
    base_c: Floats
    inertia: Floats
    season_c: Floats
    slow_sd: Floats
    noise: Floats
    mean: Floats
    cov: Floats
    weight: Floats
    smooth_c: Floats
    mild_c: float
    kappa: float
    omega: float
    innovations: Floats
    verdicts: npt.NDArray[np.int8]
    observed_from: np.datetime64 | None

    @property
    def history_days(self) -> float:
        """Days since the first observation, 0 when there was none."""
        if self.observed_from is None:
            return 0.0
        return max(float((self.at - self.observed_from) / np.timedelta64(1, "D")), 0.0)

    def moments(self) -> tuple[Floats, Floats]:
        """Mean (6,) and covariance (6, 6) of the state over the whole grid."""
        mean = self.weight @ self.mean
        off = self.mean - mean
        cov = np.einsum("g,gij->ij", self.weight, self.cov) + np.einsum("g,gi,gj->ij", self.weight, off, off)
        return mean, cov
