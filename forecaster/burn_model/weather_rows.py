"""What the weather asks of every (base, inertia, season) of the grid: rows of lanes side by side.

The degree-days of a place serve every tank there; sun and stove follow from each house's own ratios.
Exponentials are polynomials of our own, because these become vector instructions where a call of the
library does not; they are within 1e-15 of it.

Flow     drivers -> **degree-days of a place** -> **rows of a house** -> summed over steps (laying) -> filter
"""

import math
from typing import Any

import numba as nb
import numpy as np
import numpy.typing as npt
from llvmlite import ir  # type: ignore[import-untyped]
from numba import types
from numba.extending import intrinsic

Floats = npt.NDArray[np.float64]

PAIRS = 24
"""Lanes of a row; a grid fills as many rows as it needs."""
MILD_DAYS, MILD_WIDTH_K = 5.0, 0.8
"""Heating is switched off for the season by the mean of about so many days, within about so many degrees: some
switch it by hand, some rooms first. Assumptions, set on simulated houses. [d, K]"""
MILD_KEPT = math.exp(-1.0 / MILD_DAYS)

_LOG2E, _LN2_HIGH, _LN2_LOW = 1.4426950408889634, 6.93147180369123816490e-01, 1.90821492927058770002e-10
_ROUNDER = 1.5 * 2.0**52
_ROUNDER_ONE = 1.5 * 2.0**52 + 1023.0
_52 = np.uint64(52)
_LN2 = math.log(2.0)
_MOST = 700.0
"""exp(-700) is as good as nothing, and exp(-746) no number any more."""
_FACTORIALS = tuple(1.0 / math.factorial(n) for n in range(14))
_F2, _F3, _F4, _F5, _F6, _F7 = _FACTORIALS[2:8]
_F8, _F9, _F10, _F11, _F12, _F13 = _FACTORIALS[8:14]
_HALF_UP, _ROOT_HALF = np.uint64((0x3FF00000 - 0x3FE6A09E) << 32), np.uint64(0x3FE6A09E << 32)
_FRACTION, _BIG, _BIG_VALUE = np.uint64(0xFFFFFFFFFFFFF), np.uint64(0x4330000000000000), 2.0**52 + 1023.0
_L1, _L2, _L3 = 6.666666666666735130e-01, 3.999999999940941908e-01, 2.857142874366239149e-01
_L4, _L5, _L6 = 2.222219843214978396e-01, 1.818357216161805012e-01, 1.531383769920937332e-01
_L7 = 1.479819860511658591e-01
SMALL = 1e-9
"""Fewer degree-days than that need no heat, and none is spared. [K d]"""


@intrinsic  # type: ignore[untyped-decorator]
def bits_of(_context: Any, x: Any) -> Any:
    """Bits of a number."""
    return types.uint64(types.float64), lambda _c, b, _s, args: b.bitcast(args[0], ir.IntType(64))


@intrinsic  # type: ignore[untyped-decorator]
def number_of(_context: Any, x: Any) -> Any:
    """Number of some bits."""
    return types.float64(types.uint64), lambda _c, b, _s, args: b.bitcast(args[0], ir.DoubleType())


@nb.njit(inline="always")  # type: ignore[untyped-decorator]
def faded(y: float) -> float:
    """exp(-y) for y at or above 0: 2 to a whole power times a polynomial."""
    y = min(y, _MOST)
    n = (y * _LOG2E + _ROUNDER) - _ROUNDER
    r = (n * _LN2_HIGH - y) + n * _LN2_LOW
    r2 = r * r
    r4 = r2 * r2
    low = (1.0 + r) + r2 * (_F2 + r * _F3)
    middle = (_F4 + r * _F5) + r2 * (_F6 + r * _F7)
    high = (_F8 + r * _F9) + r2 * (_F10 + r * _F11) + r4 * (_F12 + r * _F13)
    power = number_of(bits_of(_ROUNDER_ONE - n) << _52)
    return float(power * (low + r4 * (middle + r4 * high)))


@nb.njit(inline="always")  # type: ignore[untyped-decorator]
def faded_roughly(y: float) -> float:
    """exp(-y) for y at or above 0, within 3e-10 of it: enough for paths that wander by tens of litres."""
    y = min(y, _MOST)
    n = (y * _LOG2E + _ROUNDER) - _ROUNDER
    r = n * _LN2 - y
    r2 = r * r
    low = (1.0 + r) + r2 * (_F2 + r * _F3)
    high = (_F4 + r * _F5) + r2 * ((_F6 + r * _F7) + r2 * _F8)
    power = number_of(bits_of(_ROUNDER_ONE - n) << _52)
    return float(power * (low + r2 * r2 * high))


