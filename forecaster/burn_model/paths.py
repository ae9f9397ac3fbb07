"""The compiled loop over the days ahead: one path after the other, each through whole days at once.

What the weather asks of a (base, inertia, season) triple in one scenario is a row of degree-days; a path then needs its
sun and stove, a few multiplications a day, and a sum. For fleets, without a table of days: `passage`.

Flow     states drawn, degree-days ahead, chances -> **litres burned and left** -> run-dry days
"""

import math

import numba as nb
import numpy as np
import numpy.typing as npt

from forecaster.burn_model.weather_rows import MILD_KEPT, MILD_WIDTH_K, SMALL, log_of
from forecaster.burn_model.weather_rows import faded_roughly as faded

Floats = npt.NDArray[np.float64]
Index = npt.NDArray[np.int64]

LEAST_FACTOR = 0.05
"""However low the slow departure, a twentieth of the expected burn remains. Assumption. [-]"""
_FAST = {"contract", "nsz"}


@nb.njit(cache=True, fastmath=_FAST, error_model="numpy")  # type: ignore[untyped-decorator]
def lay_degree_days(
    temp_c: Floats, base_c: Floats, inertia: Floats, season_c: Floats, smooth0: Floats, mild0: float,
    rounding_k: float, out: Floats,
) -> None:  # fmt: skip
    """Write the degree-days of each scenario at each triple: shape (scenario, triple, day).

    ``temp_c`` has shape (scenario, day); ``base_c``, ``inertia`` (exp(-1/tau)), ``season_c`` and ``smooth0``, the
    smoothed temperature before the first day, (triple,); ``mild0`` is the mean of the days before it. [C, C, -, C]
    """
    days = temp_c.shape[1]
    smooth, mild = np.empty(days), np.empty(days)
    for s in range(temp_c.shape[0]):
        _mild_days(temp_c[s], mild0, mild)
        for p in range(len(base_c)):
            _degree_days(
                temp_c[s], mild, base_c[p], inertia[p], season_c[p], smooth0[p], rounding_k, smooth, out[s, p]
            )


# Each loop over days is a function of its own: in a longer one the compiler gives up making vectors of it.
# They count from the first day: where a day's number is a sum, it might be negative and count from the end, and
# then a row is no row of neighbours to the compiler.


@nb.njit(cache=True, fastmath=_FAST, error_model="numpy")  # type: ignore[untyped-decorator]
def _degree_days(
    temp_c: Floats, mild: Floats, base_c: float, inertia: float, season_c: float, smooth0: float,
    rounding_k: float, smooth: Floats, out: Floats,
) -> None:  # fmt: skip
    """Degree-days of one row for which heat is wanted, the corner rounded by the day's swing."""
    if inertia > 0.0:
        now = smooth0
        for d in range(len(temp_c)):
            now = inertia * now + (1.0 - inertia) * temp_c[d]
            smooth[d] = now
    else:
        smooth[:] = temp_c
    _softplus(smooth, base_c, rounding_k, out)
    if season_c < math.inf:
        _switch(mild, season_c, out)


@nb.njit(cache=True)  # type: ignore[untyped-decorator]
def _mild_days(temp_c: Floats, mild_c: float, out: Floats) -> None:
    """Mean of the last days; see `forecaster.burn_model.weather_rows.mild_days`."""
    for d in range(len(temp_c)):
        mild_c = MILD_KEPT * mild_c + (1.0 - MILD_KEPT) * temp_c[d]
        out[d] = mild_c


@nb.njit(cache=True, fastmath=_FAST, error_model="numpy")  # type: ignore[untyped-decorator]
def _switch(mild: Floats, season_c: float, out: Floats) -> None:
    """See `forecaster.burn_model.weather_rows.switched_on`."""
    for d in range(len(mild)):
        z = (mild[d] - season_c) / MILD_WIDTH_K
        e = faded(abs(z))
        out[d] *= (1.0 if z < 0.0 else e) / (1.0 + e)


@nb.njit(cache=True, fastmath=_FAST, error_model="numpy")  # type: ignore[untyped-decorator]
def _softplus(temp_c: Floats, base_c: float, rounding_k: float, out: Floats) -> None:
    for d in range(len(temp_c)):
        z = (base_c - temp_c[d]) / rounding_k
        out[d] = rounding_k * (max(z, 0.0) + log_of(1.0 + faded(abs(z))))


