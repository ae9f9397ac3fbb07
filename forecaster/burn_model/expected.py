"""What should have been burned between two instants, by what is known now.

Flow     posterior, drivers -> **expected burn** -> anomalies, account of the past
"""

import numpy as np
import numpy.typing as npt

from forecaster.burn_model.posterior import Posterior
from forecaster.burn_model.settings import Settings
from forecaster.burn_model.steps import DAY_S, Drivers

Floats = npt.NDArray[np.float64]

ORDINARY_SLOW_SD = 0.2
"""Relative departure of an ordinary house over weeks: guests, set-point, illness. Assumption. [-]"""


def expected_burn(
    posterior: Posterior,
    drivers: Drivers,
    midnights: npt.NDArray[np.datetime64],
    *,
    start: np.datetime64,
    end: np.datetime64,
    settings: Settings | None = None,
) -> tuple[float, float]:
    """Litres that the house would have burned from ``start`` to ``end``, with their sd.

    Parameters
    ----------
    posterior : Posterior
        What is known of the house.
    drivers : Drivers
        Of the days in between, shape (day,).
    midnights : datetime64[s] array, shape (day + 1,)
        Beginnings of those days, and the end of the last.
    start, end : datetime64[s]

    Returns
    -------
    mean, sd : float
        At 15 C; the sd holds what is not known of the house, the slow departure and the days' noise. [L]
    """
    from forecaster.burn_model import kernel

    s = settings or Settings()
    bases, base_at = np.unique(posterior.base_c, return_inverse=True)
    inertias, inertia_at = np.unique(posterior.inertia, return_inverse=True)
    seasons, season_at = np.unique(posterior.season_c, return_inverse=True)
    x_days = kernel.regressor_days(
        drivers.temp_c, drivers.sun_kwh_m2, drivers.stove_kwh, drivers.stove_rate, drivers.base_factor,
        drivers.heat_factor, bases, inertias, seasons, s.rounding_k, posterior.kappa, posterior.omega,
    )  # fmt: skip
    lengths = np.diff(midnights) / np.timedelta64(1, "s")
    begun = np.clip((end - midnights[:-1]) / np.timedelta64(1, "s"), 0, lengths)
    gone = np.clip((start - midnights[:-1]) / np.timedelta64(1, "s"), 0, lengths)
    share = (begun - gone) / lengths
    x = np.einsum("jkcdq,d->jkcq", x_days, share)[base_at, inertia_at, season_at]
    theta, cov = posterior.mean[:, 1:5], posterior.cov[:, 1:5, 1:5]
    at_point = np.einsum("gq,gq->g", x, theta)
    mean = float(posterior.weight @ at_point)
    days = max(float((end - start) / np.timedelta64(1, "s")) / DAY_S, 1e-9)
    # over spans longer than its fading time the slow departure averages out; a departure of more than
    # the ordinary size is what the caller looks for, so it does not excuse itself
    slow = np.minimum(posterior.slow_sd, ORDINARY_SLOW_SD) ** 2 * min(1.0, 2 * s.slow_days / days)
    var = np.einsum("gq,gqr,gr->g", x, cov, x) + at_point**2 * (slow + s.day_noise**2 / max(days, 1.0))
    total = float(posterior.weight @ (var + (at_point - mean) ** 2))
    return mean, float(np.sqrt(total))
