"""The compiled loop over the days ahead: one path after the other, each through whole days at once.

What the weather asks of a (base, inertia) pair in one scenario is a row of degree-days; rows laid once
serve every tank of a place. A path then needs its sun and stove, a few multiplications a day, and a sum.

Flow     states drawn, degree-days ahead, chances -> **litres burned and left** -> run-dry days
"""

import math

import numba as nb
import numpy as np
import numpy.typing as npt

from forecaster.burn_model.weather_rows import SMALL, faded, log_of

Floats = npt.NDArray[np.float64]
Index = npt.NDArray[np.int64]

LEAST_FACTOR = 0.05
"""However low the slow departure, a twentieth of the expected burn remains. Assumption. [-]"""
_FAST = {"contract", "nsz"}


@nb.njit(cache=True, fastmath=_FAST, error_model="numpy")  # type: ignore[untyped-decorator]
def lay_degree_days(
    temp_c: Floats, base_c: Floats, inertia: Floats, smooth0: Floats, rounding_k: float, out: Floats
) -> None:
    """Write the degree-days of each scenario at each pair: shape (scenario, pair, day).

    ``temp_c`` has shape (scenario, day); ``base_c``, ``inertia`` (exp(-1/tau)) and ``smooth0``, the smoothed
    temperature before the first day, (pair,). [C, C, -, C]
    """
    days = temp_c.shape[1]
    smooth = np.empty(days)
    for s in range(temp_c.shape[0]):
        for p in range(len(base_c)):
            _degree_days(temp_c[s], base_c[p], inertia[p], smooth0[p], rounding_k, smooth, out[s, p])


@nb.njit(inline="always")  # type: ignore[untyped-decorator]
def _degree_days(
    temp_c: Floats,
    base_c: float,
    inertia: float,
    smooth0: float,
    rounding_k: float,
    smooth: Floats,
    out: Floats,
) -> None:
    """Degree-days of one row, the corner rounded by the day's swing."""
    days = len(temp_c)
    if inertia > 0.0:
        now = smooth0
        for d in range(days):
            now = inertia * now + (1.0 - inertia) * temp_c[d]
            smooth[d] = now
    else:
        for d in range(days):
            smooth[d] = temp_c[d]
    for d in range(days):
        z = (base_c - smooth[d]) / rounding_k
        out[d] = rounding_k * (max(z, 0.0) + log_of(1.0 + faded(abs(z))))


@nb.njit(inline="always")  # type: ignore[untyped-decorator]
def _burn(
    degree_days: Floats, sun_kwh_m2: Floats, offered: Floats, stove_rate: Floats, base_factor: Floats,
    heat_factor: Floats, day_share: Floats, theta: Floats, kappa: float, omega: float, ahead: Floats,
    left: Floats, met: Floats, burned: Floats, day_factor: Floats,
) -> None:  # fmt: skip
    """Litres of each day of one path; ``ahead`` is one plus its slow departure, the last four shape (day,)."""
    days = len(degree_days)
    base, slope = theta[0], theta[1]
    # at most what is there is met by sun and by stove: heating stays at or above zero
    by_sun = min(slope, theta[2] / kappa) if kappa > 0.0 else 0.0
    by_stove = min(slope, theta[3] / omega) if omega > 0.0 else 0.0
    if by_sun > 0.0:
        for d in range(days):
            dd = degree_days[d]
            some = max(dd, SMALL)
            left[d] = min(dd, some * faded(kappa * sun_kwh_m2[d] / some))
            met[d] = by_sun * (dd - left[d])
    else:
        for d in range(days):
            left[d] = degree_days[d]
            met[d] = 0.0
    if by_stove > 0.0:
        for d in range(days):
            some = max(left[d], SMALL)
            given = offered[d] * (1.0 - faded(stove_rate[d] * degree_days[d]))
            met[d] += by_stove * (left[d] - min(left[d], some * faded(given / some)))
    for d in range(days):
        mean = base * base_factor[d] + heat_factor[d] * max(slope * degree_days[d] - met[d], 0.0)
        burned[d] = day_share[d] * mean * max(LEAST_FACTOR, ahead[d]) * day_factor[d]


