"""When a path first touches the heel, for fleets: nothing is kept of the days between.

What the weather asks of a (base, inertia, season) triple in one scenario is a row of degree-days, laid once for a
place. A path sums its burn over a stretch of days; only where the stretch may reach the heel is it gone through day by
day. Days are worked in single precision, eight to a vector, and summed in double: a day's burn is then within
a millionth of a litre, a path's level within a few.

Flow     states drawn, degree-days ahead, chances -> **first day at the heel, litres on the days told**
"""

from typing import Any

import numba as nb
import numpy as np
import numpy.typing as npt
from llvmlite import ir  # type: ignore[import-untyped]
from numba import types
from numba.extending import intrinsic

Floats = npt.NDArray[np.float64]
Singles = npt.NDArray[np.float32]
Index = npt.NDArray[np.int64]

STRETCH = 96
"""Days worked at once: a path that has run dry, and of which no later day is asked, stops there. [d]"""
LEAST_FACTOR = np.float32(0.05)
"""However low the slow departure, a twentieth of the expected burn remains. Assumption. [-]"""
SMALL = np.float32(1e-9)
"""Fewer degree-days than that need no heat, and none is spared. [K d]"""
BULK_WITHIN = 0.1
"""No oil is so cold, or so hot, that its litres change by more than a tenth. [-]"""
LOOKED_AT = 8
"""Days passed over at once while the heel cannot be reached. [d]"""
_FAST = {"contract", "nsz"}
_ZERO, _ONE, _MOST = np.float32(0.0), np.float32(1.0), np.float32(87.0)
_LOG2E, _LN2_HIGH, _LN2_LOW = np.float32(1.44269504), np.float32(0.693145752), np.float32(1.42860677e-6)
_ROUNDER, _ROUNDER_ONE = np.float32(1.5 * 2.0**23), np.float32(1.5 * 2.0**23 + 127.0)
_23 = np.uint32(23)
_F2, _F3, _F4 = np.float32(1 / 2), np.float32(1 / 6), np.float32(1 / 24)
_F5, _F6, _F7 = np.float32(1 / 120), np.float32(1 / 720), np.float32(1 / 5040)


@intrinsic  # type: ignore[untyped-decorator]
def _bits_of(_context: Any, x: Any) -> Any:
    """Bits of a number in single precision."""
    return types.uint32(types.float32), lambda _c, b, _s, args: b.bitcast(args[0], ir.IntType(32))


@intrinsic  # type: ignore[untyped-decorator]
def _number_of(_context: Any, x: Any) -> Any:
    """Number in single precision of some bits."""
    return types.float32(types.uint32), lambda _c, b, _s, args: b.bitcast(args[0], ir.FloatType())


@nb.njit(inline="always")  # type: ignore[untyped-decorator]
def faded(y: Any) -> Any:
    """exp(-y) for y at or above 0, in single precision."""
    y = min(y, _MOST)
    n = (y * _LOG2E + _ROUNDER) - _ROUNDER
    r = (n * _LN2_HIGH - y) + n * _LN2_LOW
    r2 = r * r
    low = (_ONE + r) + r2 * (_F2 + r * _F3)
    high = (_F4 + r * _F5) + r2 * (_F6 + r * _F7)
    return _number_of(_bits_of(_ROUNDER_ONE - n) << _23) * (low + r2 * r2 * high)


# The loops over days are functions of their own, with few arrays each: or the compiler gives up making vectors
# of them. They take whole arrays and where to begin in them, as unsigned numbers: a number that might be negative
# might count from the end, and then a row is no row of neighbours to the compiler.


@nb.njit(cache=True, fastmath=_FAST, error_model="numpy")  # type: ignore[untyped-decorator]
def _burn(
    rows: Singles, s: Any, p: Any, i: Any, start: Any, n: Any, sun: Singles, base_factor: Singles, heat: Singles,
    slow: Singles, fade: Singles, factor: Singles, base: Any, slope: Any, kappa: Any, by_sun: Any, now: Any, sd: Any,
    burned: Singles,
) -> None:  # fmt: skip
    """Litres of ``n`` days of a path from day ``start`` on, where there is no stove."""
    for d in range(n):
        dd = rows[s, p, start + d]
        some = max(dd, SMALL)
        met = dd - min(dd, some * faded(kappa * sun[s, start + d] / some))
        heating = max(slope * dd - by_sun * met, _ZERO)
        departure = max(LEAST_FACTOR, _ONE + (now * fade[start + d] + sd * slow[i, start + d]))
        mean = base * base_factor[s, start + d] + heat[start + d] * heating
        burned[d] = mean * departure * factor[i, start + d]


