"""The compiled loops of the burn model: regressors, filter over the grid, paths ahead.

Everything here is arithmetic on arrays, compiled once by numba and kept in its cache. What the
arithmetic means stands in `forecaster.burn_model` and, as a statsmodels state-space model, in
`forecaster.burn_model.reference`; the two agree to 1e-10 in the tests.

State    (V, theta_base, theta_slope, theta_sun, theta_stove, m), V in litres at 15 C
Source   Kalman filter: Durbin & Koopman, Time Series Analysis by State Space Methods, 2nd ed., 2012
"""

import math

import numba as nb
import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]

STATES = 6
"""V, four intensities, and the slow relative departure m."""
BURN_FLOOR_L = 0.3
"""Noise and slow departure scale with the expected burn, never with less than this. [L/d]"""


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
    rounding_k: float,
    kappa: float,
    omega: float,
) -> Floats:
    """Regressors of each day for each (base, inertia): shape (base, inertia, day, 4), units per litre.

    ``inertias`` holds exp(-1/tau) of each thermal time constant, 0 for none.
    """
    days = temp_c.shape[0]
    out = np.empty((bases_c.shape[0], inertias.shape[0], days, 4))
    for k in range(inertias.shape[0]):
        smooth = temp_c[0]
        for d in range(days):
            smooth = inertias[k] * smooth + (1.0 - inertias[k]) * temp_c[d]
            for j in range(bases_c.shape[0]):
                dd = degree_days(smooth, bases_c[j], rounding_k)
                sun, stove = spared_degree_days(dd, sun_kwh_m2[d], stove_kwh[d], stove_rate[d], kappa, omega)
                out[j, k, d, 0] = base_factor[d]
                out[j, k, d, 1] = heat_factor[d] * dd
                out[j, k, d, 2] = -heat_factor[d] * sun / kappa if kappa > 0.0 else 0.0
                out[j, k, d, 3] = -heat_factor[d] * stove / omega if omega > 0.0 else 0.0
    return out