@nb.njit(cache=True, fastmath=_FAST, error_model="numpy")  # type: ignore[untyped-decorator]
def _meet_by_sun(
    row: Floats, sun: Floats, s: int, n: int, kappa: float, by: float, left: Floats,
    met: Floats,
) -> None:  # fmt: skip
    for d in range(n):
        dd = row[d]
        some = max(dd, SMALL)
        rest = min(dd, some * faded(kappa * sun[s, d] / some))
        left[d] = rest
        met[d] = by * (dd - rest)


@nb.njit(cache=True, fastmath=_FAST, error_model="numpy")  # type: ignore[untyped-decorator]
def _meet_by_stove(
    row: Floats, offered: Floats, rate: Floats, n: int, by: float, left: Floats,
    met: Floats,
) -> None:  # fmt: skip
    for d in range(n):
        rest = left[d]
        some = max(rest, SMALL)
        given = offered[d] * (1.0 - faded(rate[d] * row[d]))
        met[d] = met[d] + by * (rest - min(rest, some * faded(given / some)))


@nb.njit(cache=True, fastmath=_FAST, error_model="numpy")  # type: ignore[untyped-decorator]
def _expect(
    row: Floats, met: Floats, base_factor: Floats, s: int, heat: Floats, share: Floats,
    n: int, base: float, slope: float, mean: Floats,
) -> None:  # fmt: skip
    for d in range(n):
        heating = max(slope * row[d] - met[d], 0.0)
        mean[d] = share[d] * (base * base_factor[s, d] + heat[d] * heating)


@nb.njit(cache=True, fastmath=_FAST, error_model="numpy")  # type: ignore[untyped-decorator]
def _depart(
    mean: Floats, i: int, slow: Floats, fade: Floats, factor: Floats, n: int, now: float, sd: float,
    burned: Floats,
) -> None:  # fmt: skip
    for d in range(n):
        departure = max(LEAST_FACTOR, 1.0 + (now * fade[d] + sd * slow[i, d]))
        burned[d] = mean[d] * departure * factor[i, d]


@nb.njit(cache=True, fastmath=_FAST, error_model="numpy")  # type: ignore[untyped-decorator]
def _burn(
    row: Floats, s: int, i: int, n: int, sun_kwh_m2: Floats, offered: Floats,
    rate: Floats, base_factor: Floats, heat_factor: Floats, day_share: Floats, state: Floats, kappa: float,
    omega: float, slow_sd: float, slow: Floats, fade: Floats, day_factor: Floats, left: Floats, met: Floats,
    burned: Floats,
) -> None:  # fmt: skip
    """Litres of ``n`` days of path ``i``; degree-days stand in ``row``."""
    base, slope = state[i, 1], state[i, 2]
    # at most what is there is met by sun and by stove: heating stays at or above zero
    by_sun = min(slope, state[i, 3] / kappa) if kappa > 0.0 else 0.0
    by_stove = min(slope, state[i, 4] / omega) if omega > 0.0 else 0.0
    if kappa > 0.0:
        _meet_by_sun(row, sun_kwh_m2, s, n, kappa, by_sun, left, met)
    else:
        for d in range(n):
            left[d] = row[d]
            met[d] = 0.0
    if by_stove > 0.0:
        _meet_by_stove(row, offered, rate, n, by_stove, left, met)
    _expect(row, met, base_factor, s, heat_factor, day_share, n, base, slope, left)
    _depart(left, i, slow, fade, day_factor, n, state[i, 5], slow_sd, burned)


@nb.njit(cache=True, fastmath=_FAST, error_model="numpy")  # type: ignore[untyped-decorator]
def _fall(burned: Floats, promised_l: Floats, n: int, level: float, left: Floats) -> float:
    for d in range(n):
        level += promised_l[d] - burned[d]
        left[d] = level
    return level


@nb.njit(cache=True, fastmath=_FAST, error_model="numpy")  # type: ignore[untyped-decorator]
def _swell(left: Floats, bulk: Floats, s: int, n: int, offset: float, litres: Floats) -> None:
    for d in range(n):
        litres[d] = left[d] * bulk[s, d] + offset