@nb.njit(cache=True, fastmath=_FAST, error_model="numpy")  # type: ignore[untyped-decorator]
def _meet(
    rows: Singles, s: Any, p: Any, start: Any, n: Any, sun: Singles, offered: Singles, rate: Singles, kappa: Any,
    by_sun: Any, by_stove: Any, met: Singles,
) -> None:  # fmt: skip
    """Litres that sun and stove spare."""
    for d in range(n):
        dd = rows[s, p, start + d]
        some = max(dd, SMALL)
        left = min(dd, some * faded(kappa * sun[s, start + d] / some))
        rest = max(left, SMALL)
        given = offered[start + d] * (_ONE - faded(rate[start + d] * dd))
        met[d] = by_sun * (dd - left) + by_stove * (left - min(left, rest * faded(given / rest)))


@nb.njit(cache=True, fastmath=_FAST, error_model="numpy")  # type: ignore[untyped-decorator]
def _burn_with_stove(
    rows: Singles, s: Any, p: Any, i: Any, start: Any, n: Any, met: Singles, base_factor: Singles, heat: Singles,
    slow: Singles, fade: Singles, factor: Singles, base: Any, slope: Any, now: Any, sd: Any, burned: Singles,
) -> None:  # fmt: skip
    """Litres of ``n`` days of a path from day ``start`` on, given what sun and stove spare."""
    for d in range(n):
        heating = max(slope * rows[s, p, start + d] - met[d], _ZERO)
        departure = max(LEAST_FACTOR, _ONE + (now * fade[start + d] + sd * slow[i, start + d]))
        mean = base * base_factor[s, start + d] + heat[start + d] * heating
        burned[d] = mean * departure * factor[i, start + d]


@nb.njit(inline="always")  # type: ignore[untyped-decorator]
def _total(burned: Singles, start: int, end: int) -> float:
    total = 0.0
    for d in range(start, end):
        total += np.float64(burned[d])
    return total


@nb.njit(cache=True, fastmath={*_FAST, "reassoc"}, error_model="numpy")  # type: ignore[untyped-decorator]
def first_passage(
    degree_days: Singles, sun_kwh_m2: Singles, stove_kwh: Floats, stove_rate: Floats, base_factor: Singles,
    heat_factor: Floats, day_share: Floats, pair_of: Index, state: Floats, slow_sd: Floats, slow: Singles,
    fade: Floats, day_factor: Singles, promised_l: Floats, bulk_per_15c: Floats, offset_l: Floats, kappa: float,
    omega: float, heel_l: float, told: Index, shuffled: Index,
) -> tuple[Floats, Floats]:  # fmt: skip
    """First day on which each path is at or below the heel, inf for none, and its litres at the days told.

    Parameters
    ----------
    degree_days : float32 array, shape (scenario, pair, day)
        From `forecaster.burn_model.paths.lay_degree_days`.
    sun_kwh_m2, base_factor, bulk_per_15c : arrays, shape (scenario, day)
        Sun on the windows, factor on the base load, bulk litres per litre at 15 C.
    stove_kwh, stove_rate, heat_factor, day_share, fade, promised_l : arrays, shape (day,)
        As in `forecaster.burn_model.paths.litres_paths`.
    pair_of, slow_sd, offset_l : arrays, shape (path,)
    state : array, shape (path, 6)
    slow, day_factor : float32 arrays, shape (path, at least day)
    heel_l : float
    told : int array
        Days whose litres are kept, rising.
    shuffled : int array, shape (path,)
        A permutation; the scenario of a path is its entry modulo the number of scenarios.

    Returns
    -------
    dry, at_told : arrays, shapes (path,), (path, told)
    """
    paths, scenarios, days = len(shuffled), degree_days.shape[0], degree_days.shape[2]
    dry, at_told = np.full(paths, np.inf), np.empty((paths, len(told)))
    met, burned = np.empty(STRETCH, np.float32), np.empty(STRETCH, np.float32)
    offered, rate = (omega * stove_kwh).astype(np.float32), np.minimum(stove_rate, 1e30).astype(np.float32)
    heat, fades = heat_factor.astype(np.float32), fade.astype(np.float32)
    path_at = np.empty(paths, np.int64)
    for i in range(paths):
        path_at[shuffled[i]] = i
    last_told = told[-1] if len(told) else -1
    whole_days, come = day_share.min() >= 1.0, np.zeros(days + 1)
    for d in range(days):
        come[d + 1] = come[d] + promised_l[d]
    for s in range(scenarios):
        # paths of one scenario follow each other: its rows stay at hand
        for at in range(s, paths, scenarios):
            i = path_at[at]
            p, level, offset = pair_of[i], state[i, 0], offset_l[i]
            # litres at 15 C above which the heel is not reached, however cold the oil
            near = heel_l - offset
            near = near / (1.0 - BULK_WITHIN) if near > 0.0 else near / (1.0 + BULK_WITHIN)
            base, slope = np.float32(state[i, 1]), np.float32(state[i, 2])
            # at most what is there is met by sun and by stove: heating stays at or above zero
            by_sun = min(state[i, 2], state[i, 3] / kappa) if kappa > 0.0 else 0.0
            by_stove = min(state[i, 2], state[i, 4] / omega) if omega > 0.0 else 0.0
            now, sd = np.float32(state[i, 5]), np.float32(slow_sd[i])
            k = 0
            for start in range(0, days, STRETCH):
                n = min(STRETCH, days - start)
                at_s, at_p, at_i = np.uint64(s), np.uint64(p), np.uint64(i)
                first, count = np.uint64(start), np.uint64(n)
                if by_stove > 0.0:
                    _meet(
                        degree_days, at_s, at_p, first, count, sun_kwh_m2, offered, rate, np.float32(kappa),
                        np.float32(by_sun), np.float32(by_stove), met,
                    )  # fmt: skip
                    _burn_with_stove(
                        degree_days, at_s, at_p, at_i, first, count, met, base_factor, heat, slow, fades,
                        day_factor, base, slope, now, sd, burned,
                    )  # fmt: skip
                else:
                    _burn(
                        degree_days, at_s, at_p, at_i, first, count, sun_kwh_m2, base_factor, heat, slow, fades,
                        day_factor, base, slope, np.float32(kappa), np.float32(by_sun), now, sd, burned,
                    )  # fmt: skip
                if not whole_days:
                    for d in range(n):
                        burned[d] *= np.float32(day_share[start + d])
                # from one day told to the next, and to the end of the stretch
                done = 0
                while done < n:
                    until = n
                    if k < len(told) and told[k] < start + n:
                        until = told[k] + 1 - start
                    burn = _total(burned, done, until)
                    # a level that would stay above the heel without any promise does not reach it
                    if dry[i] == np.inf and level - burn <= near:
                        dry[i] = _first_below(
                            burned, come, bulk_per_15c, s, start, done, until, level, near, offset, heel_l
                        )
                    level += come[start + until] - come[start + done] - burn
                    if until < n or (k < len(told) and told[k] == start + n - 1):
                        at_told[i, k] = level * bulk_per_15c[s, start + until - 1] + offset
                        k += 1
                    done = until
                # nothing more is asked of a path that is dry and told
                if dry[i] < np.inf and last_told < start + n:
                    break
    return dry, at_told