@nb.njit(cache=True, fastmath=_FAST, error_model="numpy")  # type: ignore[untyped-decorator]
def litres_paths(
    temp_c: Floats, sun_kwh_m2: Floats, stove_kwh: Floats, stove_rate: Floats, base_factor: Floats,
    heat_factor: Floats, day_share: Floats, scenario_of: Index, base_c: Floats, inertia: Floats, smooth0: Floats,
    state: Floats, slow_sd: Floats, slow: Floats, fade: Floats, day_factor: Floats, promised_l: Floats,
    bulk_per_15c: Floats, offset_l: Floats, rounding_k: float, kappa: float, omega: float,
) -> tuple[Floats, Floats]:  # fmt: skip
    """Litres burned on each day of each path at 15 C, and bulk litres left at its end: both (path, day).

    Shape (scenario, day): ``temp_c``, ``sun_kwh_m2``, ``base_factor``, and ``bulk_per_15c`` (bulk litres
    per litre at 15 C). Shape (day,): ``stove_kwh``, ``stove_rate``, ``heat_factor``, ``promised_l``
    (litres that come on a day), ``day_share`` (the part of the day still ahead), and ``fade`` (what is left
    of today's slow departure). Shape (path,): ``scenario_of``, ``base_c``, ``inertia``, ``smooth0``,
    ``slow_sd``, and ``offset_l`` (what all levels are off by). ``state``, shape (path, 6), is the filter's.
    Shape (path, at least day): ``slow``, departures of unit size that begin at nothing, and ``day_factor``,
    positive factors with mean 1. The heating is that of `kernel.spared_degree_days`.
    """
    paths, days = len(scenario_of), temp_c.shape[1]
    burned, litres = np.empty((paths, days)), np.empty((paths, days))
    smooth, dd, left, met, ahead = (
        np.empty(days),
        np.empty(days),
        np.empty(days),
        np.empty(days),
        np.empty(days),
    )
    offered, rate = omega * stove_kwh, np.minimum(stove_rate, 1e30)
    for i in range(paths):
        s = scenario_of[i]
        for d in range(days):
            ahead[d] = 1.0 + state[i, 5] * fade[d] + slow_sd[i] * slow[i, d]
        _degree_days(temp_c[s], base_c[i], inertia[i], smooth0[i], rounding_k, smooth, dd)
        _burn(
            dd, sun_kwh_m2[s], offered, rate, base_factor[s], heat_factor, day_share, state[i, 1:5], kappa, omega,
            ahead, left, met, burned[i], day_factor[i],
        )  # fmt: skip
        level = state[i, 0]
        for d in range(days):
            level += promised_l[d] - burned[i, d]
            litres[i, d] = level * bulk_per_15c[s, d] + offset_l[i]
    return burned, litres


@nb.njit(cache=True, fastmath=_FAST, error_model="numpy")  # type: ignore[untyped-decorator]
def first_passage(
    degree_days: Floats, sun_kwh_m2: Floats, stove_kwh: Floats, stove_rate: Floats, base_factor: Floats,
    heat_factor: Floats, day_share: Floats, scenario_of: Index, pair_of: Index, state: Floats, slow_sd: Floats,
    slow: Floats, fade: Floats, day_factor: Floats, promised_l: Floats, bulk_per_15c: Floats, offset_l: Floats,
    kappa: float, omega: float, heel_l: float, told: Index,
) -> tuple[Floats, Floats]:  # fmt: skip
    """First day on which each path is at or below the heel, inf for none, and its litres at the days told.

    ``degree_days``, shape (scenario, pair, day), is from `lay_degree_days`, ``pair_of``, shape (path,), each
    path's pair there; ``told``, rising, are days. The others are those of `litres_paths`. Returns shapes
    (path,) and (path, told); nothing is kept of the other days.
    """
    paths, days = len(scenario_of), degree_days.shape[2]
    dry, at_told = np.full(paths, np.inf), np.empty((paths, len(told)))
    left, met, ahead, burned = np.empty(days), np.empty(days), np.empty(days), np.empty(days)
    offered, rate = omega * stove_kwh, np.minimum(stove_rate, 1e30)
    for i in range(paths):
        s = scenario_of[i]
        for d in range(days):
            ahead[d] = 1.0 + state[i, 5] * fade[d] + slow_sd[i] * slow[i, d]
        _burn(
            degree_days[s, pair_of[i]], sun_kwh_m2[s], offered, rate, base_factor[s], heat_factor, day_share,
            state[i, 1:5], kappa, omega, ahead, left, met, burned, day_factor[i],
        )  # fmt: skip
        level = state[i, 0]
        for d in range(days):
            level += promised_l[d] - burned[d]
            burned[d] = level
        for d in range(days):
            burned[d] = burned[d] * bulk_per_15c[s, d] + offset_l[i]
        for k in range(len(told)):
            at_told[i, k] = burned[told[k]]
        for d in range(days):
            if burned[d] <= heel_l:
                dry[i] = d
                break
    return dry, at_told


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