@nb.njit(cache=True, fastmath=_FAST, error_model="numpy")  # type: ignore[untyped-decorator]
def litres_paths(
    temp_c: Floats, sun_kwh_m2: Floats, stove_kwh: Floats, stove_rate: Floats, base_factor: Floats,
    heat_factor: Floats, day_share: Floats, scenario_of: Index, base_c: Floats, inertia: Floats, season_c: Floats,
    smooth0: Floats, mild0: float,
    state: Floats, slow_sd: Floats, slow: Floats, fade: Floats, day_factor: Floats, promised_l: Floats,
    bulk_per_15c: Floats, offset_l: Floats, rounding_k: float, kappa: float, omega: float, order: Index,
) -> tuple[Floats, Floats]:  # fmt: skip
    """Litres burned on each day of each path at 15 C, and bulk litres left at its end: both (path, day).

    Shape (scenario, day): ``temp_c``, ``sun_kwh_m2``, ``base_factor``, and ``bulk_per_15c`` (bulk litres
    per litre at 15 C). Shape (day,): ``stove_kwh``, ``stove_rate``, ``heat_factor``, ``promised_l``
    (litres that come on a day), ``day_share`` (the part of the day still ahead), and ``fade`` (what is left
    of today's slow departure). Shape (path,): ``scenario_of``, ``base_c``, ``inertia``, ``season_c``, ``smooth0``,
    ``slow_sd``, ``offset_l`` (what all levels are off by), and ``order``, that in which paths are worked, best
    scenario by scenario. ``mild0`` is the mean temperature of the days before. ``state``, shape (path, 6), is the
    filter's. Shape (path, at least day): ``slow``, departures of unit size that begin at nothing, and
    ``day_factor``, positive factors with mean 1. The heating is that of `kernel.spared_degree_days`.
    """
    paths, days = len(scenario_of), temp_c.shape[1]
    burned, litres = np.empty((paths, days)), np.empty((paths, days))
    smooth, mild = np.empty(days), np.empty(days)
    row, left, met = np.empty(days), np.empty(days), np.empty(days)
    held = -1
    offered, rate = omega * stove_kwh, np.minimum(stove_rate, 1e30)
    for i in order:
        s = scenario_of[i]
        if s != held:
            _mild_days(temp_c[s], mild0, mild)
            held = s
        _degree_days(temp_c[s], mild, base_c[i], inertia[i], season_c[i], smooth0[i], rounding_k, smooth, row)
        _burn(
            row, s, i, days, sun_kwh_m2, offered, rate, base_factor, heat_factor, day_share, state, kappa,
            omega, slow_sd[i], slow, fade, day_factor, left, met, burned[i],
        )  # fmt: skip
        _fall(burned[i], promised_l, days, state[i, 0], left)
        _swell(left, bulk_per_15c, s, days, offset_l[i], litres[i])
    return burned, litres


@nb.njit(cache=True)  # type: ignore[untyped-decorator]
def states_of(mean: Floats, cov: Floats, point: Index, normal: Floats) -> Floats:
    """States drawn from the Gaussians of their points, shape (path, 6), intensities not below nothing.

    ``mean``, ``cov`` have shapes (grid, 6), (grid, 6, 6); ``point``, shape (path,), is sorted; ``normal``, shape
    (path, 6), standard normals. The root is that of Cholesky, with a column of zeros for a state without
    variance of its own: unlike eigenvectors it moves little when the covariance does.
    """
    paths, n = normal.shape
    out = np.empty((paths, n))
    root = np.zeros((n, n))
    last = -1
    for i in range(paths):
        g = point[i]
        if g != last:
            last = g
            for c in range(n):
                own = cov[g, c, c]
                for k in range(c):
                    own -= root[c, k] ** 2
                size = math.sqrt(own) if own > 1e-12 * cov[g, c, c] else 0.0
                for r in range(c, n):
                    value = cov[g, r, c]
                    for k in range(c):
                        value -= root[r, k] * root[c, k]
                    root[r, c] = value / size if size > 0.0 else 0.0
        for r in range(n):
            value = mean[g, r]
            for k in range(r + 1):
                value += root[r, k] * normal[i, k]
            out[i, r] = max(value, 0.0) if 0 < r < 5 else value
    return out


@nb.njit(cache=True)  # type: ignore[untyped-decorator]
def wander(normal: Floats, kept: float) -> Floats:
    """Departures of unit size that fade by ``kept`` a day, from nothing on the first: shape (path, day)."""
    out = np.empty_like(normal)
    push = math.sqrt(1.0 - kept * kept)
    for i in range(normal.shape[0]):
        now = 0.0
        for d in range(normal.shape[1]):
            out[i, d] = now
            now = kept * now + push * normal[i, d]
    return out
