"""The compiled loops of the burn model that go day by day: the regressors, one after the other.

Everything here is arithmetic on arrays, compiled once by numba and kept in its cache. What the
arithmetic means stands in `forecaster.burn_model` and, as a statsmodels state-space model, in
`forecaster.burn_model.reference`. The same regressors, many side by side: `weather_rows`.
"""

import math

import numba as nb
import numpy as np
import numpy.typing as npt

from forecaster.burn_model.weather_rows import MILD_KEPT, switched_on

Floats = npt.NDArray[np.float64]


@nb.njit(cache=True)  # type: ignore[untyped-decorator]
def degree_days(temp_c: float, base_c: float, rounding_k: float) -> float:
    """Degree-days of one day: max(0, base - temp) with its corner rounded by the day's swing. [K d]."""
    z = (base_c - temp_c) / rounding_k
    if z > 30.0:
        return rounding_k * z
    return rounding_k * math.log1p(math.exp(z))


@nb.njit(cache=True)  # type: ignore[untyped-decorator]
def spared_degree_days(
    dd: float, sun_kwh_m2: float, stove_kwh: float, stove_rate: float, kappa: float, omega: float
) -> tuple[float, float]:
    """Degree-days met by sun and by stove, each saturating so that heating never turns negative.

    Sun first: of ``dd`` it meets dd (1 - exp(-kappa S / dd)). The stove meets, in the same way, part
    of what is left. Evenings with a fire grow with the cold as 1 - exp(-rate dd), which is concave in
    dd: so colder weather always leaves more for the boiler.
    """
    sun = 0.0
    left = dd
    if kappa > 0.0 and sun_kwh_m2 > 0.0 and dd > 1e-9:
        left = dd * math.exp(-kappa * sun_kwh_m2 / dd)
        sun = dd - left
    stove = 0.0
    if omega > 0.0 and stove_kwh > 0.0 and left > 1e-9:
        offered = stove_kwh * (1.0 - math.exp(-stove_rate * dd))
        stove = left * (1.0 - math.exp(-omega * offered / left))
    return sun, stove


@nb.njit(cache=True)  # type: ignore[untyped-decorator]
def regressor_days(
    temp_c: Floats,
    sun_kwh_m2: Floats,
    stove_kwh: Floats,
    stove_rate: Floats,
    base_factor: Floats,
    heat_factor: Floats,
    bases_c: Floats,
    inertias: Floats,
    seasons_c: Floats,
    rounding_k: float,
    kappa: float,
    omega: float,
) -> Floats:
    """Regressors of each day for each triple: shape (base, inertia, season, day, 4), units per litre.

    ``inertias`` holds exp(-1/tau) of each thermal time constant, 0 for none; ``seasons_c`` the mean of mild days
    at which the heating is switched off, inf for never.
    """
    days = temp_c.shape[0]
    out = np.empty((bases_c.shape[0], inertias.shape[0], seasons_c.shape[0], days, 4))
    for k in range(inertias.shape[0]):
        smooth = temp_c[0]
        mild = temp_c[0]
        for d in range(days):
            smooth = inertias[k] * smooth + (1.0 - inertias[k]) * temp_c[d]
            mild = MILD_KEPT * mild + (1.0 - MILD_KEPT) * temp_c[d]
            for j in range(bases_c.shape[0]):
                asked = degree_days(smooth, bases_c[j], rounding_k)
                for c in range(seasons_c.shape[0]):
                    dd = asked * switched_on(mild, seasons_c[c])
                    sun, stove = spared_degree_days(
                        dd, sun_kwh_m2[d], stove_kwh[d], stove_rate[d], kappa, omega
                    )
                    out[j, k, c, d, 0] = base_factor[d]
                    out[j, k, c, d, 1] = heat_factor[d] * dd
                    out[j, k, c, d, 2] = -heat_factor[d] * sun / kappa if kappa > 0.0 else 0.0
                    out[j, k, c, d, 3] = -heat_factor[d] * stove / omega if omega > 0.0 else 0.0
    return out


@nb.njit(cache=True)  # type: ignore[untyped-decorator]
def stuck_runs(
    expected_l: Floats, added_l: Floats, litres: Floats, step_l: Floats, repeats: npt.NDArray[np.bool_],
    patience: float, least_steps: float,
) -> npt.NDArray[np.bool_]:  # fmt: skip
    """Find the readings of stuck runs; see `forecaster.burn_model.stuck`."""
    n = len(litres)
    stuck = np.zeros(n, np.bool_)
    start = 0
    while start < n:
        end = start + 1
        missed = 0.0
        while end < n and repeats[end]:
            missed += expected_l[end] - added_l[end]
            end += 1
        if end - start > 1:
            if end < n:
                # what is due at the moving reading if the sensor was right all along, and if it was stuck
                due = expected_l[end] - added_l[end]
                fell = litres[start] - litres[end]
                moved_far = abs(fell - due) > abs(fell - due - missed)
                stuck[start + 1 : end] = abs(missed) > least_steps * step_l[start] and moved_far
            else:
                # all of the run, so that nothing is learnt from it: the level falls on as before the run
                stuck[start + 1 : end] = abs(missed) > patience * step_l[start]
        start = end
    return stuck
