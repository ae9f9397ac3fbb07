"""The compiled loops of the watch: one filter that remembers, and looks back from each level.

State    (V, base, slope, sun, stove, m) as in `forecaster.burn_model`, at one grid point
Source   windows of several lengths as a form of the CUSUM and GLR tests: Page, Biometrika 41 (1954) 100-115;
         Basseville & Nikiforov, Detection of Abrupt Changes, 1993 (both from memory)
"""

import math

import numba as nb
import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

STATES = 6
BURN_FLOOR_L = 0.3
"""Noise and slow departure scale with the expected burn, never with less than this. [L/d]"""
SAME_STEPS = 0.1
"""Levels that differ by less than that part of a step are the same reading."""
OTHER_USE = 0.3
"""When levels keep away from what was foretold, the use may have changed by that. [-]"""
LEARNT_D = 14.0
"""A home watched for less foretells nothing. [d]"""
USED_TO_D = 14.0
"""Weather is what a home is used to when it was so over that time. [d]"""
RECENT_D = 5.5
"""The last few levels are no older than that. [d]"""
MEDIAN_VAR = 1.45
"""Variance of the median of so few normals, times their number, over that of one. [-]"""


@nb.njit(cache=True)  # type: ignore[untyped-decorator]
def remember(
    x: Floats, days: Floats, added_l: Floats, added_var: Floats, y: Floats, z: Floats, h: Floats,
    step_l: Floats, a0: Floats, p0: Floats, slow_sd: float, drift_sd: Floats, slow_phi: float, day_noise: float,
    floor_sd: float, gate: float, escape_after: int, escape_var: float,
) -> tuple[Floats, Floats, Floats]:  # fmt: skip
    """Run one filter over the steps and keep what it knew at the end of each.

    Parameters
    ----------
    x : float array, shape (step, 4)
        Regressors summed over each step.
    days, added_l, added_var : float arrays, shape (step,)
        Length, litres put in at 15 C, and their variance. [d, L, L2]
    y, z, h : float arrays, shape (step,)
        Bulk litres seen at the step's end (nan: none), bulk litres per litre at 15 C, variance. [L, -, L2]
    step_l : float array, shape (step,)
        Litres of a sensor step. A level that repeats the one before tells little new until the burn has
        moved it by a step.
    a0, p0 : float arrays, shapes (6,), (6, 6)
        What is known at the start.
    slow_sd, drift_sd, slow_phi, day_noise, floor_sd, gate, escape_after, escape_var
        As in `forecaster.burn_model.Settings`; ``drift_sd`` over 30 days, shape (4,).

    Returns
    -------
    a (step, 6), p (step, 6, 6), loglik (step,)
        ``loglik`` is that of all levels up to the step; one that is not believed counts as just believed.
    """
    steps = y.shape[0]
    loglik = np.zeros(steps)
    total = 0.0
    a_at = np.empty((steps, STATES))
    p_at = np.empty((steps, STATES, STATES))
    a, p = a0.copy(), p0.copy()
    g, pg = np.empty(STATES), np.empty(STATES)
    g[0] = 1.0
    gated, poured, before, since = 0, False, math.nan, 0.0
    for t in range(steps):
        burn = 0.0
        for q in range(4):
            burn += x[t, q] * a[1 + q]
            g[1 + q] = -x[t, q]
        mu = max(BURN_FLOOR_L * days[t], burn)
        g[5] = -mu
        phi = slow_phi ** days[t]
        a[0] += added_l[t] - burn - mu * a[5]
        a[5] *= phi
        level_var = 0.0
        for r in range(STATES):
            s = 0.0
            for c in range(STATES):
                s += p[r, c] * g[c]
            pg[r] = s
            level_var += g[r] * s
        p[5, :] *= phi
        p[:, 5] *= phi
        pg[5] *= phi
        p[0, :] = pg
        p[:, 0] = pg
        p[0, 0] = level_var + added_var[t] + floor_sd**2 * days[t]
        if days[t] > 0.0:
            p[0, 0] += (day_noise * mu) ** 2 / days[t]
        for q in range(4):
            p[1 + q, 1 + q] += drift_sd[q] ** 2 * days[t] / 30.0
        p[5, 5] += slow_sd**2 * (1.0 - phi * phi)
        poured = poured or added_l[t] != 0.0
        since += mu
        if not math.isnan(y[t]):
            v = y[t] - z[t] * a[0]
            f = z[t] * z[t] * p[0, 0] + h[t]
            if abs(y[t] - before) < SAME_STEPS * step_l[t]:
                alike = math.exp(-2.0 * since / step_l[t])
                f += h[t] * 2.0 * alike / (1.0 - alike)
            before, since = y[t], 0.0
            far = min(v * v / f, gate * gate)
            total -= 0.5 * (math.log(2.0 * math.pi * f) + far)
            # after a delivery the level is believed and not the ticket
            if abs(v) > gate * math.sqrt(f) and not poured:
                gated += 1
                if gated >= escape_after:
                    p[0, 0] += escape_var
                    p[5, 5] += OTHER_USE**2
                    gated = 0
            else:
                gated, poured = 0, False
                for r in range(STATES):
                    pg[r] = p[r, 0] * z[t] / f
                for r in range(STATES):
                    a[r] += pg[r] * v
                    for c in range(STATES):
                        p[r, c] -= pg[r] * pg[c] * f
        a_at[t] = a
        p_at[t] = p
        loglik[t] = total
    return a_at, p_at, loglik