@nb.njit(inline="always")  # type: ignore[untyped-decorator]
def log_of(x: float) -> float:
    """log(x) for x above 0: its exponent, and a polynomial of the rest (fdlibm, e_log.c)."""
    shifted = bits_of(x) + _HALF_UP
    k = number_of((shifted >> _52) | _BIG) - _BIG_VALUE
    m = number_of((shifted & _FRACTION) + _ROOT_HALF) - 1.0
    g = m / (2.0 + m)
    g2 = g * g
    g4 = g2 * g2
    odd = _L1 + g4 * (_L3 + g4 * (_L5 + g4 * _L7))
    even = _L2 + g4 * (_L4 + g4 * _L6)
    return float(k * _LN2 + g * (2.0 + (g2 * odd + g4 * even)))


@nb.njit(inline="always")  # type: ignore[untyped-decorator]
def switched_on(mild_c: float, season_c: float) -> float:
    """Share of the heating that is on after days of a mean of ``mild_c``; ``season_c`` inf: never off."""
    z = (mild_c - season_c) / MILD_WIDTH_K
    e = faded(abs(z))
    return float((1.0 if z < 0.0 else e) / (1.0 + e))


@nb.njit(cache=True)  # type: ignore[untyped-decorator]
def mild_days(temp_c: Floats, mild_c: float) -> Floats:
    """Mean of the last days at the end of each, from that before the first: shape (day,). [C]"""
    out = np.empty(len(temp_c))
    for d in range(len(temp_c)):
        mild_c = MILD_KEPT * mild_c + (1.0 - MILD_KEPT) * temp_c[d]
        out[d] = mild_c
    return out


@nb.njit(cache=True, fastmath={"contract", "nsz"}, error_model="numpy")  # type: ignore[untyped-decorator]
def degree_day_rows(
    temp_c: Floats, smooth_c: Floats, mild_c: Floats, base_c: Floats, inertia: Floats, season_c: Floats,
    rounding_k: float,
) -> tuple[Floats, Floats]:  # fmt: skip
    """Degree-days of each day for which heat is wanted, and the smoothed temperature at each day's end.

    Parameters
    ----------
    temp_c : float array, shape (day,)
    mild_c : float array, shape (day,)
        From `mild_days`. [C]
    smooth_c, base_c, inertia, season_c : float arrays, shape (row, PAIRS)
        Smoothed temperature before the first day, base temperature, exp(-1/tau), 0 for none, and the mean of
        mild days at which the heating is switched off. [C, C, -, C]
    rounding_k : float

    Returns
    -------
    degree_days, smoothed : float arrays, shape (row, day, PAIRS)
        [K d, C]
    """
    rows, days = base_c.shape[0], len(temp_c)
    out = np.empty((rows, days, PAIRS))
    smooth = np.empty((rows, days, PAIRS))
    now = np.empty(PAIRS)
    for i in range(rows):
        now[:] = smooth_c[i]
        for d in range(days):
            for j in range(PAIRS):
                now[j] = inertia[i, j] * now[j] + (1.0 - inertia[i, j]) * temp_c[d]
            for j in range(PAIRS):
                z = (base_c[i, j] - now[j]) / rounding_k
                smooth[i, d, j] = now[j]
                out[i, d, j] = rounding_k * (max(z, 0.0) + log_of(1.0 + faded(abs(z))))
            for j in range(PAIRS):
                out[i, d, j] *= switched_on(mild_c[d], season_c[i, j])
    return out, smooth


@nb.njit(cache=True, fastmath={"contract", "nsz"}, error_model="numpy")  # type: ignore[untyped-decorator]
def house_rows(
    degree_days: Floats, sun_kwh_m2: Floats, stove_kwh: Floats, stove_rate: Floats, base_factor: Floats,
    heat_factor: Floats, kappa: float, omega: float,
) -> Floats:  # fmt: skip
    """Regressors of each day at each pair: shape (row, day, 4, PAIRS); see `kernel.spared_degree_days`.

    ``degree_days`` has shape (row, day, PAIRS), the others (day,).
    """
    rows, days = degree_days.shape[0], degree_days.shape[1]
    out = np.empty((rows, days, 4, PAIRS))
    left = np.empty(PAIRS)
    for i in range(rows):
        for d in range(days):
            heat, sun, offered = heat_factor[d], kappa * sun_kwh_m2[d], omega * stove_kwh[d]
            dd, to = degree_days[i, d], out[i, d]
            to[0, :] = base_factor[d]
            for j in range(PAIRS):
                to[1, j] = heat * dd[j]
            for j in range(PAIRS):
                left[j] = dd[j]
            to[2, :] = 0.0
            to[3, :] = 0.0
            if sun > 0.0:
                by = heat / kappa
                for j in range(PAIRS):
                    some = max(dd[j], SMALL)
                    rest = some * faded(sun / some)
                    left[j] = rest if dd[j] > SMALL else dd[j]
                    to[2, j] = -by * (dd[j] - left[j])
            if offered > 0.0:
                by, rate = heat / omega, min(stove_rate[d], 1e30)
                for j in range(PAIRS):
                    rest = max(left[j], SMALL)
                    given = offered * (1.0 - faded(rate * dd[j]))
                    met = rest * (1.0 - faded(given / rest))
                    to[3, j] = -by * met if left[j] > SMALL else 0.0
    return out