@nb.njit(cache=True, fastmath={*_FAST, "reassoc"}, error_model="numpy")  # type: ignore[untyped-decorator]
def _first_below(
    burned: Singles, come: Floats, bulk: Floats, s: int, start: int, done: int, until: int, level: float,
    near: float, offset: float, heel_l: float,
) -> float:  # fmt: skip
    """First day of those from ``done`` to ``until`` at or below the heel, or inf."""
    for first in range(done, until, LOOKED_AT):
        last = min(first + LOOKED_AT, until)
        after = level - _total(burned, first, last)
        if after <= near:
            now = level
            for d in range(first, last):
                now += come[start + d + 1] - come[start + d] - np.float64(burned[d])
                if now * bulk[s, start + d] + offset <= heel_l:
                    return float(start + d)
        level = after + come[start + last] - come[start + first]
    return np.inf


@nb.njit(cache=True)  # type: ignore[untyped-decorator]
def drawn_pairs(
    weight: Floats,
    stratum: float,
    paths: int,
    base_c: Floats,
    inertia: Floats,
    season_c: Floats,
    pair_base_c: Floats,
    pair_inertia: Floats,
    pair_season_c: Floats,
) -> tuple[Index, Index]:
    """Grid point of each path by weight, and its pair among those laid; shapes (path,).

    The point of path i is the first whose weights summed up reach (i + stratum) / paths of all; a pair that was
    not laid is -1.
    """
    point, pair = np.empty(paths, np.int64), np.empty(paths, np.int64)
    total = weight.sum()
    g, upto, last, found = 0, weight[0], -1, 0
    for i in range(paths):
        while g < len(weight) - 1 and upto < (i + stratum) / paths * total:
            g += 1
            upto += weight[g]
        if g != last:
            last = g
            found = -1
            for j in range(len(pair_base_c)):
                same = pair_base_c[j] == base_c[g] and pair_inertia[j] == inertia[g]
                if same and pair_season_c[j] == season_c[g]:
                    found = j
        point[i], pair[i] = g, found
    return point, pair