@nb.njit(cache=True)  # type: ignore[untyped-decorator]
def look_back(
    x: Floats, days: Floats, added_l: Floats, added_var: Floats, y: Floats, z: Floats, h: Floats,
    step_l: Floats, end_d: Floats, a_at: Floats, p_at: Floats, slow_sd: float, slow_phi: float,
    day_noise: float, floor_sd: float, readings: Ints, first: int, windows: Floats, medians: Ints,
    unfamiliar: float, odd: float,
) -> tuple[Floats, Floats, Floats, Ints]:  # fmt: skip
    """Foretell the last few levels from what was known a window before them, and compare.

    Parameters
    ----------
    x, days, added_l, added_var, y, z, h
        As in `remember`.
    step_l, end_d : float arrays, shape (step,)
        Litres of a sensor step; the step's end. [L, d]
    a_at, p_at
        From `remember`.
    slow_sd, slow_phi, day_noise, floor_sd
        As in `remember`.
    readings : int array, shape (reading,)
        Steps that end with a level.
    first : int
        Looks back from this reading on.
    windows, medians : float and int array, shape (window,)
        Length of each window, and of how many levels the median is taken. [d]
    unfamiliar, odd
        Doubt of the heating by degree-days that differ from those of the weeks before, and how it grows with
        the slow departure. [-]

    Returns
    -------
    score, missing, burn : float arrays, shape (reading - first, window)
        Foretold minus seen in standard deviations; in litres; and the burn foretold over the window;
        nan where the history is too short. [-, L, L]
    since : int array, same shape
        The step at whose end it was foretold, or -1.
    """
    count = readings.shape[0] - first
    score = np.full((count, windows.shape[0]), np.nan)
    missing = np.full((count, windows.shape[0]), np.nan)
    burned = np.full((count, windows.shape[0]), np.nan)
    since = np.full((count, windows.shape[0]), -1, np.int64)
    off = np.empty(medians.max())
    used_to = np.empty(days.shape[0])
    usual = x[0, 1] / max(days[0], 1e-9)
    for t in range(days.shape[0]):
        fade = math.exp(-days[t] / USED_TO_D)
        usual = fade * usual + (1.0 - fade) * x[t, 1] / max(days[t], 1e-9)
        used_to[t] = usual
    for i in range(count):
        last = first + i
        for w in range(windows.shape[0]):
            oldest = last
            while (
                oldest > 0
                and last - oldest + 1 < medians[w]
                and end_d[readings[oldest - 1]] >= end_d[readings[last]] - RECENT_D
            ):
                oldest -= 1
            of = last - oldest + 1
            start = oldest - 1
            latest = end_d[readings[oldest]] - windows[w] + 0.25
            while start >= 0 and end_d[readings[start]] > latest:
                start -= 1
            if start < 0 or end_d[readings[start]] < LEARNT_D:
                continue
            s = readings[start]
            # V at t is V at s less X'theta_s and M m_s, with noise: first order in what was known at s
            x_sum = np.zeros(4)
            m_sum, burn_sum, added, fade = 0.0, 0.0, 0.0, 1.0
            noise_vv, noise_vm, noise_mm, strange = 0.0, 0.0, 0.0, 0.0
            var = 0.0
            n = 0
            first_burn = 0.0
            for t in range(s + 1, readings[last] + 1):
                burn = 0.0
                for q in range(4):
                    burn += x[t, q] * a_at[s, 1 + q]
                    x_sum[q] += x[t, q]
                mu = max(BURN_FLOOR_L * days[t], burn)
                phi = slow_phi ** days[t]
                m_sum += mu * fade
                fade *= phi
                burn_sum += burn
                added += added_l[t]
                strange += abs(x[t, 1] - days[t] * used_to[s]) * max(a_at[s, 2], 0.0)
                noise_vv += added_var[t] + floor_sd**2 * days[t]
                noise_vv += mu * mu * noise_mm - 2.0 * mu * noise_vm
                if days[t] > 0.0:
                    noise_vv += (day_noise * mu) ** 2 / days[t]
                noise_vm = phi * (noise_vm - mu * noise_mm)
                noise_mm = phi * phi * noise_mm + slow_sd**2 * (1.0 - phi * phi)
                if t < readings[oldest] or math.isnan(y[t]):
                    continue
                gone = burn_sum + m_sum * a_at[s, 5]
                off[n] = z[t] * (a_at[s, 0] + added - gone) - y[t]
                if n == 0:
                    first_burn = gone
                if n == of // 2:
                    g = np.empty(STATES)
                    g[0] = 1.0
                    g[1:5] = -x_sum
                    g[5] = -m_sum
                    for r in range(STATES):
                        for c in range(STATES):
                            var += g[r] * p_at[s, r, c] * g[c]
                    doubt = (unfamiliar + odd * abs(a_at[s, 5])) * strange
                    var = z[t] * z[t] * (var + noise_vv + doubt * doubt)
                    burned[i, w] = gone
                n += 1
                if n == of:
                    # levels on the same step of the sensor err together
                    fell = max(0.0, gone - first_burn) / max(step_l[t], 1e-9)
                    of_median = min(1.0, MEDIAN_VAR / of)
                    var += h[t] * (of_median + (1.0 - of_median) * math.exp(-fell))
            gap = np.median(off[:of])
            # back to its usual use from less or from more is no loss, and no change of habits
            back = -m_sum * a_at[s, 5]
            back = min(back, max(gap, 0.0)) if back > 0.0 else max(back, min(gap, 0.0))
            missing[i, w] = gap - back
            burned[i, w] += back
            score[i, w] = missing[i, w] / math.sqrt(var)
            since[i, w] = s
    return score, missing, burned, since
