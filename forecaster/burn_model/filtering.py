"""The compiled filter: many grid points at once, a lane each, side by side in the processor's vectors.

One flat array holds a block of lanes, a row of it one number of the state at every lane: so the inner
loops run over neighbouring numbers and the compiler makes vector instructions of them. They have no
branches; a reading that is refused, or none, is one with no gain. A reading that is not learnt from moves
the level alone: neither intensities nor slow departure have a gain, and no weight changes. What a step does
is defined in `forecaster.burn_model.reference`, and the tests hold the two together.

Flow     weather rows, steps, lanes at the start -> **filter** -> lanes at the end
Source   Kalman filter: Durbin & Koopman, Time Series Analysis by State Space Methods, 2nd ed., 2012;
         states that are considered, not estimated: Schmidt, Advances in Control Systems 3 (1966) 293-340,
         from memory; logarithm by its exponent and a polynomial: the freely published fdlibm, e_log.c
"""

import math
from typing import Any

import numba as nb
import numpy as np
import numpy.typing as npt

from forecaster.burn_model.weather_rows import PAIRS, bits_of, number_of

Floats = npt.NDArray[np.float64]

BURN_FLOOR_L = 0.3
"""Noise and slow departure scale with the expected burn, never with less than this. [L/d]"""
SIDE = 2
"""Blocks of weather rows that a block of lanes holds: more lanes hide more waiting for a division."""

# rows of a block: state, weight, and what each lane has of its own; then scratch
MEAN, COV, LOGW, REFUSED = 0, 6, 27, 28
KEPT_ROWS = 29
NOISE, SLOW, SCALE = 29, 30, 31
ROWS = 35
_X, _F, _GAIN, _LIFT, _MU, _FELL = 35, 39, 40, 41, 42, 43
_ALL_ROWS = 44

# columns of the table of steps
DAYS, PHI, WHITE, FLOOR, ADDED, LEVEL, BULK, VAR, KIND, OPEN, KEEP, REPEAT, LEARN = (
    0,
    1,
    2,
    3,
    4,
    5,
    6,
    7,
    8,
    9,
    13,
    14,
    15,
)
COLUMNS = 16
NOTHING, READ, BOUND = 0.0, 1.0, 2.0
"""Kinds of a step: without a reading, with one, with a lower bound."""

USED, GATED, STUCK, SILENT, LIFTED = 1, 2, 3, 4, 5
"""What became of a reading."""

_LN2, _LN2PI = math.log(2.0), math.log(2.0 * math.pi)
_HALF_UP = np.uint64((0x3FF00000 - 0x3FE6A09E) << 32)
_FRACTION = np.uint64(0xFFFFFFFFFFFFF)
_ROOT_HALF = np.uint64(0x3FE6A09E << 32)
_BIG = np.uint64(0x4330000000000000)
_BIG_VALUE = 2.0**52 + 1023.0
_52 = np.uint64(52)


