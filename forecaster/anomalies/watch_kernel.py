"""The compiled loop of the watch: one filter, and beside it what each possible loss would have made of its errors.

State    (V, one coefficient for each column of the regressors, m): litres, the burn's terms, the slow departure
Formula  a loss that began at s moves the filter's error at t by g(s, t) for each litre (a day) lost; over all levels
         seen since, z = Σ v g / F / √(Σ g² / F) / q, of unit variance while nothing is lost; q² the mean of v² / F of
         this sensor's past levels: one is noisier than its step and air tell, another quieter
Source   generalised likelihood ratio of a jump in a filtered state: Willsky & Jones, IEEE Transactions on Automatic
         Control 21 (1976) 108-112; Basseville & Nikiforov, Detection of Abrupt Changes, 1993 (both from memory)
"""

import math
from typing import NamedTuple

import numba as nb
import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

BURN_FLOOR_L = 0.3
"""A home is not foretold to burn less than this. [L/d]"""
POUR_D = 0.75
"""Doubt of what a delivery did fades in that time: a level of that day may be foam, or read while it ran. [d]"""
BEARS_OUT = 0.5
"""The next level bears a far one out if it lies off on the same side, by that part of it or of the gate. [-]"""
POUR_GATE = 2.5
"""A level read after a delivery, and so many sd off what its ticket says, counts only if borne out. [-]"""
USED_TO_D = 14.0
"""Weather is what a home is used to when it was so over that time. [d]"""
EVERY_D = 1.0
"""Losses are looked for that began so far apart. [d]"""
STROKE_LEVELS, HOLDS_UP = 2, 0.9
"""A loss at one stroke shows on so many levels; what a lone false echo said falls below that part by the next. [-]"""
FIRST_ERRORS, LAST_ERRORS = 40.0, 150.0
"""A sensor's errors are taken to be as foretold with the weight of so many levels; so many last ones count."""
LEAST_SHARE, MOST_SHARE, FAR = 0.6, 4.0, 9.0
"""Bounds of the mean square of its errors over what was foretold, and of one of them. [-]"""
LEAK, STROKE, LESS = 0, 1, 2
"""Columns of the scores: a leak, a loss at one stroke, less used than foretold."""


class Rates(NamedTuple):
    """Numbers of the filter; see `forecaster.anomalies.WatchSettings`."""

    slow_sd: float
    slow_days: float
    day_noise: float
    floor_sd_l: float
    least_burn_l: float
    gate: float
    run_steps: float
    unfamiliar: float
    leak_d: float
    stroke_d: float
    learnt_d: float


class Levels(NamedTuple):
    """What was seen at the end of each step; each of shape (step,), nan in ``litres`` where nothing was.

    ``bulk`` bulk litres per litre at 15 C, ``var`` variance of a level, ``step_l`` litres of a sensor step,
    ``repeats`` whether the sensor's value was the same as that of the level before, ``stuck`` whether it belongs to a
    run of repeats through which too much was burned. [L, -, L2, L]
    """

    litres: Floats
    bulk: Floats
    var: Floats
    step_l: Floats
    repeats: npt.NDArray[np.bool_]
    stuck: npt.NDArray[np.bool_]


class Added(NamedTuple):
    """Litres put in at 15 C in each step, and their variance; shape (step,). [L, L2]"""

    litres: Floats
    var: Floats


@nb.njit(cache=True)  # type: ignore[untyped-decorator]
def unlike_usual(heat: Floats, days: Floats) -> Floats:
    """By how much each step's degree-days differ from those of the weeks before; shape (step,). [K d]"""
    out = np.empty(heat.shape[0])
    usual = heat[0] / max(days[0], 1e-9)
    for t in range(heat.shape[0]):
        out[t] = abs(heat[t] - days[t] * usual)
        fade = math.exp(-days[t] / USED_TO_D)
        usual = fade * usual + (1.0 - fade) * heat[t] / max(days[t], 1e-9)
    return out


@nb.njit(cache=True)  # type: ignore[untyped-decorator]
def _foretell(
    t: int, x: Floats, days: Floats, added: Added, unlike: Floats, gained: Floats, r: Rates, a: Floats, p: Floats,
    g: Floats, pg: Floats,
) -> tuple[float, float]:  # fmt: skip
    """Move state and covariance over a step in place; its burn, and how the slow departure fades."""
    last, d = a.shape[0] - 1, days[t]
    burn = 0.0
    g[0] = 1.0
    for q in range(last - 1):
        burn += x[t, q] * a[1 + q]
        g[1 + q] = -x[t, q]
    burn = max(BURN_FLOOR_L * d, burn)
    # a home that burns little departs from it by more than its share
    scale = math.sqrt(burn * burn + (r.least_burn_l * d) ** 2)
    g[last] = -scale
    phi = math.exp(-d / r.slow_days)
    foretold = 0.0
    for q in range(last - 1):
        foretold += x[t, q] * a[1 + q]
    a[0] += added.litres[t] - foretold - scale * a[last]
    a[last] *= phi
    level_var = 0.0
    for i in range(last + 1):
        s = 0.0
        for j in range(last + 1):
            s += p[i, j] * g[j]
        pg[i] = s
        level_var += g[i] * s
    p[last, :] *= phi
    p[:, last] *= phi
    pg[last] *= phi
    p[0, :] = pg
    p[:, 0] = pg
    p[0, 0] = level_var + added.var[t] + r.floor_sd_l**2 * d
    if d > 0.0:
        p[0, 0] += (r.day_noise * scale) ** 2 / d
        strange = r.unfamiliar * unlike[t] * max(a[2], 0.0) / scale
        p[last, last] += (r.slow_sd**2 + strange**2) * (1.0 - phi * phi)
    for q in range(last - 1):
        p[1 + q, 1 + q] += gained[t, q]
    return burn, phi