@nb.njit(cache=True)  # type: ignore[untyped-decorator]
def filter_grid(
    x: Floats,
    x_of: npt.NDArray[np.int64],
    days: Floats,
    added_l: Floats,
    added_var: Floats,
    y: Floats,
    z: Floats,
    h: Floats,
    at_least: npt.NDArray[np.bool_],
    repeats: npt.NDArray[np.bool_],
    step_l: Floats,
    a0: Floats,
    p0: Floats,
    logw0: Floats,
    slow_sd: Floats,
    noise_scale: Floats,
    drift_sd: Floats,
    slow_phi: float,
    day_noise: float,
    floor_sd: float,
    forgetting: float,
    gate: float,
    gate_cost: float,
    escape_after: int,
    escape_var: float,
    stuck_steps: float,
    innovations: Floats,
    verdicts: npt.NDArray[np.int8],
    expected: Floats,
    watch: int,
) -> tuple[Floats, Floats, Floats, Floats]:
    """Run every grid point's Kalman filter over the steps.

    Parameters
    ----------
    x : float array, shape (row, step, 4)
        Regressors summed over each step, for each (base, inertia) row.
    x_of : int array, shape (grid,)
        Row of ``x`` that each grid point uses.
    days : float array, shape (step,)
        Length of each step. [d]
    added_l, added_var : float arrays, shape (step,)
        Litres delivered within the step (at 15 C) and their variance. [L, L2]
    y, z, h : float arrays, shape (step,)
        Observed bulk litres at the step's end (nan for none), bulk litres per litre at 15 C, and
        variance of the observation. [L, -, L2]
    at_least : bool array, shape (step,)
        The observation is a lower bound (inside the sensor's dead band).
    repeats : bool array, shape (step,)
        The raw reading equals the one before it to the last digit.
    step_l : float array, shape (step,)
        Litres of one sensor step at that level. [L]
    a0, p0 : float arrays, shapes (grid, 6), (grid, 6, 6)
        Prior mean and covariance at the start.
    logw0, slow_sd, noise_scale : float arrays, shape (grid,)
        Log weight, sd of m, and factor on ``h`` of each grid point.
    drift_sd : float array, shape (grid, 4)
        Random-walk sd of the intensities over 30 days. [their units]
    slow_phi, day_noise, floor_sd, forgetting, gate, gate_cost, escape_after, escape_var, stuck_steps
        Settings; see `forecaster.burn_model.Settings`.
    innovations, verdicts, expected : arrays, shape (step,), written
        At grid point ``watch`` (-1: none): standardised innovations; what became of each observation (0 none,
        1 used, 2 gated, 3 scrubbed as stuck, 4 at-least and silent, 5 at-least and used); and the burn that
        scales each step's noise.

    Returns
    -------
    a (grid, 6), p (grid, 6, 6), logw (grid,), loglik (grid,)
    """
    grid = a0.shape[0]
    a_out = np.empty((grid, STATES))
    p_out = np.empty((grid, STATES, STATES))
    logw = np.empty(grid)
    loglik = np.empty(grid)
    a = np.empty(STATES)
    p = np.empty((STATES, STATES))
    g = np.empty(STATES)
    k_gain = np.empty(STATES)
    for i in range(grid):
        row = x_of[i]
        for r in range(STATES):
            a[r] = a0[i, r]
            for c in range(STATES):
                p[r, c] = p0[i, r, c]
        weight = logw0[i]
        total = 0.0
        gated = 0
        run_burn = 0.0
        for t in range(y.shape[0]):
            # ---- predict: V falls by the burn; the slow departure scales with the expected burn
            burn = 0.0
            for q in range(4):
                burn += x[row, t, q] * a[1 + q]
            mu = max(BURN_FLOOR_L * days[t], burn)
            phi = slow_phi ** days[t]
            # V' = V - x'theta - mu m ; g is that row of the transition
            g[0] = 1.0
            for q in range(4):
                g[1 + q] = -x[row, t, q]
            g[5] = -mu
            run_burn += burn + mu * a[5]
            a[0] = a[0] - burn - mu * a[5] + added_l[t]
            a[5] *= phi
            # P <- T P T' + Q, T = [g ; I with phi on m]
            gp0 = 0.0
            for r in range(STATES):
                s = 0.0
                for c in range(STATES):
                    s += p[r, c] * g[c]
                k_gain[r] = s  # P g, reused as scratch
                gp0 += g[r] * s
            for r in range(1, STATES):
                f_r = phi if r == 5 else 1.0
                p[0, r] = k_gain[r] * f_r
                p[r, 0] = p[0, r]
            p[0, 0] = gp0
            for r in range(1, STATES):
                f_r = phi if r == 5 else 1.0
                for c in range(1, STATES):
                    f_c = phi if c == 5 else 1.0
                    p[r, c] *= f_r * f_c
            # day noise is independent from day to day: its variance over a step is that of the
            # days in it, mu^2/days for a step longer or shorter than one day
            if days[t] > 0.0:
                p[0, 0] += (day_noise * mu) ** 2 / days[t] + floor_sd**2 * days[t]
            p[0, 0] += added_var[t]
            for q in range(4):
                p[1 + q, 1 + q] += drift_sd[i, q] ** 2 * days[t] / 30.0
            p[5, 5] += slow_sd[i] ** 2 * (1.0 - phi * phi)
            weight *= forgetting ** days[t]
            if i == watch:
                innovations[t] = np.nan
                verdicts[t] = 0
                expected[t] = mu
            if math.isnan(y[t]):
                continue
            # ---- a stuck sensor: the same raw value although oil must have gone
            if not repeats[t]:
                run_burn = 0.0
            elif run_burn > stuck_steps * step_l[t]:
                if i == watch:
                    verdicts[t] = 3
                continue
            v = y[t] - z[t] * a[0]
            f = z[t] * z[t] * p[0, 0] + h[t] * noise_scale[i]
            sd = math.sqrt(f)
            if i == watch:
                innovations[t] = v / sd
            for r in range(STATES):
                k_gain[r] = p[r, 0] * z[t] / f
            if at_least[t]:
                # a lower bound: silent when the prediction lies above it, else one-sided
                if v <= 0.0:
                    if i == watch:
                        verdicts[t] = 4
                    continue
                alpha = v / sd
                tail = 0.5 * math.erfc(alpha / math.sqrt(2.0))
                tail = max(tail, 1e-300)
                lam = math.exp(-0.5 * alpha * alpha) / math.sqrt(2.0 * math.pi) / tail
                if alpha > 30.0:
                    lam = alpha + 1.0 / alpha
                shift = lam * sd
                shrink = lam * (lam - alpha)
                for r in range(STATES):
                    a[r] += k_gain[r] * shift
                for r in range(STATES):
                    for c in range(STATES):
                        p[r, c] -= k_gain[r] * k_gain[c] * f * shrink
                weight += math.log(tail)
                total += math.log(tail)
                if i == watch:
                    verdicts[t] = 5
                continue
            if abs(v) > gate * sd:
                gated += 1
                weight -= gate_cost
                total -= gate_cost
                if i == watch:
                    verdicts[t] = 2
                if gated >= escape_after:
                    p[0, 0] += escape_var
                    gated = 0
                continue
            gated = 0
            ll = -0.5 * (math.log(2.0 * math.pi * f) + v * v / f)
            weight += ll
            total += ll
            for r in range(STATES):
                a[r] += k_gain[r] * v
            for r in range(STATES):
                for c in range(STATES):
                    p[r, c] -= k_gain[r] * k_gain[c] * f
            if i == watch:
                verdicts[t] = 1
        for r in range(STATES):
            a_out[i, r] = a[r]
            for c in range(STATES):
                p_out[i, r, c] = 0.5 * (p[r, c] + p[c, r])
        logw[i] = weight
        loglik[i] = total
    return a_out, p_out, logw, loglik