def _make_filter(width: int, pairs: int, *, stove: bool, watched: bool) -> Any:
    """Compile the filter for blocks of ``width`` lanes, whose weather stands in rows of ``pairs``.

    Without a stove its intensity is nothing, and known to be: a fifth of the arithmetic is left out.
    """
    w, driven = width, 4 if stove else 3

    @nb.njit(cache=True, fastmath={"contract", "nsz"}, error_model="numpy")  # type: ignore[untyped-decorator]
    def run(
        lanes: Floats, x: Floats, steps: Floats, gate: float, gate_cost: float, escape_after: int,
        escape_var: float, run_burn: float, innovations: Floats, verdicts: npt.NDArray[np.int8],
        expected: Floats,
    ) -> float:  # fmt: skip
        s = np.zeros(_ALL_ROWS * w)
        s[: ROWS * w] = lanes
        gate2 = gate * gate
        refused_before = False
        for i in range(w):
            refused_before = refused_before or s[REFUSED * w + i] > 0.0
        discount = 1.0
        for t in range(steps.shape[0]):
            phi, white, added = steps[t, PHI], steps[t, WHITE], steps[t, ADDED]
            floor_mu, floor_var = BURN_FLOOR_L * steps[t, DAYS], steps[t, FLOOR]
            y, z, h, kind = steps[t, LEVEL], steps[t, BULK], steps[t, VAR], steps[t, KIND]
            learn = steps[t, LEARN]
            e1, e2, e3, e4 = steps[t, OPEN], steps[t, OPEN + 1], steps[t, OPEN + 2], steps[t, OPEN + 3]
            z2, phi2, fresh = z * z, phi * phi, 1.0 - phi * phi
            discount *= steps[t, KEEP]
            for q in range(driven):
                for j in range(w // pairs):
                    for i in range(pairs):
                        s[(_X + q) * w + j * pairs + i] = x[t, q, i]
            # ---- predict: V falls by the burn; the slow departure scales with the expected burn
            for i in range(w):
                x1, x2, x3 = s[_X * w + i], s[(_X + 1) * w + i], s[(_X + 2) * w + i]
                p01, p02, p03, p05 = s[7 * w + i], s[8 * w + i], s[9 * w + i], s[11 * w + i]
                p12, p13, p15 = s[13 * w + i], s[14 * w + i], s[16 * w + i]
                p23, p25, p35 = s[18 * w + i], s[20 * w + i], s[23 * w + i]
                burn = (x1 * s[w + i] + x2 * s[2 * w + i]) + x3 * s[3 * w + i]
                if stove:
                    x4 = s[(_X + 3) * w + i]
                    burn += x4 * s[4 * w + i]
                mu = max(floor_mu, burn)
                # row of V in T P, T having (1, -x, -mu) as its first row
                by0, by1, by2, by3, by5 = mu * p05, mu * p15, mu * p25, mu * p35, mu * s[26 * w + i]
                if stove:
                    p04, p14, p24 = s[10 * w + i], s[15 * w + i], s[19 * w + i]
                    p34, p45 = s[22 * w + i], s[25 * w + i]
                    by0, by1, by2, by3 = by0 + x4 * p04, by1 + x4 * p14, by2 + x4 * p24, by3 + x4 * p34
                    by5 += x4 * p45
                b0 = (s[6 * w + i] - x1 * p01) - (x2 * p02 + x3 * p03) - by0
                b1 = (p01 - x1 * s[12 * w + i]) - (x2 * p12 + x3 * p13) - by1
                b2 = (p02 - x1 * p12) - (x2 * s[17 * w + i] + x3 * p23) - by2
                b3 = (p03 - x1 * p13) - (x2 * p23 + x3 * s[21 * w + i]) - by3
                b5 = (p05 - x1 * p15) - (x2 * p25 + x3 * p35) - by5
                by = mu * b5
                if stove:
                    b4 = (p04 - x1 * p14) - (x2 * p24 + x3 * p34) - (x4 * s[24 * w + i] + mu * p45)
                    by += x4 * b4
                    s[10 * w + i] = b4
                noise = white * mu * mu + floor_var
                b0 = ((b0 - x1 * b1) + noise) - (x2 * b2 + x3 * b3) - by
                s[6 * w + i], s[7 * w + i], s[8 * w + i], s[9 * w + i] = b0, b1, b2, b3
                s[11 * w + i] = phi * b5
                fell = burn + mu * s[5 * w + i]
                s[i] = s[i] - fell + added
                if watched:
                    s[_MU * w + i] = mu
                    s[_FELL * w + i] = fell
            if watched:
                # a stuck sensor: the same raw value although oil must have gone
                run_burn += s[_FELL * w]
                expected[t] = s[_MU * w]
                verdicts[t] = 0
                innovations[t] = np.nan
                if kind != NOTHING:
                    if steps[t, REPEAT] == 0.0:
                        run_burn = 0.0
                    elif run_burn > steps[t, REPEAT]:
                        kind = NOTHING
                        verdicts[t] = STUCK
            # ---- weigh the reading: no gain where it is refused, or where there is none
            use = 1.0 if kind == READ else 0.0
            keep = discount if use > 0.0 else 1.0
            refused = 0
            for i in range(w):
                f = z2 * s[6 * w + i] + h * s[NOISE * w + i]
                v = y - z * s[i]
                out = v * v > gate2 * f
                refused += out
                gain = 0.0 if out else use
                # log f = k log 2 + log(1 + m), the last by its polynomial in m / (2 + m); one division
                # serves this and 1 / f
                shifted = bits_of(f) + _HALF_UP
                k = number_of((shifted >> _52) | _BIG) - _BIG_VALUE
                m = number_of((shifted & _FRACTION) + _ROOT_HALF) - 1.0
                m2 = 2.0 + m
                inverse = 1.0 / (f * m2)
                over_f = m2 * inverse
                g = m * f * inverse
                g2 = g * g
                g4 = g2 * g2
                odd = 6.666666666666735130e-01 + g4 * (
                    2.857142874366239149e-01 + g4 * (1.818357216161805012e-01 + g4 * 1.479819860511658591e-01)
                )
                even = 3.999999999940941908e-01 + g4 * (
                    2.222219843214978396e-01 + g4 * 1.531383769920937332e-01
                )
                log_f = k * _LN2 + g * (2.0 + (g2 * odd + g4 * even))
                gain_f = gain * over_f
                s[_F * w + i] = f
                s[_GAIN * w + i] = z2 * gain_f
                s[_LIFT * w + i] = v * (z * gain_f)
                counted = use * learn * (_LN2PI + log_f + v * v * over_f)
                s[LOGW * w + i] = keep * s[LOGW * w + i] - 0.5 * counted
            if watched and kind != NOTHING:
                v, f = y - z * s[0], s[_F * w]
                innovations[t] = v / math.sqrt(f)
                if kind == READ:
                    verdicts[t] = GATED if v * v > gate2 * f else USED
                else:
                    verdicts[t] = SILENT if v <= 0.0 else LIFTED
            if use > 0.0:
                discount = 1.0
                if refused > 0 or refused_before:
                    refused_before = False
                    for i in range(w):
                        v, f = y - z * s[i], s[_F * w + i]
                        if v * v > gate2 * f:
                            # take back what it counted, and let it cost what a refused reading costs
                            s[LOGW * w + i] += learn * (0.5 * (_LN2PI + math.log(f) + v * v / f) - gate_cost)
                            s[REFUSED * w + i] += 1.0
                            refused_before = True
                        else:
                            s[REFUSED * w + i] = 0.0
            # ---- update
            for i in range(w):
                c, lift = s[_GAIN * w + i], s[_LIFT * w + i]
                b0, b1, b2, b3 = s[6 * w + i], s[7 * w + i], s[8 * w + i], s[9 * w + i]
                b5 = s[11 * w + i]
                k0 = c * b0
                s[i] += lift * b0
                c, lift = learn * c, learn * lift
                k1, k2, k3, k5 = c * b1, c * b2, c * b3, c * b5
                s[w + i] += lift * b1
                s[2 * w + i] += lift * b2
                s[3 * w + i] += lift * b3
                s[5 * w + i] = phi * s[5 * w + i] + lift * b5
                s[6 * w + i] = b0 - k0 * b0
                s[7 * w + i] = b1 - k0 * b1
                s[8 * w + i] = b2 - k0 * b2
                s[9 * w + i] = b3 - k0 * b3
                s[11 * w + i] = b5 - k0 * b5
                s[12 * w + i] += e1 * s[SCALE * w + i] - k1 * b1
                s[13 * w + i] -= k1 * b2
                s[14 * w + i] -= k1 * b3
                s[16 * w + i] = phi * s[16 * w + i] - k1 * b5
                s[17 * w + i] += e2 * s[(SCALE + 1) * w + i] - k2 * b2
                s[18 * w + i] -= k2 * b3
                s[20 * w + i] = phi * s[20 * w + i] - k2 * b5
                s[21 * w + i] += e3 * s[(SCALE + 2) * w + i] - k3 * b3
                s[23 * w + i] = phi * s[23 * w + i] - k3 * b5
                s[26 * w + i] = phi2 * s[26 * w + i] + fresh * s[SLOW * w + i] - k5 * b5
                if stove:
                    b4 = s[10 * w + i]
                    k4 = c * b4
                    s[4 * w + i] += lift * b4
                    s[10 * w + i] = b4 - k0 * b4
                    s[15 * w + i] -= k1 * b4
                    s[19 * w + i] -= k2 * b4
                    s[22 * w + i] -= k3 * b4
                    s[24 * w + i] += e4 * s[(SCALE + 3) * w + i] - k4 * b4
                    s[25 * w + i] = phi * s[25 * w + i] - k4 * b5
            # ---- rare: the level let go after readings refused in a row; a lower bound from above
            if refused_before:
                for i in range(w):
                    if s[REFUSED * w + i] >= escape_after:
                        s[6 * w + i] += escape_var
                        s[REFUSED * w + i] = 0.0
            if kind == BOUND:
                for i in range(w):
                    s[LOGW * w + i] *= discount
                    _lift(s, w, i, y - z * s[i], s[_F * w + i], z, learn)
                discount = 1.0
        for i in range(w):
            s[LOGW * w + i] *= discount
        lanes[:] = s[: ROWS * w]
        return run_burn

    return run


@nb.njit(cache=True)  # type: ignore[untyped-decorator]
def _lift(s: Floats, w: int, i: int, v: float, f: float, z: float, learn: float) -> None:
    """Take a lower bound at one lane: silent when the prediction lies above it, else one-sided."""
    if v <= 0.0:
        return
    sd = math.sqrt(f)
    alpha = v / sd
    tail = max(0.5 * math.erfc(alpha / math.sqrt(2.0)), 1e-300)
    lam = math.exp(-0.5 * alpha * alpha) / math.sqrt(2.0 * math.pi) / tail
    if alpha > 30.0:
        # by its series; one term fewer, and more variance would be taken away than there is
        lam = alpha + 1.0 / alpha - 2.0 / alpha**3
    shrink = lam * (lam - alpha)
    row = np.empty(6)
    for c in range(6):
        row[c] = s[(COV + c) * w + i] * z / f
    at = COV
    for r in range(6):
        part = learn if r > 0 else 1.0
        s[(MEAN + r) * w + i] += part * row[r] * lam * sd
        for c in range(r, 6):
            s[at * w + i] -= part * row[r] * row[c] * f * shrink
            at += 1
    s[LOGW * w + i] += learn * math.log(tail)


_run_block = _make_filter(SIDE * PAIRS, PAIRS, stove=True, watched=False)
_run_stoveless = _make_filter(SIDE * PAIRS, PAIRS, stove=False, watched=False)
_run_alone = _make_filter(1, 1, stove=True, watched=True)
_run_alone_stoveless = _make_filter(1, 1, stove=False, watched=True)
_OF_STOVE = (4, 10, 15, 19, 22, 24, 25, SCALE + 3)
"""Rows that hold nothing where there is no stove."""


@nb.njit(cache=True)  # type: ignore[untyped-decorator]
def _has_stove(lanes: Floats) -> bool:
    """Whether anything at all is known, or unknown, of a stove in a block."""
    width = len(lanes) // ROWS
    for row in _OF_STOVE:
        for i in range(width):
            if lanes[row * width + i] != 0.0:
                return True
    return False


@nb.njit(cache=True)  # type: ignore[untyped-decorator]
def run_grid(
    lanes: Floats,
    x: Floats,
    steps: Floats,
    gate: float,
    gate_cost: float,
    escape_after: int,
    escape_var: float,
) -> None:
    """Run the filter at every lane over the steps; the lanes are changed in place.

    Parameters
    ----------
    lanes : float array, shape (block, ROWS * lane)
        Block after block, those of one row of weather together.
    x : float array, shape (row, step, 4, PAIRS)
        Regressors summed over each step.
    steps : float array, shape (step, COLUMNS)
        See `lay_steps`.
    gate, gate_cost, escape_after, escape_var
        See `forecaster.burn_model.Settings`.
    """
    each = lanes.shape[0] // x.shape[0]
    none, no_code = np.empty(0), np.empty(0, np.int8)
    for b in range(lanes.shape[0]):
        if _has_stove(lanes[b]):
            _run_block(
                lanes[b],
                x[b // each],
                steps,
                gate,
                gate_cost,
                escape_after,
                escape_var,
                0.0,
                none,
                no_code,
                none,
            )
        else:
            _run_stoveless(
                lanes[b],
                x[b // each],
                steps,
                gate,
                gate_cost,
                escape_after,
                escape_var,
                0.0,
                none,
                no_code,
                none,
            )


def run_alone(
    point: Floats, x: Floats, steps: Floats, gate: float, gate_cost: float, escape_after: int, escape_var: float,
    run_burn: float,
) -> tuple[Floats, float, Floats, npt.NDArray[np.int8], Floats]:  # fmt: skip
    """Run the filter at one point and write down what became of each step.

    Parameters
    ----------
    point : float array, shape (ROWS,)
    x : float array, shape (step, 4)
    steps : float array, shape (step, COLUMNS)
        A repeat is no reading here once more than its column REPEAT has burned since its run began.
    run_burn : float
        Litres burned since the run of repeats began that the first step may go on.

    Returns
    -------
    point : float array, shape (ROWS,)
    run_burn : float
    innovations, verdicts, expected : arrays, shape (step,)
        Standardised innovation (nan: none), what became of the reading (0: none), and the burn that scales
        the step's noise. [-, -, L]
    """
    n = len(steps)
    lanes = point.copy()
    innovations, verdicts, expected = np.empty(n), np.empty(n, np.int8), np.empty(n)
    follow = _run_alone if _has_stove(lanes) else _run_alone_stoveless
    run_burn = follow(
        lanes, x[:, :, None], steps, gate, gate_cost, escape_after, escape_var, run_burn, innovations, verdicts,
        expected,
    )  # fmt: skip
    return lanes, run_burn, innovations, verdicts, expected


@nb.njit(cache=True)  # type: ignore[untyped-decorator]
def lay_steps(
    days: Floats, added_l: Floats, added_var: Floats, reading: npt.NDArray[np.int64], litres: Floats, sd_l: Floats,
    bulk_per_15c: Floats, at_least: npt.NDArray[np.bool_], learn: npt.NDArray[np.bool_], opened: Floats,
    slow_days: float, day_noise: float, floor_sd_l: float, forgetting: float,
) -> Floats:  # fmt: skip
    """Lay out the steps as the filter reads them, shape (step, COLUMNS).

    ``days``, ``added_l``, ``added_var``, ``reading`` are those of `Steps`; ``litres``, ``sd_l``,
    ``bulk_per_15c``, ``at_least``, ``learn`` of `Observations`. ``opened``, shape (step, 4), is what each intensity's
    variance grows by, relative to the square of its prior. Day noise is independent from day to day, so
    that of a step of several days is (noise mu)^2 / days.
    """
    n = len(days)
    out = np.zeros((n, COLUMNS))
    fades, forgets = -1.0 / slow_days, math.log(forgetting)
    for t in range(n):
        d = days[t]
        row = out[t]
        row[DAYS], row[PHI], row[KEEP] = d, math.exp(fades * d), math.exp(forgets * d)
        row[WHITE] = day_noise**2 / d if d > 0.0 else 0.0
        row[FLOOR] = floor_sd_l**2 * d + added_var[t]
        row[ADDED] = added_l[t]
        row[BULK], row[VAR], row[LEARN] = 1.0, 1.0, 1.0
        row[OPEN : OPEN + 4] = opened[t]
        i = reading[t]
        if i >= 0:
            row[LEVEL], row[BULK], row[VAR] = litres[i], bulk_per_15c[i], sd_l[i] ** 2
            row[KIND] = BOUND if at_least[i] else READ
            if not learn[i]:
                row[LEARN], row[KEEP] = 0.0, 1.0
    return out