@nb.njit(cache=True)  # type: ignore[untyped-decorator]
def _spread(t: int, seen: Levels, p: Floats, since_l: float, doubt: float) -> float:
    """Variance of a level as foretold and seen; one that repeats tells little until a step was burned."""
    h = seen.var[t] + doubt
    if seen.repeats[t]:
        alike = math.exp(-2.0 * since_l / seen.step_l[t])
        h += seen.var[t] * 2.0 * alike / (1.0 - alike + 1e-12)
    f: float = seen.bulk[t] ** 2 * p[0, 0] + h
    return f


@nb.njit(cache=True)  # type: ignore[untyped-decorator]
def _borne_out(
    t: int, x: Floats, days: Floats, added: Added, unlike: Floats, gained: Floats, r: Rates, seen: Levels, a: Floats,
    p: Floats, off: float,
) -> bool:  # fmt: skip
    """Whether the next level lies as far off as this one, on the same side."""
    a, p = a.copy(), p.copy()
    g, pg = np.empty(a.shape[0]), np.empty(a.shape[0])
    for k in range(t + 1, days.shape[0]):
        _foretell(k, x, days, added, unlike, gained, r, a, p, g, pg)
        if not math.isnan(seen.litres[k]):
            v = seen.litres[k] - seen.bulk[k] * a[0]
            u = v / math.sqrt(seen.bulk[k] ** 2 * p[0, 0] + seen.var[k])
            return bool(u * off > 0.0 and abs(u) > BEARS_OUT * min(abs(off), r.gate))
    return False