# The paths read softplus and exp from tables by straight lines: three times faster than computing
# them, within 4e-5 of them, and as monotone, so that colder weather still never burns less.
_NODES = 64.0
_SOFTPLUS_END, _FADE_END = 32.0, 40.0
_SOFTPLUS = np.logaddexp(0.0, np.arange(-_SOFTPLUS_END, _SOFTPLUS_END + 2 / _NODES, 1 / _NODES))
_FADE = np.exp(-np.arange(0.0, _FADE_END + 2 / _NODES, 1 / _NODES))


@nb.njit(cache=True)  # type: ignore[untyped-decorator]
def softplus(z: float) -> float:
    """log(1 + exp(z)) from the table."""
    if z >= _SOFTPLUS_END:
        return z
    if z <= -_SOFTPLUS_END:
        return 0.0
    place = (z + _SOFTPLUS_END) * _NODES
    i = int(place)
    return float(_SOFTPLUS[i] + (place - i) * (_SOFTPLUS[i + 1] - _SOFTPLUS[i]))


@nb.njit(cache=True)  # type: ignore[untyped-decorator]
def fade(y: float) -> float:
    """exp(-y) for y at or above 0, from the table."""
    if y >= _FADE_END:
        return 0.0
    place = y * _NODES
    i = int(place)
    return float(_FADE[i] + (place - i) * (_FADE[i + 1] - _FADE[i]))


@nb.njit(cache=True)  # type: ignore[untyped-decorator]
def burn_paths(
    temp_c: Floats,
    sun_kwh_m2: Floats,
    stove_kwh: Floats,
    stove_rate: Floats,
    base_factor: Floats,
    heat_factor: Floats,
    day_share: Floats,
    scenario_of: npt.NDArray[np.int64],
    base_c: Floats,
    inertia: Floats,
    smooth0: Floats,
    theta: Floats,
    m0: Floats,
    slow_sd: Floats,
    slow_normal: Floats,
    day_factor: Floats,
    start_l: Floats,
    promised_l: Floats,
    bulk_per_15c: Floats,
    offset_l: Floats,
    rounding_k: float,
    kappa: float,
    omega: float,
    slow_phi: float,
) -> tuple[Floats, Floats]:
    """Litres burned on each day of each path at 15 C, and bulk litres left at its end: both (path, day).

    Shape (scenario, day): ``temp_c``, ``sun_kwh_m2``, ``base_factor``, and ``bulk_per_15c`` (bulk litres
    per litre at 15 C). Shape (day,): ``stove_kwh``, ``stove_rate``, ``heat_factor``, ``promised_l``
    (litres that come on a day), and ``day_share`` (the part of the day still ahead). Shape (path,):
    ``scenario_of``, ``base_c``, ``inertia``, ``smooth0``, ``m0``, ``slow_sd``, ``start_l`` (litres at 15 C
    now), and ``offset_l`` (what all levels are off by). ``theta`` has shape (path, 4). Shape (path, day):
    ``slow_normal``, standard normals, and ``day_factor``, positive factors with mean 1. The heating is
    that of `spared_degree_days`.
    """
    paths = theta.shape[0]
    days = temp_c.shape[1]
    burned = np.empty((paths, days))
    litres = np.empty((paths, days))
    slow_step = math.sqrt(1.0 - slow_phi * slow_phi)
    for i in range(paths):
        s = scenario_of[i]
        m = m0[i]
        level = start_l[i]
        smooth = smooth0[i]
        slope = theta[i, 1]
        # shares of sun and stove at most what is there: heating stays at or above zero
        sun_share = min(1.0, theta[i, 2] / (kappa * slope)) if kappa > 0.0 and slope > 0.0 else 0.0
        stove_share = min(1.0, theta[i, 3] / (omega * slope)) if omega > 0.0 and slope > 0.0 else 0.0
        for d in range(days):
            smooth = inertia[i] * smooth + (1.0 - inertia[i]) * temp_c[s, d]
            dd = rounding_k * softplus((base_c[i] - smooth) / rounding_k)
            left = dd
            met = 0.0
            if dd > 1e-9:
                left = dd * fade(kappa * sun_kwh_m2[s, d] / dd)
                met = sun_share * (dd - left)
                if stove_kwh[d] > 0.0 and omega > 0.0 and left > 1e-9:
                    offered = stove_kwh[d] * (1.0 - fade(stove_rate[d] * dd))
                    met += stove_share * left * (1.0 - fade(omega * offered / left))
            mean = theta[i, 0] * base_factor[s, d] + heat_factor[d] * slope * (dd - met)
            burned[i, d] = day_share[d] * mean * max(0.05, 1.0 + m) * day_factor[i, d]
            level += promised_l[d] - burned[i, d]
            litres[i, d] = level * bulk_per_15c[s, d] + offset_l[i]
            m = slow_phi * m + slow_step * slow_sd[i] * slow_normal[i, d]
    return burned, litres