@nb.njit(cache=True)  # type: ignore[untyped-decorator]
def score_losses(
    x: Floats, days: Floats, end_d: Floats, added: Added, seen: Levels, unlike: Floats, a0: Floats, p0: Floats,
    gained: Floats, r: Rates, from_d: float,
) -> tuple[Floats, Floats, Floats, Ints, Floats]:  # fmt: skip
    """Run the filter over the steps and score every loss that may have begun since ``from_d``.

    Parameters
    ----------
    x : float array, shape (step, column)
        Regressors summed over each step: base, heating, and any others.
    days, end_d, unlike : float arrays, shape (step,)
        Length and end of each step, and how unlike the usual its weather was. [d, d, K d]
    added : Added
    seen : Levels
    a0, p0 : float arrays, shapes (column + 2,), (column + 2, column + 2)
        What is known at the start.
    gained : float array, shape (step, column)
        What the coefficients' variances grow by in each step: random walk, and changes that were declared.
    r : Rates
    from_d : float
        Losses that began before are not looked for. [d]

    Returns
    -------
    score, litres, burn : float arrays, shape (step, 3)
        Largest score by kind (see `LEAK`), litres that it says are missing, and burn foretold since it
        began; nan where nothing was seen or all is too new. [-, L, L]
    since : int array, shape (step, 3)
        Number of the step with which it begins, or -1.
    used : float array, shape (step,)
        Burn foretold of each step. [L]
    """
    steps, states = days.shape[0], a0.shape[0]
    many = int(max(r.leak_d, r.stroke_d) / EVERY_D) + 2
    shift = np.zeros((2, many, states))
    vg, gg = np.zeros((2, many)), np.zeros((2, many))
    begun = np.full(many, -1, np.int64)
    shown, at_first = np.zeros(many, np.int64), np.zeros(many)
    share, heard = 1.0, FIRST_ERRORS
    begun_d, burn_before = np.full(many, -np.inf), np.zeros(many)
    score, litres = np.full((steps, 3), np.nan), np.full((steps, 3), np.nan)
    burned, since = np.full((steps, 3), np.nan), np.full((steps, 3), -1, np.int64)
    used = np.zeros(steps)
    a, p = a0.copy(), p0.copy()
    g, pg, gain = np.empty(states), np.empty(states), np.empty(states)
    place, newest, total = 0, -np.inf, 0.0
    since_level, run_l, doubt, poured, before = 0.0, 0.0, 0.0, False, -1
    for t in range(steps):
        d = days[t]
        burn, phi = _foretell(t, x, days, added, unlike, gained, r, a, p, g, pg)
        if end_d[t] - d >= max(newest + EVERY_D - 1e-9, from_d):
            place, newest = (place + 1) % many, end_d[t] - d
            begun[place], begun_d[place], burn_before[place] = t, newest, total
            shift[:, place] = 0.0
            vg[:, place], gg[:, place] = 0.0, 0.0
            shown[place], at_first[place] = 0, 0.0
            shift[STROKE, place, 0] = -1.0
        for j in range(many):
            if begun[j] < 0:
                continue
            for k in range(2):
                s = 0.0
                for i in range(states):
                    s += g[i] * shift[k, j, i]
                shift[k, j, 0] = s - d if k == LEAK else s
                shift[k, j, states - 1] *= phi
        used[t] = burn
        total += burn
        since_level += burn
        run_l += burn
        poured = poured or added.litres[t] != 0.0
        doubt *= math.exp(-d / POUR_D)
        if added.litres[t] != 0.0:
            doubt += added.var[t]
        if math.isnan(seen.litres[t]):
            continue
        if not seen.repeats[t]:
            run_l = 0.0
        f = _spread(t, seen, p, since_level, doubt)
        v = seen.litres[t] - seen.bulk[t] * a[0]
        # a value that stays when more than it can hide was burned is no level: nobody knows yet which it is
        passed_over = seen.stuck[t] or (seen.repeats[t] and run_l > r.run_steps * seen.step_l[t])
        off = v / math.sqrt(f)
        if abs(off) > (POUR_GATE if poured else r.gate) and not passed_over:
            passed_over = not _borne_out(t, x, days, added, unlike, gained, r, seen, a, p, off)
        if passed_over:
            if before >= 0:
                score[t], litres[t], burned[t], since[t] = (
                    score[before],
                    litres[before],
                    burned[before],
                    since[before],
                )
            continue
        since_level, poured, before = 0.0, False, t
        erring = math.sqrt(min(max(share, LEAST_SHARE), MOST_SHARE))
        if not seen.repeats[t]:
            heard = min(heard + 1.0, LAST_ERRORS)
            share += (min(off * off, FAR) - share) / heard
        for i in range(states):
            gain[i] = p[i, 0] * seen.bulk[t] / f
        for i in range(states):
            a[i] += gain[i] * v
            for j in range(states):
                p[i, j] -= gain[i] * gain[j] * f
        for j in range(many):
            if begun[j] < 0:
                continue
            for k in range(2):
                moved = seen.bulk[t] * shift[k, j, 0]
                vg[k, j] += v * moved / f
                gg[k, j] += moved * moved / f
                for i in range(states):
                    shift[k, j, i] -= gain[i] * moved
            long_d = end_d[t] - begun_d[j]
            shown[j] += 1
            if shown[j] == 1 and gg[STROKE, j] > 0.0:
                at_first[j] = vg[STROKE, j] / math.sqrt(gg[STROKE, j]) / erring
            if begun_d[j] < r.learnt_d:
                continue
            for kind in range(3):
                k = LEAK if kind == LESS else kind
                if long_d > (r.stroke_d if kind == STROKE else r.leak_d) or gg[k, j] <= 0.0:
                    continue
                sign = -1.0 if kind == LESS else 1.0
                # over weeks it is the home that errs, not the sensor: there a quiet one tells no more
                z = sign * vg[k, j] / math.sqrt(gg[k, j]) / (erring if kind == STROKE else max(erring, 1.0))
                if kind == STROKE and (shown[j] < STROKE_LEVELS or z < HOLDS_UP * at_first[j]):
                    continue
                if math.isnan(score[t, kind]) or z > score[t, kind]:
                    score[t, kind], since[t, kind] = z, begun[j]
                    litres[t, kind] = vg[k, j] / gg[k, j] * (1.0 if kind == STROKE else long_d)
                    burned[t, kind] = total - burn_before[j]
    return score, litres, burned, since, used


@nb.njit(cache=True)  # type: ignore[untyped-decorator]
def stuck_runs(seen: Levels, used: Floats, run_steps: float) -> npt.NDArray[np.bool_]:
    """Which repeats belong to a run through which more was burned than the sensor can hide; shape (step,).

    The sensor stood still, and its first repeats are no better levels than its last: when it speaks again the
    level falls by all that was burned meanwhile, as if lost at one stroke.
    """
    steps = seen.litres.shape[0]
    out = np.zeros(steps, np.bool_)
    first, run_l = 0, 0.0
    for t in range(steps):
        run_l += used[t]
        if math.isnan(seen.litres[t]):
            continue
        if seen.repeats[t]:
            if run_l > run_steps * seen.step_l[t]:
                for k in range(first + 1, t + 1):
                    out[k] = seen.repeats[k]
        else:
            first, run_l = t, 0.0
    return out
